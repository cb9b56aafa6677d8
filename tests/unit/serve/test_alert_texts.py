"""Alerts in the reader's language: wherever a person reads them, and never in the API."""

from __future__ import annotations

from dataclasses import replace

import pytest

from swarfline.alerts import Acknowledgement, Alert
from swarfline.collect.telling import terms_of
from swarfline.plant import load
from swarfline.plant.alerts import ScrapTable
from swarfline.serve import create_app
from swarfline.serve.page.alert_words import next_step
from swarfline.serve.tongue import speaking
from swarfline.store import Batch
from swarfline.watch.notices import notices
from swarfline.watch.rules import RULES
from swarfline.watch.rules.scrap_rate import Made, see

from .entering import Writer
from .test_notifications import CHANNELS
from .works import MINUTE, NOW, works

SEEN = see(Made("N1", True, 1080, 135), ScrapTable())
LATER = see(Made("N1", True, 1200, 180), ScrapTable())
SCRAP = Alert(SEEN.rule, SEEN.machine, SEEN.subject, SEEN.severity, SEEN.text, NOW - MINUTE, detail=SEEN.detail)
OLD = Alert("scrap_rate", "S1", "machine", SEEN.severity, "10 of 80 parts are scrap", NOW - 2 * MINUTE)
ENGLISH = "135 of 1080 parts of this shift on N1 are scrap: 12.5 %"
GERMAN = "135 von 1\u202f080 Teilen dieser Schicht auf N1 sind Ausschuss: 12,5 %"


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    folder = tmp_path_factory.mktemp("told")
    _, store = works(folder)
    path = folder / "plant.toml"
    path.write_text(path.read_text(encoding="utf-8") + CHANNELS, encoding="utf-8")
    plant = load(path)
    store.writer().commit(Batch(raised=[SCRAP, OLD]))
    before = next(a for a in store.queries.alerts(standing=True) if a.text == SCRAP.text)
    store.alerting().acknowledge(before.number, Acknowledgement("Ana", NOW - MINUTE // 2), None)
    store.outbox.add(notices([SCRAP, OLD], [], [], terms_of(plant), NOW, NOW))
    app = create_app(plant, store, clock_us=lambda: NOW)
    yield Writer(app), store, before.number, app.state.boards["de"]
    store.close()


@pytest.mark.parametrize(
    "path", ["/", "/alerts", "/alerts/{number}", "/wall", "/notifications", "/reports?span=day"]
)
def test_pages_tell_alerts_in_the_readers_language(told, path):
    client, _, number, _ = told
    address = path.format(number=number)
    german = client.get(address, headers={"accept": "text/html", "accept-language": "de"}).text
    english = client.get(address, headers={"accept": "text/html", "accept-language": "en"}).text
    assert GERMAN in german and ENGLISH not in german
    assert ENGLISH in english and GERMAN not in english
    if "{number}" not in path:
        assert "10 of 80 parts are scrap" in german, "what an older version wrote stays as it was written"


def test_the_stream_tells_them_so_too_and_the_api_in_english(told):
    client, _, number, board = told
    with speaking("de"):
        board.refresh()
        look = board.look()
    (alert,) = [a for a in look["alerts"] if a["number"] == number]
    assert (alert["said"]["text"], alert["text"]) == (GERMAN, ENGLISH)
    assert look["cells"][f"alert.{number}.text"] == GERMAN
    row = client.get(f"/api/v1/alerts/{number}", headers={"accept-language": "de"}).json()
    assert row["text"] == ENGLISH and {e["text"] for e in row["events"]} == {ENGLISH}


def test_history_tells_each_text_as_it_was_then(told):
    client, store, number, _ = told
    alert = store.queries.alert(number)
    assert alert is not None
    changed = replace(alert, text=LATER.text, detail=LATER.detail, changed_us=NOW - 1)
    store.writer().commit(Batch(changed=[changed]))
    try:
        text = client.get(f"/alerts/{number}", headers={"accept": "text/html", "accept-language": "de"}).text
    finally:
        store.writer().commit(Batch(changed=[replace(alert, changed_us=NOW - 1)]))
    assert GERMAN in text and "180 von 1\u202f200 Teilen dieser Schicht auf N1 sind Ausschuss: 15 %" in text
    assert "are scrap" not in text


def test_each_rule_leads_on_to_a_page_that_is_there(told):
    client = told[0]
    for rule in RULES:
        step, address = next_step(replace(SCRAP, rule=rule.name))
        assert (rule.name == "disk") == (address == ""), rule.name
        if address:
            page = client.get(address.split("#")[0], headers={"accept": "text/html"})
            assert step and page.status_code == 200, address
            assert "#" not in address or f'id="{address.split("#")[1]}"' in page.text
    assert '<a href="/machines/N1#enter">Enter parts</a>' in client.get("/alerts").text
