"""Made-up readings and facts: any that there can be, and a batch that has some of everything."""

from __future__ import annotations

from dataclasses import fields
from typing import get_type_hints

from hypothesis import strategies as st

from swarfline.alerts import Alert
from swarfline.facts import (
    COMPLETE,
    PRODUCING,
    RUNNING,
    TOTAL,
    WAITING,
    Alarm,
    Condition,
    Count,
    Cycle,
    Energy,
    Gap,
    LimitChange,
    StepPiece,
    ToolLife,
    ToolUse,
)
from swarfline.signals import Quality, Reading
from swarfline.store import Batch

from .conftest import POSTGRESQL

SECOND = 1_000_000
BEGIN_US = 1_773_097_200_000_000

# PostgreSQL keeps no NUL in its texts
TEXT = st.text(st.characters(codec="utf-8", exclude_characters="\0" if POSTGRESQL else ""), max_size=12)
INTEGER = st.integers(-(2**63), 2**63 - 1)
REAL = st.floats(allow_nan=False)
USE = st.builds(ToolUse, TEXT, INTEGER, INTEGER, INTEGER, *[st.none() | REAL] * 3)
PIECE = st.builds(StepPiece, INTEGER, TEXT, TEXT)

_BY_TYPE = {
    str: TEXT,
    int: INTEGER,
    float: REAL,
    bool: st.booleans(),
    float | None: st.none() | REAL,
    tuple[int, ...]: st.lists(INTEGER, max_size=5).map(tuple),
    tuple[ToolUse, ...]: st.lists(USE, max_size=3).map(tuple),
    tuple[StepPiece, ...]: st.lists(PIECE, max_size=3).map(tuple),
}


def facts_of(kind):
    """Any facts of one kind, each of another key."""
    hints = get_type_hints(kind)
    each = {f.name: _BY_TYPE[hints[f.name]] for f in fields(kind)}
    return st.lists(st.builds(kind, **each), max_size=4, unique_by=lambda fact: fact.key)


# half a surrogate pair is no text, but a history file may hold one
ANY_TEXT = st.text(st.characters(), max_size=8)
VALUE = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.integers(2**64, 2**80)
    | st.floats()
    | ANY_TEXT
    | st.sampled_from(["\ud800\udc00", "\0", "Zapfenlänge"])
)
SIGNAL = st.sampled_from(["state", "part", "power", "spindle_load", "tools[7].used", "of_ours"]) | ANY_TEXT
READING = st.builds(
    Reading, st.sampled_from(["N1", "S2"]) | ANY_TEXT, SIGNAL, INTEGER, INTEGER, VALUE, st.sampled_from([*Quality])
)


def readings(count, first=0, machine="N1"):
    """Readings of both kinds of signal; each value is its number."""
    signals = ("state", "power", "part_count", "spindle_load", "energy")
    return [
        Reading(machine, signals[n % 5], at := BEGIN_US + n * SECOND, at + 5, n)
        for n in range(first, first + count)
    ]


def some_of_everything(turn=0):
    """A batch for every table; the batch of a later turn goes on with what was open."""
    start, now = BEGIN_US, BEGIN_US + (turn + 1) * 60 * SECOND
    going_on = turn % 2 == 0
    cycle = Cycle(
        "N1", start, now, RUNNING if going_on else COMPLETE, "O1201", "PH-12", "L1", 1, (now - start, 0, 0, 0, 0),
        7200.5, (ToolUse("7", 1, 40, 30, 31.5, None, 1.0),), (StepPiece(0, "cutting", "7"),), turn, going_on,
    )  # fmt: skip
    alert = Alert("tool_near_limit", "N1", f"1/{turn}", "warning", "Tool 7: 95 of 100", now, None, {"used": 95})
    return Batch(
        readings=readings(50, first=50 * turn),
        late=[3, 4],
        facts=[
            cycle,
            Condition("N1", start, now, PRODUCING, open=going_on),
            Condition("N1", now, now + 1, WAITING, open=True),
            Count("N1", now, TOTAL, 1, "PH-12"),
            ToolLife("N1", "1", start, now, "7", used=95.0, limit=100.0, open=True),
            LimitChange("N1", "1", now, "7", "limit", None, 100.0),
            Energy("N1", start, now, PRODUCING, 3.6e6, "power", open=going_on),
            Gap("S1", start, now, "connection", open=True),
            Alarm("S1", start, now, "A1", "Türschalter", open=True),
        ],
        checkpoints={"N1": {"turn": turn}, "S1": {"turn": turn}},
        now={"N1": {"condition": WAITING}},
        servers={"line": {"state": "connected"}},
        seen_us=now,
        raised=[alert],
        changed=[Alert(alert.rule, "N1", f"1/{turn - 1}", "warning", alert.text, start, now)],
    )
