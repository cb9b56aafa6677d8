"""docs/plant-file.md and the program name the same keys, defaults, signals and prefixes."""

import re
from datetime import time
from pathlib import Path

import pytest
from pydantic import BaseModel
from pydantic_core import PydanticUndefined

from swarfline.plant import alerts, base, channels, model
from swarfline.plant.addresses import KNOWN_NAMESPACES
from swarfline.signals import SIGNALS, TOOL_FIELDS

TEXT = (Path(__file__).parents[3] / "docs" / "plant-file.md").read_text(encoding="utf-8")
SECTIONS = {
    "[plant]": model.PlantTable,
    "[store]": model.StoreTable,
    "[listen]": model.Listen,
    "[interpret]": model.InterpretTable,
    "[figures]": model.FiguresTable,
    "[energy]": model.EnergyTable,
    "[alerts]": alerts.AlertsTable,
    **{f"[alerts.{table.rule}]": table for table in alerts.RuleTable.__subclasses__()},
    "[[alerts.exceptions]]": alerts.ExceptionTable,
    "[[channels]]": channels.ChannelTable,
    "[channels.webhook]": channels.WebhookTable,
    "[channels.mail]": channels.MailTable,
    "[channels.other]": channels.OtherTable,
    "[channels.quiet]": channels.QuietTable,
    "[tool_changes]": model.ToolChangesTable,
    "[[shifts]]": model.ShiftTable,
    "[[shifts.breaks]]": model.BreakTable,
    "[[planned_stops]]": model.PlannedStopTable,
    "[[stop_reasons]]": model.StopReasonTable,
    "[[parts]]": model.Part,
    "[[parts.planned_steps]]": model.PlannedStepTable,
    "[[cells]]": model.Cell,
    "[[servers]]": model.Server,
    "[servers.security]": model.SecurityTable,
    "[[servers.machines]]": model.Machine,
    "[servers.machines.motion]": model.MotionTable,
    "[[servers.machines.motion.axes]]": model.AxisTable,
    "[[reports]]": model.ReportTable,
    "[mappings.NAME]": model.Mapping,
    "Nodes": model.NodeRef,
    "Tools": model.ToolMapping,
}


def section(heading: str) -> str:
    found = re.search(rf"^## {re.escape(heading)}$(.*?)(?=^## |\Z)", TEXT, re.MULTILINE | re.DOTALL)
    assert found, f"docs/plant-file.md has no section {heading!r}"
    return found[1]


def rows(heading: str) -> dict[str, list[str]]:
    cells = [
        re.split(r"\s*\|\s*", line.strip("| ")) for line in section(heading).splitlines() if line[:3] == "| `"
    ]
    return {row[0].strip("`"): row[1:] for row in cells}


def default_of(field) -> str:
    if field.is_required():
        return "required"
    value = field.default if field.default is not PydanticUndefined else field.default_factory()
    if value is None:
        return "none"
    if isinstance(value, bool):
        return f"`{str(value).lower()}`"
    if isinstance(value, BaseModel):
        return "`{}`"
    if isinstance(value, tuple):
        inner = ", ".join(f'"{entry}"' for entry in value)
        return f"`[{inner}]`"
    if isinstance(value, time):
        return f'`"{value:%H:%M}"`'
    return f'`"{value}"`' if isinstance(value, str) else f"`{value}`"


def subclasses_of_table() -> set[type]:
    direct = set(base.Table.__subclasses__()) - {alerts.RuleTable}
    return direct | set(alerts.RuleTable.__subclasses__())


def test_every_table_has_its_section():
    assert set(SECTIONS.values()) | {model.Plant} == subclasses_of_table()


@pytest.mark.parametrize("heading", SECTIONS)
def test_the_section_names_exactly_the_keys_with_their_defaults(heading):
    documented = {key: row[0] for key, row in rows(heading).items()}
    fields = SECTIONS[heading].model_fields
    assert documented == {name: default_of(field) for name, field in fields.items()}


def test_every_table_of_the_file_is_a_heading():
    headings = " ".join(re.findall(r"^## (.*)$", TEXT, re.MULTILINE))
    for name in set(model.Plant.model_fields) - {"path"}:
        assert re.search(rf"\[{name}[\].]", headings), name


@pytest.mark.parametrize(("heading", "catalogue"), [("Signals", SIGNALS), ("Tool fields", TOOL_FIELDS)])
def test_the_catalogue_is_the_same(heading, catalogue):
    documented = rows(heading)
    assert list(documented) == list(catalogue)
    for name, signal in catalogue.items():
        assert documented[name][1] == signal.about
        for choice in signal.choices:
            assert choice in documented[name][0]


def test_the_known_prefixes_are_the_same():
    listed = re.search(r"specifications: ((?:`\w+`\s?)+)\.", section("[namespaces]"))
    assert listed
    assert re.findall(r"\w+", listed[1]) == list(KNOWN_NAMESPACES)
