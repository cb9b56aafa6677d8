"""RULES, the folder of rules, the plant file's tables, what watching looks at and docs/alerts.md tell the same."""

import re
from pathlib import Path

import pytest

from swarfline.collect.machine_looks import QUICK, SELDOM, SLOW
from swarfline.collect.plant_looks import OF_PLANT, OF_SERVERS
from swarfline.plant.alerts import OF_MACHINE, OF_SERVER, OF_TOOL, AlertsTable, ExceptionTable, RuleTable
from swarfline.watch import rules
from swarfline.watch.rules import MACHINE, PLANT, SERVER, TOOL

NAMES = {rule.name for rule in rules.RULES}
PAGE = (Path(__file__).parents[3] / "docs" / "alerts.md").read_text(encoding="utf-8")
SELECTED_BY = {TOOL: [OF_TOOL], MACHINE: [OF_MACHINE], SERVER: [OF_SERVER], PLANT: [(), ("cells",)]}


def table_of(name: str) -> type[RuleTable]:
    return AlertsTable.model_fields[name].annotation


def test_every_rule_is_a_file_of_its_name_and_every_file_a_rule():
    files = {path.stem for path in Path(rules.__file__).parent.glob("*.py")} - {"__init__"}
    assert files == NAMES
    assert len(rules.RULES) == len(files)


def test_every_rule_has_its_table_and_every_table_its_rule():
    annotations = {name: field.annotation for name, field in AlertsTable.model_fields.items()}
    tables = {name for name, kind in annotations.items() if isinstance(kind, type) and issubclass(kind, RuleTable)}
    assert tables == NAMES
    assert {name: table_of(name).rule for name in NAMES} == {name: name for name in NAMES}


def test_exceptions_can_be_made_from_every_rule_that_has_more_than_one_subject():
    assert set(ExceptionTable().settings) == set()
    excepted = set(ExceptionTable.model_fields) - {"machines", "cells", "servers", "tools"}
    assert excepted == {name for name in NAMES if table_of(name).selected_by}


def test_a_rule_is_told_apart_by_what_it_is_about():
    for rule in rules.RULES:
        assert table_of(rule.name).selected_by in SELECTED_BY[rule.subject], rule.name


def test_watching_looks_with_every_rule_once():
    looks = [*QUICK, *SLOW, *SELDOM, *OF_SERVERS, *OF_PLANT]
    assert sorted(looks) == sorted(NAMES)


@pytest.mark.parametrize("rule", rules.RULES, ids=lambda rule: rule.name)
def test_the_page_tells_of_every_rule_what_the_program_does(rule):
    (row,) = re.findall(rf"^\| `{rule.name}` \|(.*)\|$", PAGE, re.MULTILINE)
    _, severity, about, clears, todo = (cell.strip() for cell in f"|{row}".split("|"))
    assert (about, clears, todo) == (rule.about, rule.clears, rule.todo)
    assert severity == table_of(rule.name).model_fields["severity"].default


def test_the_page_tells_of_no_other_rule():
    rows = re.findall(r"^\| `(\w+)` \| (?:information|warning|urgent) \|", PAGE, re.MULTILINE)
    assert set(rows) == NAMES
