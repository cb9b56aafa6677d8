"""/lots over the works' morning, and over lots that are told in other ways."""

from __future__ import annotations

import re

import pytest

from swarfline.facts import COMPLETE, TOTAL, WAITING, Count, Cycle
from swarfline.store import Batch

from .client import Client
from .works import HOUR, NOW, SECOND, now_of, works


def test_a_lot_without_a_size_has_no_end(get):
    row = next(r for r in get("lots")["items"] if r["machine"] == "N1")
    assert (row["lot"], row["part"], row["made"], row["scrap"], row["whole"]) == ("L1", "PH-12", 110, 2, False)
    assert row["since"] == "2026-03-10T06:02:50+01:00"
    assert row["lot_size"] is row["left"] is row["finish_at"] is row["by_shift_end"] is row["tools"] is None


def test_a_target_stands_in_for_the_size(get):
    (row,) = get("lots", machine="N1", target=130)["items"]
    assert (row["lot_size"], row["left"], row["cycles_left"]) == (130, 20, 20)
    assert row["finish_at_low"] < row["finish_at"] < row["finish_at_high"]
    assert (row["shift_end"], row["by_shift_end"]) == ("2026-03-10T14:00:00+01:00", "yes")
    (tool,) = row["tools"]
    assert (tool["tool"], tool["cycles_left"], tool["changes"], tool["chance"]) == ("7", 5, 1, "yes")
    (late,) = get("lots", machine="N1", target=400)["items"]
    assert late["by_shift_end"] == "no" and late["tools"][0]["changes"] == 3


def test_a_machine_that_tells_no_lot(get):
    (row,) = get("lots", machine="S1", target=10)["items"]
    assert row["lot"] is row["made"] is row["left"] is row["whole"] is row["tools"] is None


def test_a_target_is_a_number_of_parts(client):
    assert client.get("/api/v1/lots", params={"target": 0}).status_code == 422


@pytest.fixture
def asked(tmp_path):
    """The works with more facts, and what machine S1, which counts no parts, tells now."""
    app, store = works(tmp_path)

    def ask(machine, facts=(), **values):
        told = now_of(machine, WAITING, NOW - HOUR, values=values)
        store.writer().commit(Batch(facts=facts, now={machine: told}))
        (row,) = Client(app).get("/api/v1/lots", params={"machine": machine}).json()["items"]
        return row

    yield ask
    store.close()


def test_the_size_that_a_machine_tells(asked):
    row = asked("N1", lot="L1", part="PH-12", lot_size=111)
    assert (row["lot_size"], row["left"], row["cycles_left"], row["tools"]) == (111, 1, 1, [])


def test_a_lot_that_was_seen_to_begin(asked):
    row = asked("N1", [Count("N1", NOW - SECOND, TOTAL, 3, "PH-12", "L2")], lot="L2", part="PH-12", lot_size=9)
    assert (row["made"], row["whole"], row["since"]) == (3, True, "2026-03-10T11:59:59+01:00")


def test_a_lot_of_which_nothing_is_made_yet(asked):
    row = asked("N1", lot="L2", part="VC-30", lot_size=9)
    assert (row["made"], row["left"], row["whole"], row["since"]) == (0, 9, True, None)
    assert row["cycles_left"] is row["finish_at"] is None, "no cycle of this part is known"


def test_a_machine_that_counts_no_parts_has_those_of_its_cycles(asked):
    cycles = [
        Cycle(
            "S1",
            NOW - (9 - i) * 600 * SECOND,
            NOW - (9 - i) * 600 * SECOND + 500 * SECOND,
            COMPLETE,
            "O5",
            "MB-05",
            lot,
            2,
        )
        for i, lot in enumerate(["L7", *["L8"] * 8])
    ]
    row = asked("S1", cycles, lot="L8", part="MB-05", lot_size=30)
    assert (row["made"], row["scrap"], row["left"], row["cycles_left"], row["whole"]) == (16, None, 14, 7, True)
    assert row["since"] == "2026-03-10T10:40:00+01:00"


def at_work(folder, **values):
    """What the page of N1 says of its lot, whose machine tells ``values``."""
    app, store = works(folder)
    store.writer().commit(Batch(now={"N1": now_of("N1", WAITING, NOW - HOUR, values=values)}))
    page = Client(app).get("/machines/N1").text.split('id="now-title"')[1].split("</section>")[0]
    store.close()
    (lot,) = re.findall(r"<h3>Lot .*?</div>", page, re.DOTALL)
    assert "reaches its limit" not in page.replace(lot, ""), "once is enough"
    return lot


def test_the_page_names_the_first_tool_that_ends_before_the_lot(tmp_path):
    lot = at_work(tmp_path, lot="L1", part="PH-12", lot_size=130)
    said = "T7 Face mill 50 reaches its limit before that, about 12:16"
    assert f'<a href="/tools?machine=N1">{said}</a>' in lot


def test_the_page_names_no_tool_where_all_last(tmp_path):
    assert "reaches its limit" not in at_work(tmp_path, lot="L1", part="PH-12", lot_size=111)
