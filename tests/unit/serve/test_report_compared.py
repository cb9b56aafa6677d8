"""A report held against the span before it, and against the page of production: the same words, colours, figures.

What differs between two spans of which not all was seen: common practice, no source.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import fields, replace
from html import unescape
from importlib import resources

import pytest
from pypdf import PdfReader

from swarfline.facts import Fact, ToolLife
from swarfline.plant import load
from swarfline.report import Cell, Report
from swarfline.serve import create_app
from swarfline.serve.page import amounts
from swarfline.serve.page.amounts import MONEY, PARTS, TIME, Amount
from swarfline.serve.reports import bars, cells
from swarfline.serve.reports.build import build
from swarfline.serve.reports.flat import to_csv
from swarfline.serve.reports.letter import letter
from swarfline.serve.reports.pdf import to_pdf
from swarfline.serve.reports.sheet import to_html
from swarfline.serve.reports.subject import span_at, subject
from swarfline.serve.room import Room
from swarfline.serve.tongue import speaking
from swarfline.store import Batch, Store

from .client import Client
from .test_tool_pages import words_of
from .works import HOUR, NOW, PLANT, facts, status

DAY = 24 * HOUR
WHY = "no difference: less than 95 % of one of the two was observed"


def moved(fact: Fact, by_us: int) -> Fact:
    """The same on another day."""
    times = [f.name for f in fields(fact) if f.name in ("start_us", "end_us", "at_us", "time_us")]
    return replace(fact, **{name: getattr(fact, name) + by_us for name in times})


@pytest.fixture(scope="module")
def client(tmp_path_factory) -> Iterator[Client]:
    """The morning of the works, and the same until noon of the day before; one rate, so that there is money."""
    folder = tmp_path_factory.mktemp("compared")
    rate = '[figures]\nhourly_rate = 60.0\ncurrency = "EUR"\n\n[[shifts]]'
    (folder / "plant.toml").write_text(PLANT.replace("[[shifts]]", rate, 1), encoding="utf-8")
    store = Store.open(f"sqlite:///{folder / 'compared.db'}")
    before = [replace(moved(f, -DAY), **({"open": False} if hasattr(f, "open") else {}))
              for f in facts() if not isinstance(f, ToolLife)]  # fmt: skip
    store.writer().commit(Batch(facts=[*before, *facts()], servers={"line": status()}, seen_us=NOW))
    app = create_app(load(folder / "plant.toml"), store, clock_us=lambda: NOW)
    made = Client(app)
    made.room = app.state.room
    yield made
    store.close()


def report(client: Client, machine: str | None = None) -> Report:
    room: Room = client.room
    return build(subject(room, "day", span_at(room, "day", NOW, ["N1", "S1"]), machine))


def tile(made: Report, row: str, column: str) -> Cell:
    section = made.section("oee")
    places = [c.key for c in section.columns]
    return next(r for r in section.rows if r.key == row).cells[places.index(column)]


def test_a_day_that_goes_on_is_held_against_the_same_stretch_as_on_the_page_of_production(client):
    made = report(client, "N1")
    note = made.section("oee").note
    assert note.startswith("Before: Mon 9 Mar 2026, 00:00–12:00. This one is not over yet; ")
    assert "same stretch of the one before" in note
    text = words_of(client.get("/production?span=day&machine=N1&against=before").text)
    assert "Beside it: Mon 9 Mar 2026, 00:00–12:00." in text
    good = tile(made, "good", "before")
    assert f"beside it {good.text}, {tile(made, 'good', 'difference').text}" in text
    # of the whole Monday, whose last two hours nobody watched, a quarter would not be observed
    assert good.coverage_pct == 100.0 and good.value == tile(made, "good", "value").value
    assert tile(made, "good", "difference").value == 0


def test_a_span_that_is_over_is_held_against_the_whole_one(client):
    room: Room = client.room
    made = build(subject(room, "day", span_at(room, "day", NOW - DAY, ["N1"]), "N1"))
    assert made.section("oee").note.startswith("Before: Fri 6 Mar 2026.")


def test_counts_of_which_too_little_was_seen_have_no_difference_but_a_reason(client):
    made = report(client)
    assert tile(made, "oee", "value").note == tile(made, "oee", "before").note == "observed: 91.2 %"
    assert tile(made, "oee", "difference").coverage_pct == pytest.approx(91.2, abs=0.05)
    difference = tile(made, "good", "difference")
    assert (difference.text, difference.value, difference.note) == ("–", None, WHY)
    assert tile(made, "good", "before").note == "observed: 91.2 %"
    lines = {tuple(line[:3]): line[3:] for line in csv.reader(io.StringIO(to_csv(made)))}
    assert lines["oee", "good", "difference"][0] == "" and lines["oee", "good", "difference_why"][0] == WHY
    assert all(lines["oee", row, "before"][2].startswith("91.1") for row in ("oee", "good"))
    assert lines["about", "", "coverage_before"][0] == "91.2 %"
    assert lines["oee", "", "note"][0].startswith("Before: Mon 9 Mar 2026")
    pdf = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(to_pdf(made))).pages)
    for text in (to_html(made), re.sub(r"\s+", " ", pdf), letter(made)):
        assert WHY in text and "observed: 91.2 %" in text
    page = words_of(client.get("/production?span=day&against=before").text)
    assert WHY in page and "machine. Where less than 95 % of" in page and "are not compared" in page


def test_where_enough_was_seen_both_are_compared(client):
    page = client.get("/production?span=day&machine=N1&against=before").text
    assert "no difference" not in page and "are not compared" not in page
    made = report(client, "N1")
    assert WHY not in to_html(made) and re.search(r"OEE: [\d.]+ % \(before [\d.]+ %, 0\.0 points\)", letter(made))


@pytest.mark.parametrize(
    ("now", "then", "wanted"),
    [(100.0, 100.0, True), (95.0, 97.0, True), (94.9, 100.0, False), (100.0, 43.0, False), (None, 100.0, True)],
)
def test_how_much_has_to_be_seen(now, then, wanted):
    assert amounts.comparable(now, then) is wanted


@pytest.mark.parametrize(
    ("now", "then", "wanted"),
    [(0.9924, 0.9916, "0.0 points"), (0.84641, 0.84951, "−0.4 points"), (0.8, 0.75, "+5.0 points")],
)
def test_differences_of_ratios_are_those_of_what_is_shown(now, then, wanted):
    """99.2 against 99.2, 84.6 against 85.0: by hand."""
    assert amounts.points(now, then) == wanted


@pytest.mark.parametrize(
    ("unit", "now", "then", "wanted"),
    [
        (TIME, 12.44 * 3600, 12.36 * 3600, "0.0 h"),  # 12.4 h, 12.4 h
        (TIME, 9.961 * 3600, 10.44 * 3600, "−0.44 h"),  # 9.96 h, 10.4 h
        (TIME, 12.44 * 3600, 0.0, "+12.4 h"),
        (TIME, 0.0, 0.0, "0.00 h"),
        (PARTS, 12.4, 11.6, "0"),  # 12, 12
        (MONEY, 1234.4, 980.504, "+253.50 EUR"),  # 1 234 EUR, 980.50 EUR
        (MONEY, 1.0, None, "–"),
    ],
)
def test_differences_of_amounts_are_those_of_what_is_shown(unit, now, then, wanted):
    pair = (Amount(**{{TIME: "time_s"}.get(unit, unit): value}) for value in (now, then))
    assert amounts.difference(*pair, unit, "EUR") == wanted


def test_losses_have_the_words_and_figures_of_the_page_of_production(client):
    page = client.get("/production?span=day&machine=N1").text
    ladder = words_of(re.search(r'<table class="ladder.*?</table>', page, re.S)[0])
    rows = report(client, "N1").section("losses").rows
    assert len(rows) > 5
    places = [ladder.index(row.cells[0].text.partition(", ")[0] + " ") for row in rows]
    assert places == sorted(places), "in the same order"
    for row in rows:
        title, _, length = row.cells[0].text.partition(", ")
        assert title in ladder, title
        told = f"{length} {row.cells[2].text}" if length else row.cells[2].text
        assert told in ladder, told
        if not length and row.cells[4].text:
            assert {cell.text for cell in row.cells[3:]} <= set(re.findall(r"[^ ]+ %|[^ ]+ EUR|[^ ]+", ladder))


def test_scrap_and_slow_running_look_as_on_the_page_of_production(client):
    found = {s.kind for row in report(client, "N1").section("losses").rows for s in row.cells[1].bar}
    assert {"scrap_parts", "slow_running", "good_parts", "stays"} <= found
    page = unescape(client.get("/production?span=day&machine=N1").text)
    shapes = dict(re.findall(r'<path class="(c-\w+)" d="M[\d.e-]+ (\d+)', page))
    for kind in ("scrap_parts", "slow_running"):
        assert int(shapes[f"c-{kind}"]) == bars.LEVELS[kind][0]


def test_short_stops_are_combs(client):
    rows = {row.key: row.cells[1].bar for row in report(client, "N1").section("losses").rows}
    ((_, short),), ((_, long),) = bars.paths(rows["waiting_short"]), bars.paths(rows["fault_long"])
    assert short.count("M") > 3 and long.count("M") == 1


def test_colours_are_the_same_in_every_format():
    """Of each kind of bar, the fill of the style sheets (light) is the colour of the PDF."""
    assets = resources.files("swarfline.serve.page") / "assets"
    css = "".join((assets / name).read_text(encoding="utf-8") for name in ("page.css", "report.css"))
    variables = dict(re.findall(r"--([\w-]+): (#\w{6})", css.partition("@media")[0]))
    fills = {
        kind: variables[name]
        for kinds, name in re.findall(r"((?:\.c-\w+,? ?)+)\{ fill: var\(--(\w+)\)", css)
        for kind in re.findall(r"\.c-(\w+)", kinds)
    }
    source = (resources.files("swarfline.serve.reports") / "report.typ").read_text(encoding="utf-8")
    named = dict(re.findall(r'#let (\w+) = rgb\("(#\w{6})"\)', source))
    table = re.search(r"#let colours = \((.*?)\n\)", source, re.S)[1]
    told = {k: code or named[name] for k, code, name in re.findall(r'(\w+): (?:rgb\("(#\w{6})"\)|(\w+))', table)}
    assert set(bars.LEVELS) == set(told)
    assert told == {kind: fills[kind] for kind in told}


def test_what_is_not_whole_never_looks_so():
    """25 s of a day of 16 planned hours."""
    coverage = 100 - 25 / 57_600 * 100
    assert cells.share(coverage).text == "< 100 %" and cells.covered(coverage) == "observed: < 100 %"
    assert cells.share(100.0).text == "100.0 %" and cells.covered(100.0) == ""
    assert cells.share(None).text == "–"


def test_it_is_told_in_german(client):
    with speaking("de"):
        made = report(client)
        assert tile(made, "good", "difference").note.startswith("kein Unterschied angegeben: ")
        assert "mit demselben Abschnitt des vorigen" in made.section("oee").note
        assert tile(made, "quality_ratio", "figure").text == "Qualität"
