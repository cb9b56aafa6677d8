"""Messages in the language of their channel: subject and text, never the data, whatever the pages speak."""

from __future__ import annotations

from dataclasses import replace

import pytest

from swarfline.alerts import Alert
from swarfline.collect.telling import Telling, terms_of
from swarfline.messages import Delivery
from swarfline.plant import load
from swarfline.plant.alerts import ScrapTable
from swarfline.sentence import ENGLISH
from swarfline.serve.page.words import TONGUES
from swarfline.serve.tongue import LANGUAGES, speaking
from swarfline.store import Batch
from swarfline.watch.deliver import joined, trial
from swarfline.watch.notices import ALERTED, CAUTION, EVENTS, SHORT, escalations, notices
from swarfline.watch.rules.scrap_rate import Made, see

from .test_notifications import CHANNELS
from .works import MINUTE, NOW, PLANT

SEEN = see(Made("N1", True, 1080, 135), ScrapTable())
SCRAP = Alert(SEEN.rule, "N1", "machine", "warning", SEEN.text, NOW - MINUTE, detail=SEEN.detail)
SAID = "135 von 1\u202f080 Teilen dieser Schicht auf N1 sind Ausschuss: 12,5 %"


@pytest.fixture
def plant(tmp_path):
    path = tmp_path / "plant.toml"
    german = CHANNELS.replace('id = "office"', 'id = "office"\nlanguage = "de"\nescalate_to = "shop"')
    path.write_text(PLANT + german, encoding="utf-8")
    return load(path)


def test_each_channel_is_told_in_its_language(plant):
    telling = Telling(plant, lambda: NOW, TONGUES)
    batch = telling.with_messages(Batch(raised=[SCRAP]), [], NOW)
    assert batch is not None
    shop, office = batch.messages
    assert (shop.channel, shop.subject) == ("shop", f"Irrigation works: warning: {SEEN.text}")
    assert (office.channel, office.subject) == ("office", f"Irrigation works: Warnung: {SAID}")
    assert office.text.splitlines()[:6] == [
        "Meldung (Warnung), ausgelöst 2026-03-10 11:59:00+01:00", "", SAID, "", "Maschine: N1",
        "Regel: scrap_rate",
    ]  # fmt: skip
    assert "keine Sicherheitsfunktion" in office.text and CAUTION not in office.text
    assert office.data == shop.data and shop.data["text"] == SEEN.text
    assert office.key == shop.key


def test_what_the_pages_speak_changes_no_message(plant):
    terms = terms_of(plant, TONGUES)
    apart = notices([SCRAP], [], [], terms, NOW, NOW)
    with speaking("de"):
        assert notices([SCRAP], [], [], terms, NOW, NOW) == apart


def test_without_other_languages_all_is_told_in_english(plant):
    for message in notices([SCRAP], [], [], terms_of(plant), NOW, NOW):
        assert message.subject == f"Irrigation works: warning: {SEEN.text}" and CAUTION in message.text


def test_every_event_has_its_words(plant):
    terms = terms_of(plant, TONGUES)
    over = replace(SCRAP, cleared_us=NOW, number=4)
    worse, back = replace(SCRAP, severity="urgent"), replace(SCRAP, times=2, again_us=NOW, number=4)
    told = [
        *notices([SCRAP], [], [], terms, NOW, NOW),
        *notices([], [worse], [SCRAP], terms, NOW, NOW),
        *notices([], [over], [replace(SCRAP, number=4)], terms, NOW, NOW),
        *notices([], [back], [over], terms, NOW, NOW),
    ]
    german = {m.data["event"]: m for m in told if m.channel == "office"}
    assert {*german, "escalated"} == set(EVENTS) == set(SHORT)
    heads = {event: message.subject.removeprefix("Irrigation works: ") for event, message in german.items()}
    assert heads[ALERTED].startswith("Warnung: ") and heads["worse"].startswith("jetzt dringend: ")
    assert heads["cleared"].startswith("vorbei: ") and heads["raised_again"].startswith("wieder da, Warnung: ")
    for message in german.values():
        assert not {"alert", "raised", "Machine", "Rule"} & set(message.text.replace(":", " ").split())


def test_what_escalates_is_told_in_the_language_of_the_channel_it_comes_to(plant):
    (message,) = escalations([SCRAP], terms_of(plant, TONGUES), NOW + 60 * MINUTE, NOW)
    assert (message.channel, message.subject[:40]) == ("shop", "Irrigation works: not acknowledged, warn")


def test_joined_messages_and_tests(plant):
    parts = [m for m in notices([SCRAP], [], [], terms_of(plant, TONGUES), NOW, NOW) if m.channel == "office"]
    whole = joined([Delivery(n, parts[0]) for n in range(1, 3)], "Irrigation works", NOW, TONGUES["de"])
    assert whole.subject == "Irrigation works: 2 Nachrichten über Meldungen (2 Warnung)"
    assert f"Warnung: {SAID}" in whole.text and CAUTION not in whole.text
    many = joined([Delivery(n, parts[0]) for n in range(1, 150)], "Irrigation works", NOW, TONGUES["de"])
    assert "… und 49 weitere, auf der Seite der Meldungen" in many.text
    message = trial("office", "Irrigation works", NOW, TONGUES["de"])
    assert message.subject == "Irrigation works: Probe des Kanals office"
    assert "Es ist nichts geschehen." in message.text and "keine Sicherheitsfunktion" in message.text


def test_every_language_of_the_pages_may_be_a_channels(plant):
    assert set(TONGUES) | {"en"} == set(LANGUAGES)
    assert ENGLISH.number(1080.5, 1) == "1080.5" and TONGUES["de"].number(1080.5, 1) == "1\u202f080,5"
