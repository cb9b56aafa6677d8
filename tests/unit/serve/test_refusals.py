"""What was wrong with a form or an address is said in the reader's language; the API says it in English."""

from __future__ import annotations

from urllib.parse import urlencode

import pytest
from pydantic import BaseModel, Field, ValidationError

from swarfline.sentence import N_, Sentence
from swarfline.serve.page import words
from swarfline.serve.problems import amiss, missing, wrong
from swarfline.serve.tongue import speaking

from .entering import Writer
from .test_entering_forms import ORIGIN, text_of
from .works import works

STOP = "2026-03-10T10:10:00+01:00"


def send(writer, path, language, **fields):
    return writer.post(path, content=urlencode(fields), headers={**ORIGIN, "accept-language": language})


@pytest.mark.parametrize(
    ("path", "fields", "english", "german"),
    [
        ("notes", {"text": " "}, "What is to be known: is missing", "Was zu wissen ist: fehlt"),
        ("notes", {"text": "x", "time": "soon"}, "Time: 'soon' is no time", "Zeit: 'soon' ist kein Zeitpunkt"),
        (
            "notes",
            {"text": "x", "time": "2026-03-10T13:00"},
            "Time: lies ahead of now, and a note",
            "Zeit: liegt in der Zukunft, eine Notiz",
        ),
        ("judgements", {"kind": "scrap", "quantity": "many"}, "is no whole number", "ist keine ganze Zahl"),
        (
            "judgements",
            {"kind": "x", "quantity": 1},
            "must be one of 'scrap'",
            "muss eins von diesen sein: 'scrap'",
        ),
        (
            "judgements",
            {"kind": "scrap", "quantity": 1500},
            "1 500 cannot become scrap",
            "1 500 können nicht Ausschuss werden",
        ),
        ("targets", {"quantity": -5, "span": "shift"}, "must be at least 0", "Menge: muss mindestens 0 sein"),
        ("stop-reasons", {"stop": STOP, "reason": "x" * 201}, "than 200 characters", "ist länger als 200 Zeichen"),
        ("who", {"who": ""}, "Your name: tell who enters this", "Ihr Name: bitte angeben, wer das einträgt"),
    ],
)
def test_forms(refusing, path, fields, english, german):
    told = {"who": "Ana", "back": "/machines/N1?span=shift", **fields}
    for language, said, other in (("en", english, german), ("de", german, english)):
        answer = send(refusing, f"/machines/N1/{path}", language, **told)
        assert answer.status_code == 422
        # once above the forms, and once beside its field or in its form
        assert text_of(answer).count(said) >= 1 and other not in text_of(answer)


@pytest.mark.parametrize(
    ("path", "status", "german"),
    [
        ("/machines/N9", 404, "Maschine 'N9' gibt es in diesem Werk nicht."),
        ("/nowhere", 404, "Unter /nowhere gibt es nichts"),
        ("/alerts?span=xyz", 422, "Angabe 'span': 'xyz' ist keine Art von Zeitraum Möglich: "),
        (
            "/alerts?from=2030-01-01",
            422,
            "liegt nicht vor der Gegenwart des Werks Möglich: ein vergangener Zeitpunkt",
        ),
        ("/alerts/0", 422, "Nicht verwendbar: 'number'. number: muss mindestens 1 sein"),
        ("/alerts/x", 422, "number: ist keine ganze Zahl"),
    ],
)
def test_addresses(client, path, status, german):
    answer = client.get(path, headers={"accept": "text/html", "accept-language": "de"})
    assert answer.status_code == status
    text = text_of(answer)
    assert german in text
    assert not [word for word in ("Unprocessable", "There", "is no", "must be") if word in text]


def test_the_api_says_it_in_english_whatever_the_reader_speaks(client):
    for language in ("en", "de"):
        answer = client.get("/api/v1/machines/N9/stops", headers={"accept-language": language}).json()
        assert answer["detail"] == "There is no machine 'N9' in this plant."
        assert answer["errors"][0]["detail"] == "there is no machine 'N9'"
        answer = client.get("/api/v1/alerts?limit=0", headers={"accept-language": language}).json()
        assert answer["errors"][0]["detail"] == "Input should be greater than or equal to 1"


def test_what_a_person_wrote_is_never_read_as_a_sentence():
    problem = wrong("reason", "no {place} here", Sentence(N_("none")))
    assert problem.detail == "Parameter 'reason': no {place} here"
    assert words.say(problem.said) == problem.detail
    with speaking("de"):
        assert words.say(missing("machine", "{x}", []).said) == "Maschine '{x}' gibt es in diesem Werk nicht."


class Shape(BaseModel):
    """One member of each kind that forms have."""

    whole: int = Field(default=1, ge=1, le=9)
    above: float = Field(default=1.5, gt=0.5, lt=2)
    kind: str = Field(default="a", pattern="^[a-c]$", max_length=1)


@pytest.mark.parametrize(
    ("fields", "english"),
    [
        ({"whole": "x"}, "is no whole number"),
        ({"whole": 1.5}, "is no whole number"),
        ({"whole": 0}, "must be at least 1"),
        ({"whole": 10}, "must be at most 9"),
        ({"above": 0.5}, "must be above 0.5"),
        ({"above": 2}, "must be below 2"),
        ({"above": "much"}, "is no number"),
        ({"kind": "z"}, "holds characters that cannot be printed"),
        ({"kind": "aa"}, "is longer than 1 characters"),
    ],
)
def test_what_the_shapes_find(fields, english):
    with pytest.raises(ValidationError) as found:
        Shape.model_validate(fields)
    (error,) = found.value.errors()
    assert words.say(amiss(dict(error))) == english
    with speaking("de"):
        assert words.say(amiss(dict(error))) not in ("", english)


def test_one_of_a_kind_without_words_is_said_as_it_is_found():
    assert words.say(amiss({"type": "unheard_of", "msg": "Odd", "ctx": {}})) == "Odd"


def test_forms_of_alerts(tmp_path):
    made, store = works(tmp_path)
    answer = send(Writer(made), "/alerts/1/shelve", "de", who="Ana", end="soon")
    store.close()
    assert answer.status_code == 422
    assert "Nicht ausgeführt. für wie lange: ist keine ganze Zahl" in text_of(answer)
