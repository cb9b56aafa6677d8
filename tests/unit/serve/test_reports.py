"""Reports: the figures of the API, the same in every format, of the right span, with what is not known."""

from __future__ import annotations

import csv
import io
import re
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from pypdf import PdfReader

from swarfline.plant.load import check
from swarfline.report import Cell, Report, Row
from swarfline.serve.reports import cells
from swarfline.serve.reports.build import build
from swarfline.serve.reports.flat import HEADER, to_csv
from swarfline.serve.reports.pdf import NoTypesetter, to_pdf
from swarfline.serve.reports.sheet import to_html
from swarfline.serve.reports.subject import OWN, Subject, before, span_at, subject, zone_words
from swarfline.serve.room import Room
from swarfline.serve.spans import Asked
from swarfline.serve.times import parse
from swarfline.serve.tongue import speaking

from .works import HOUR, NOW
from .works import PLANT as PLANT_FILE

DAY = 24 * HOUR
SECTIONS = (
    "oee", "losses", "machines", "parts", "stops", "reasons", "notes", "alerts", "tools_changed", "tools_due",
    "energy", "unknown",
)  # fmt: skip


@pytest.fixture(scope="session")
def room(app) -> Room:
    found: Room = app.state.room
    return found


def today(room: Room) -> Subject:
    return subject(room, "day", span_at(room, "day", NOW, ["N1", "S1"]))


@pytest.fixture(scope="session")
def report(room) -> Report:
    return build(today(room))


def values(report: Report, section: str) -> dict[tuple[str, str], Cell]:
    """Cell by row and column."""
    found = report.section(section)
    return {
        (row.key, column.key): cell
        for row in found.rows
        for column, cell in zip(found.columns, row.cells, strict=True)
    }


def test_it_has_every_section(report):
    assert tuple(s.key for s in report.sections) == SECTIONS
    assert all(column.title for section in report.sections for column in section.columns)
    assert report.title == "Day report, Tue 10 Mar 2026"
    assert report.file_name == "report-day-2026-03-10"
    about = {name: text for name, _title, text in report.about}
    assert about["span"] == "Tue 10 Mar 2026, 00:00 – Tue 10 Mar 2026, 12:00 (so far)"
    assert about["time_zone"] == "Europe/Madrid (UTC+01:00)"
    assert about["coverage"] == "91.2 %"


@pytest.mark.parametrize("name", ["oee", "availability", "effectiveness", "quality_ratio"])
def test_the_whole_is_what_oee_answers(report, get, name):
    (row,) = get("oee", span="day", by="plant")["items"]
    shown = values(report, "oee")[name, "value"]
    assert shown.value == pytest.approx(row["figures"][name]["value"] * 100)
    assert shown.coverage_pct == row["coverage_pct"]
    assert shown.note == "observed: 91.2 %"


def test_machines_are_what_oee_and_pace_answer(report, get):
    found = values(report, "machines")
    for row in get("oee", span="day", by="machine")["items"]:
        for name in ("oee", "availability", "effectiveness", "quality_ratio"):
            value = row["figures"][name]["value"]
            shown = found[row["key"], f"{name}_pct"].value
            assert shown == (None if value is None else pytest.approx(value * 100))
        assert found[row["key"], "coverage_pct"].value == row["coverage_pct"]
    for row in get("pace", span="day")["items"]:
        for name, told in (("made", "made"), ("due", "expected"), ("ahead", "ahead")):
            assert found[row["machine"], name].value == row[told]


def test_losses_are_what_losses_answers(report, get):
    found = values(report, "losses")
    items = get("losses", span="day", by="plant")["items"]
    told = [row for row in items if row["time_s"]]
    assert len(told) > 4
    for row in told:
        key = f"{row['loss']}_{row['length']}".rstrip("_")
        assert found[key, "time_s"].value == row["time_s"]
        assert found[key, "share_pct"].value == row["share_pct"]
        assert found[key, "parts"].value == row["parts"]
    assert ("held_short", "time_s") not in found, "losses of no time take no room"


def test_the_cascade_leads_from_planned_time_to_good_parts(report):
    """Each loss is drawn where it takes its time away, so that the pieces lie end to end."""
    rows = {row.key: row.cells[1].bar[0] for row in report.section("losses").rows}
    seconds = {row.key: row.cells[2].value for row in report.section("losses").rows}
    scale = seconds["planned_time"]
    assert rows["planned_time"].end == 1.0
    assert rows["planned_busy_time"].end == pytest.approx(seconds["planned_busy_time"] / scale)
    level = rows["planned_busy_time"].end
    for key in list(rows)[list(rows).index("planned_busy_time") + 1 : -1]:
        assert rows[key].end == pytest.approx(level), key
        level = rows[key].start
    assert rows["good_parts"].start == 0
    assert rows["good_parts"].end == pytest.approx(level)
    assert rows["unobserved"].end == 1.0


def test_energy_is_what_energy_answers(report, get):
    (row,) = get("energy", span="day", by="machine")["items"]
    found = values(report, "energy")
    assert found["N1", "energy_kwh"].value == row["energy"]["value"]
    assert found["N1", "energy_per_good_part_kwh"].value == row["energy_per_good_part"]["value"]
    assert found["N1", "coverage_pct"].value == row["energy"]["coverage_pct"] == 50.0
    assert found["N1", "demand_peak_kw"].value == row["demand_peak_kw"]
    assert ("N1", "cost") not in found, "no price is set"


def test_stops_are_the_longest_long_ones(report, get):
    found = values(report, "stops")
    told = [s for m in ("N1", "S1") for s in get(f"machines/{m}/stops", span="day")["items"] if s["long"]]
    told.sort(key=lambda s: -s["planned_s"])
    assert [found[str(n), "planned_s"].value for n in range(1, len(told) + 1)] == [s["planned_s"] for s in told]
    assert found["3", "reason"].text == "Door switch"
    assert found["3", "reason_by"].value == "alarm"
    assert found["1", "reason"].text == "–"
    reasons = {row.key: row.cells[2].value for row in report.section("reasons").rows}
    items = get("losses", span="day", by="plant", split="reason")["items"]
    wanted = {row["reason"] or "unknown": row["time_s"] for row in items if row["reason"] is not None}
    assert reasons == wanted


def test_alerts_and_tools(report):
    assert "Tool 7 (Face mill 50)" in values(report, "alerts")["1", "text"].text
    assert values(report, "alerts")["1", "cleared"].text == "stands"
    due = values(report, "tools_due")
    assert due["1", "tool"].text == "T7 Face mill 50" and due["1", "share_pct"].value == 95.0
    assert report.section("tools_changed").nothing == "No tool life ended."


def test_what_is_not_known_is_said(report):
    found = values(report, "unknown")
    assert found["S1_unobserved", "amount"].value == 3600.0
    assert found["S1_energy", "what"].text.startswith("its energy")
    assert found["N1_unjudged", "amount"].value == 108
    assert ("N1_unobserved", "amount") not in found


def test_money_and_co2_where_rates_are_set(room):
    """By hand: 17 280 s of good parts at 60 an hour are 288; 24 kWh at 0.25 are 6, at 0.4 kg/kWh 9.6 kg."""
    plant = room.plant.model_copy(
        update={
            "figures": room.plant.figures.model_copy(update={"hourly_rate": 60.0, "currency": "EUR"}),
            "energy": room.plant.energy.model_copy(update={"price_per_kwh": 0.25, "co2_kg_per_kwh": 0.4}),
        }
    )
    made = build(today(replace(room, plant=plant)))
    losses, energy = values(made, "losses"), values(made, "energy")
    assert losses["good_parts", "money"] == Cell("288.00 EUR", 288.0, "EUR")
    assert losses["planned_time", "money"].text == ""
    assert energy["N1", "cost"].text == "6.00 EUR" and energy["N1", "co2_kg"].value == pytest.approx(9.6)
    found = pdf_of(made)
    assert "288.00 EUR" in found.pages[0].extract_text()
    assert "pdfuaid" in found.trailer["/Root"]["/Metadata"].get_data().decode()


def test_nothing_observed_is_not_zero(report):
    before = values(report, "oee")["good", "before"]
    assert before.value is None and before.text == "–", "nobody watched the day before"


def test_a_span_long_over_says_nothing_of_tools_due_now(room):
    old = build(subject(room, "day", span_at(room, "day", NOW - 9 * DAY, ["N1"])))
    assert not old.section("tools_due").rows
    assert "more than a week ago" in old.section("tools_due").nothing


PLANT = {
    "plant": {"name": "Works", "time_zone": "Europe/Madrid"},
    "shifts": [
        {"name": "early", "start": "06:00", "end": "14:00"},
        {"name": "late", "start": "14:00", "end": "22:00"},
    ],
    "servers": [
        {
            "id": "line",
            "endpoint": "opc.tcp://127.0.0.1:4840",
            "machines": [{"id": "N1", "signals": {"executing": "mch:Run", "cycle_count": "mch:Cycles"}}],
        }
    ],
}  # fmt: skip


@pytest.fixture
def bare(app) -> Room:
    """A room of five-day weeks with two shifts."""
    plant = check(PLANT, "works")
    return replace(app.state.room, plant=plant, calendar=plant.calendar())


def us(text: str) -> int:
    return parse(f"{text}+01:00")


@pytest.mark.parametrize(
    ("kind", "start", "end", "wanted"),
    [
        ("day", "2026-03-10T00:00:00", "2026-03-11T00:00:00", ("2026-03-09T00:00:00", "2026-03-10T00:00:00")),
        # a Monday is held against the Friday: nobody works on the days between
        ("day", "2026-03-09T00:00:00", "2026-03-10T00:00:00", ("2026-03-06T00:00:00", "2026-03-07T00:00:00")),
        ("shift", "2026-03-10T14:00:00", "2026-03-10T22:00:00", ("2026-03-10T06:00:00", "2026-03-10T14:00:00")),
        ("shift", "2026-03-09T06:00:00", "2026-03-09T14:00:00", ("2026-03-06T14:00:00", "2026-03-06T22:00:00")),
        ("week", "2026-03-09T00:00:00", "2026-03-16T00:00:00", ("2026-03-02T00:00:00", "2026-03-09T00:00:00")),
        (OWN, "2026-03-10T08:00:00", "2026-03-10T10:00:00", ("2026-03-10T06:00:00", "2026-03-10T08:00:00")),
    ],
)
def test_the_span_before(bare, kind, start, end, wanted):
    asked = Asked(us(start), us(end), NOW, us(end))
    assert before(bare, kind, asked, ["N1"]) == tuple(map(us, wanted))


def test_a_change_of_the_clocks_shows_both_offsets(room):
    # the last Sunday of March, 02:00 (Directive 2000/84/EC)
    day = room.calendar.day_span(room.calendar.day_of(parse("2026-03-29T12:00:00+02:00")))
    assert zone_words(room, day) == "Europe/Madrid (UTC+01:00 → UTC+02:00)"


# --- formats


class Texts(HTMLParser):
    """The words of a page and the tags that it has."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.tags: list[str] = []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.tags.append(tag)

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def read(html: str) -> tuple[str, list[str]]:
    texts = Texts()
    texts.feed(html)
    return re.sub(r"\s+", " ", " ".join(texts.words)), texts.tags


def shown_cells(report: Report) -> Iterator[str]:
    return (cell.text for section in report.sections for row in section.rows for cell in row.cells if cell.text)


def test_html_is_one_file_that_says_everything(report):
    html = to_html(report)
    words, tags = read(html)
    for text in (*shown_cells(report), *(s.title for s in report.sections), report.caution):
        assert re.sub(r"\s+", " ", text) in words, text
    assert "script" not in tags and "link" not in tags and "img" not in tags
    assert "src=" not in html and "url(" not in html and " style=" not in html
    assert tags.count("h1") == 1
    assert html.lstrip().startswith("<!doctype html>")


def test_csv_has_every_value_unrounded(report):
    lines = list(csv.reader(io.StringIO(to_csv(report))))
    assert tuple(lines[0]) == HEADER
    found = {tuple(line[:3]): line[3:] for line in lines[1:]}
    assert len(found) == len(lines) - 1, "no two lines are about the same cell"
    for section in report.sections:
        for (row, column), cell in values(report, section.key).items():
            if cell.value is None:
                continue
            told = found[section.key, row, column]
            assert told[0] == str(cell.value)
            assert told[1] == cell.unit
    assert found["machines", "S1", "due"][0] == "", "not known is empty"
    assert found["about", "", "span"][0].startswith("Tue 10 Mar")


def pdf_of(report: Report) -> PdfReader:
    return PdfReader(io.BytesIO(to_pdf(report)))


def test_pdf_is_two_sheets_of_a4_tagged_with_title_and_language(report):
    found = pdf_of(report)
    assert len(found.pages) <= 2
    # A4: 210 mm × 297 mm (ISO 216), in points of 1/72 inch
    width, height = (float(found.pages[0].mediabox[n]) for n in (2, 3))
    assert (width, height) == (pytest.approx(210 / 25.4 * 72, abs=0.1), pytest.approx(297 / 25.4 * 72, abs=0.1))
    assert found.metadata is not None
    assert found.metadata.title == "Day report, Tue 10 Mar 2026, Irrigation works"
    root = found.trailer["/Root"]
    assert root["/Lang"] == "en" and root["/MarkInfo"]["/Marked"]
    assert "pdfuaid" in root["/Metadata"].get_data().decode(), "says that it follows PDF/UA (ISO 14289-1)"
    text = re.sub(r"\s+", " ", " ".join(page.extract_text() for page in found.pages))
    for section in report.sections:
        assert section.title in text
    for cell in ("45.1 %", "Door switch", "T7 Face mill 50", "not a safety device"):
        assert cell in text


@pytest.mark.parametrize(
    "name",
    [
        "ポンプ筐体", "Корпус насоса", "Κέλυφος αντλίας",
        "#panic() *b* $x$ <i>", '"\\u{41}" \x00\x07\u202e', "=1+1",
        "e" * 5000,
    ],
)  # fmt: skip
def test_whatever_a_machine_calls_itself_ends_as_plain_text(report, name):
    section = report.section("parts")
    cell = cells.text(name)
    row = Row("x", (cell, *section.rows[0].cells[1:]))
    odd = replace(report, sections=(replace(section, rows=(row,)),), subtitle=cell.text)
    made = pdf_of(odd)
    assert len(made.pages) == 1 and made.trailer["/Root"]["/MarkInfo"]["/Marked"]
    words, tags = read(to_html(odd))
    assert re.sub(r"\s+", " ", cell.text).strip() in words and "i" not in tags
    lines = list(csv.reader(io.StringIO(to_csv(odd))))
    assert not any(value[:1] in ("=", "+", "@") for line in lines for value in line)


def test_letters_of_europe_are_in_the_pdf(report):
    odd = replace(report, sections=(), subtitle="Корпус, Κέλυφος, ąčřßñ")
    assert "Корпус, Κέλυφος, ąčřßñ" in pdf_of(odd).pages[0].extract_text()


def test_without_the_typesetter_it_says_what_to_do(report, client, monkeypatch):
    monkeypatch.setitem(sys.modules, "typst", None)
    with pytest.raises(NoTypesetter, match=r"swarfline\[pdf\]"):
        to_pdf(report)
    assert "/reports/pdf" not in client.get("/reports?span=day").text
    answer = client.get("/reports/pdf?span=day", headers={"accept": "application/json"})
    assert answer.status_code == 501 and "swarfline[pdf]" in answer.json()["detail"]


def test_it_speaks_german(room):
    with speaking("de"):
        made = build(today(room))
        assert made.language == "de"
        assert values(made, "oee")["oee", "value"].text == "45,1 %"
    assert pdf_of(made).trailer["/Root"]["/Lang"] == "de"
    assert '<html lang="de">' in to_html(made)


# --- over HTTP


@pytest.mark.parametrize(
    ("ending", "media_type"),
    [("html", "text/html; charset=utf-8"), ("pdf", "application/pdf"), ("csv", "text/csv; charset=utf-8")],
)
def test_files_over_http(client, ending, media_type):
    answer = client.get(f"/reports/{ending}?span=day&machine=N1")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == media_type
    assert answer.headers["content-disposition"] == f'attachment; filename="report-day-2026-03-10-N1.{ending}"'
    if ending == "csv":
        assert "machines,N1,made,110,1," in answer.text and "S1" not in answer.text


def test_the_page_shows_the_report_and_leads_to_its_files(client):
    answer = client.get("/reports?span=day&cell=north")
    words, tags = read(answer.text)
    assert tags.count("h1") == 1 and "style" not in tags
    assert "Day report, Tue 10 Mar 2026" in words and "North cell (1)" in words
    for address in re.findall(r'href="(/reports/[^"]+)"', answer.text):
        followed = client.get(address.replace("&amp;", "&"))
        assert followed.status_code == 200
        assert "North-cell" in followed.headers["content-disposition"]


@pytest.mark.parametrize(
    ("address", "status"),
    [
        ("doc?span=day", 422),
        ("csv?span=year", 422),
        ("csv?machine=N9", 404),
        ("csv?from=2027-01-01", 422),
        ("csv?from=2026-01-01", 422),
    ],
)
def test_what_cannot_be_reported_is_refused(client, address, status):
    assert client.get(f"/reports/{address}").status_code == status


def test_the_documentation_names_every_section():
    text = (Path(__file__).parents[3] / "docs" / "reports.md").read_text(encoding="utf-8")
    assert tuple(re.findall(r"^\| [^|]+ \| `(\w+)` \|", text, re.MULTILINE)) == ("about", *SECTIONS)


def test_the_example_of_the_documentation_can_be_loaded():
    text = (Path(__file__).parents[3] / "docs" / "reports.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"```toml\n(.*?)```", text, re.DOTALL)
    plant = check(tomllib.loads(PLANT_FILE + example), "plant.toml")
    assert [report.id for report in plant.reports] == ["early", "week"]
