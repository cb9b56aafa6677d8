"""FIGURES and docs/figures.md tell the same, and what is computed is listed."""

import re
from pathlib import Path

import swarfline.measure
from swarfline.measure import FIGURES
from swarfline.measure.energy import EnergySums, energy_figures
from swarfline.measure.kpis import UNTOLD, KpiSums, kpis
from swarfline.measure.oee import OeeSums, oee

ROOT = Path(__file__).resolve().parents[3]
ROW = re.compile(r"^\| `([a-z0-9_]+)` \| (.+) \| (.+) \| (.+) \| (.+) \|$", re.MULTILINE)


def test_each_figure_is_documented_as_it_is_listed():
    text = (ROOT / "docs" / "figures.md").read_text(encoding="utf-8")
    assert ROW.findall(text) == [tuple(figure) for figure in FIGURES]


def test_each_kpi_that_is_left_out_is_documented_with_its_reason():
    text = (ROOT / "docs" / "figures.md").read_text(encoding="utf-8")
    text = text[text.index("Left out, because") : text.index("## Parts")]
    rows = re.findall(r"^\| `([a-z0-9_]+)` \| ([^|]+) \| ([^|]+) \|$", text, re.MULTILINE)
    assert rows == [tuple(untold) for untold in UNTOLD]


def test_names_are_unique():
    names = [figure.name for figure in FIGURES]
    assert len(names) == len(set(names))


def test_figures_that_are_computed_are_listed_with_their_unit():
    units = {figure.name: figure.unit for figure in FIGURES}
    for figures in (oee(OeeSums()), energy_figures(EnergySums()), kpis(KpiSums())):
        for name, figure in figures.items():
            assert figure.name == name
            assert units[name] == figure.unit


def test_every_family_of_figures_has_its_file():
    folder = Path(swarfline.measure.__file__).parent
    families = {path.stem for path in folder.glob("*.py")} - {"__init__"}
    assert {
        "elements",
        "oee",
        "kpis",
        "production",
        "losses",
        "trend",
        "forecast",
        "energy",
        "pace",
        "study",
        "runoff",
    } <= families


def test_each_figure_has_a_check_from_outside():
    folder = ROOT / "tests" / "outside"
    text = (folder / "README.md").read_text(encoding="utf-8")
    text = text[text.index("## The figures that each check covers") :]
    rows = re.findall(r"^\| ([\w-]+) \| (test_\w+) \| (`.+`) \|$", text, re.MULTILINE)
    covered = {name for _, _, names in rows for name in re.findall(r"`(\w+)`", names)}
    assert covered == {figure.name for figure in FIGURES}
    for check, file, _ in rows:
        told = (folder / f"{file}.py").read_text(encoding="utf-8")
        assert re.search(rf"\b{check}\b|test_(\w+_)?{check.lower().replace('-', '_')}_", told), check
