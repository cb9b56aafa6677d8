"""The page of connections: what missing signals cost, and gaps that go on."""

from __future__ import annotations

import re
from html import unescape

from swarfline.facts import UNOBSERVED, Gap
from swarfline.store import Batch

from .client import Client
from .works import HOUR, MINUTE, NOW, now_of, status, works


def text_of(client: Client, language: str = "en") -> str:
    page = client.get("/connections", headers={"accept": "text/html", "accept-language": language}).text
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", page)))


def lacks(text: str) -> str:
    return text.split("What is not told for want of signals")[1].split("Refused signals")[0]


def test_what_missing_and_refused_signals_cost(client):
    told = lacks(text_of(client))
    assert "N1: " in told and "South one: " in told
    first, second = told.split("South one: ")
    assert "energy – refused by the server: energy or power" in first
    assert "energy – not in the plant file: energy or power" in second
    assert "faults – not in the plant file: alarm a fault shows as waiting" in second
    assert "OEE" not in first and "tool lives" not in first, "what can be told is not listed"
    german = text_of(client, "de")
    assert "Energie – vom Server abgelehnt: energy oder power" in german
    assert "eine Störung erscheint als Warten" in german


def test_a_field_of_tools_is_had_where_one_tool_has_it(tmp_path):
    app, store = works(tmp_path)
    refused = {"N1/tools[1].used": "BadNodeIdUnknown", "N1/power": "BadNodeIdUnknown"}
    store.writer().commit(Batch(servers={"line": status(refused=refused)}, seen_us=NOW))
    told = lacks(text_of(Client(app))).split("South one: ")[0]
    assert "tool lives – refused by the server: tools.used or tools.remaining" in told
    store.close()


def test_machines_that_lack_the_same_stand_together_and_one_that_lacks_nothing_not_at_all(tmp_path):
    app, store = works(tmp_path)
    store.writer().commit(Batch(servers={"line": status(refused={})}, seen_us=NOW))
    told = lacks(text_of(Client(app)) + "Refused signals")
    # N1 has no signal for holds' overrides, but its program state does
    assert "holds" not in told.split("South one: ")[0]
    store.close()


def test_a_gap_that_goes_on_is_listed_up_to_the_present(tmp_path):
    app, store = works(tmp_path)
    lost_us = NOW - 20 * MINUTE
    gone = now_of("N1", UNOBSERVED, lost_us, linked=False)
    store.writer().commit(Batch(now={"N1": gone}))
    text = text_of(Client(app))
    assert re.search(r"N1 11:40 goes on 20 min –", text), "the collector has told nothing of it yet"
    # told, as far as it had come five minutes ago
    open_ = Gap("N1", lost_us, NOW - 5 * MINUTE, "connection", open=True)
    store.writer().commit(Batch(facts=[open_]))
    text = text_of(Client(app))
    assert re.search(r"N1 11:40 goes on 20 min connection", text)
    assert text.count("goes on") == 1
    store.close()


def test_a_machine_never_heard_of_has_no_gap_since_some_time(tmp_path):
    app, store = works(tmp_path)
    store.writer().commit(
        Batch(now={"N1": {**now_of("N1", UNOBSERVED, NOW - HOUR, linked=False), "since_us": None}})
    )
    assert "goes on" not in text_of(Client(app))
    store.close()
