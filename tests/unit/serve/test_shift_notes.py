"""Notes to hand over: on the first page those of two shifts, in a report those of its span.

The shift of the works is 06:00 to 14:00 from Monday to Friday; their present is Tuesday, 12:00.
"""

from __future__ import annotations

import re
from html import unescape

import pytest

from .entering import Writer
from .test_entering_forms import send, text_of
from .works import PLANT, works

NOTES = "machines/N1/notes"


def block(client: Writer, language: str = "en") -> str:
    page = client.get("/", headers={"accept": "text/html", "accept-language": language}).text
    (found,) = re.findall(r'<section aria-labelledby="notes-title".*?</section>', page, re.DOTALL)
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", found)))


def test_the_notes_of_two_shifts_newest_first(writing):
    writing.entered(NOTES, time="2026-03-09T05:59:00+01:00", text="Before both")
    writing.entered(NOTES, time="2026-03-09T13:55:00+01:00", text="Chuck <b>leaks</b>", who="Luis")
    writing.entered("machines/S1/notes", time="2026-03-10T11:00:00+01:00", text="Castings at noon")
    writing.entered("machines/S1/notes", text="Undone")
    writing.enter("entries/4/undo")
    text = block(writing)
    assert "Notes of this shift and the one before since 9 Mar 06:00" in text
    assert "South one Castings at noon 11:00, Ana N1 Chuck <b>leaks</b> 9 Mar 13:55, Luis" in text
    assert "Before both" not in text and "Undone" not in text
    page = writing.get("/").text
    assert '<a href="/machines/S1">South one</a> <b>Castings at noon</b>' in page and "<b>leaks" not in page
    assert "Notizen dieser und der vorigen Schicht" in block(writing, "de")


def test_at_most_ten_and_how_many_more(writing):
    for number in range(12):
        writing.entered(NOTES, time=f"2026-03-10T08:{number:02d}:00+01:00", text=f"note {number}")
    text = block(writing)
    assert "note 11 " in text and "note 2 " in text and "note 1 " not in text
    assert "2 older notes are on the machines’ pages." in text


def test_no_note(client):
    assert "No note. What the next shift has to know" in block(client)


def test_without_shifts_those_since_yesterdays_midnight(tmp_path):
    from swarfline.plant import load
    from swarfline.serve import create_app

    from .works import NOW

    _, store = works(tmp_path)
    path = tmp_path / "plant.toml"
    path.write_text(re.sub(r"\[\[shifts\]\].*?(?=\[\[parts)", "", PLANT, flags=re.DOTALL), encoding="utf-8")
    writer = Writer(create_app(load(path), store, clock_us=lambda: NOW))
    writer.entered(NOTES, time="2026-03-09T00:00:00+01:00", text="Yesterday")
    writer.entered(NOTES, time="2026-03-08T23:59:00+01:00", text="Earlier")
    text = block(writer)
    assert "Yesterday" in text and "Earlier" not in text
    store.close()


@pytest.mark.parametrize(
    "fields", [{"time": "2026-03-10T15:00"}, {"time": "2026-03-10T15:00", "to": "2026-03-10T16:00"}]
)
def test_a_note_that_lies_ahead_is_told_where_it_is_to_go(refusing, fields):
    text = text_of(send(refusing, "/machines/N1/notes", text="x", who="Ana", **fields))
    assert "a note is about what has been; leave the time empty for what a later shift has to know" in text
    assert "Parameter" not in text


def test_a_report_has_the_notes_of_its_span(writing):
    writing.entered(NOTES, time="2026-03-09T13:55:00+01:00", text="The day before")
    writing.entered(NOTES, time="2026-03-10T07:00:00+01:00", text="x" * 300, who="Luis")
    writing.entered("machines/S1/notes", text="Castings late")
    rows = [line for line in writing.get("/reports/csv?span=day").text.splitlines() if line.startswith("notes,")]
    told = "\n".join(rows)
    assert "notes,1,text,Castings late" in told and "notes,1,machine,South one" in told
    assert "notes,2,who,Luis" in told and "x" * 300 in told, "longer than other texts of a report"
    assert "The day before" not in told
