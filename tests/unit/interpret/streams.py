"""Random streams of one machine for the property tests: many signals, equal times, disorder, gaps, odd values."""

import math

from hypothesis import strategies as st

from swarfline.interpret.settings import MachineSettings
from swarfline.signals import CLOCK_OFFSET, LINK, LINK_ALIVE, LINK_BACK, LINK_LOST, Quality, Reading

from .told import BEGIN_US, SECOND_US

VALUES = {
    "state": ("executing", "executing", "executing", "not_executing", "not_available", "out_of_service"),
    "mode": ("automatic", "automatic", "automatic", "setup"),
    "program_state": ("running", "running", "ended", "ready", "interrupted", "aborted"),
    "program": ("O1", "O2"),
    "part": ("PH-12", "VC-30"),
    "cycle_count": (0, 1, 2, 3, 4, 5, 65535),
    "part_count": (0, 1, 2, 3, 4, 5, 65535),
    "good_count": (0, 1, 2, 3),
    "scrap_count": (0, 1, 2),
    "active_tool": (0, 1, 2, "T9"),
    "tool_changing": (True, False),
    "positioning": (True, False),
    "feed_hold": (True, False, False),
    "feed_override": (0, 100),
    "spindle_speed": (0, 8000),
    "spindle_load": (0.0, 12.5, 33.3),
    "power": (0.0, 650.0, 3333.3),
    "energy": (10.0, 11.5, 12.25, 20.0),
    "alarm": (True, False),
    "alarm_code": ("", "7", "8"),
    "tools[1].number": (1, 1, 2, 0),
    "tools[1].used": (0, 1, 2, 3.5),
    "tools[1].limit": (10, 20),
    "tools[2].number": (1, 2, 2, 3, 0),
    "tools[2].remaining": (0, 1, 2, 3),
    "tools[2].limit": (10, 11),
    "lot_size": (100, 200),
}
ODD = (math.nan, math.inf, -math.inf, 1e308, -1e308, 10**30, -7, True, "", "x", 0, 2.5)
STEPS_US = (0, 0, 1, 1000, 250_000, SECOND_US, 7 * SECOND_US, 400 * SECOND_US, 1000 * SECOND_US)
BOUNDS = ("program_state", "cycle_count", "part_count", "executing")
MACHINE = "N1"


def _value(draw, signal, at_us, early_us=0):
    if draw(st.integers(0, 19)) == 0:
        return Reading(MACHINE, signal, at_us - early_us, at_us, None, Quality.BAD)
    return Reading(MACHINE, signal, at_us - early_us, at_us, draw(st.sampled_from(VALUES[signal])))


def _odd(draw, signal, at_us):
    """Any value at all, as quality Uncertain."""
    return Reading(MACHINE, signal, at_us, at_us, draw(st.sampled_from(ODD)), Quality.UNCERTAIN)


def _link(event, at_us):
    return Reading(MACHINE, LINK, at_us, at_us, event)


def _gap(draw, offered, lost_us, back_us):
    """A loss, a return, and the full set of values, most of them with the time of their last change."""
    yield _link(LINK_LOST, lost_us)
    yield _link(LINK_BACK, back_us)
    for signal in offered:
        yield _value(draw, signal, back_us, draw(st.sampled_from((0, 0, 5 * SECOND_US, 10**10))))


def _other(draw, at_us):
    kind = draw(st.integers(0, 3))
    if kind == 0:
        offset = draw(st.sampled_from((0, 300_000, 40 * SECOND_US, -40 * SECOND_US)))
        return Reading(MACHINE, CLOCK_OFFSET, at_us, at_us, offset)
    if kind == 1:
        return Reading(MACHINE, "state", at_us + 10**9, at_us, "executing")
    return _link(LINK_ALIVE, at_us)


@st.composite
def streams(draw, most=60):
    """(settings, readings in the order in which they arrived)."""
    offered = draw(st.lists(st.sampled_from(sorted(VALUES)), min_size=1, max_size=len(VALUES), unique=True))
    settings = MachineSettings(
        MACHINE,
        frozenset(offered),
        bounds=draw(st.sampled_from((None, *BOUNDS))),
        widths={"part_count": 16},
        parts_per_cycle={"VC-30": 2},
        reorder_us=draw(st.sampled_from((0, SECOND_US))),
        max_skew_us=draw(st.sampled_from((5 * SECOND_US, None))),
    )
    now, readings = BEGIN_US, []
    for _ in range(draw(st.integers(1, most))):
        now += draw(st.sampled_from(STEPS_US))
        choice = draw(st.integers(0, 19))
        if choice == 0:
            back_us = now + draw(st.sampled_from(STEPS_US)) + 1
            readings += _gap(draw, offered, now, back_us)
            now = back_us
        elif choice == 1:
            readings.append(_other(draw, now))
        elif choice == 2:
            readings.append(_odd(draw, draw(st.sampled_from(offered)), now))
        else:
            early = draw(st.sampled_from((0, 0, 0, 1, 400_000, 900_000, 3 * SECOND_US)))
            readings.append(_value(draw, draw(st.sampled_from(offered)), now, early))
    return settings, readings


@st.composite
def powered(draw):
    """Readings of power, state and program in order of time, with gaps and quality Bad; and none late."""
    now, readings = BEGIN_US, []
    for _ in range(draw(st.integers(2, 40))):
        now += draw(st.sampled_from(STEPS_US))
        if draw(st.integers(0, 9)) == 0:
            readings.append(_link(LINK_LOST, now))
            now += draw(st.sampled_from(STEPS_US)) + 1
            readings.append(_link(LINK_BACK, now))
        else:
            readings.append(_value(draw, draw(st.sampled_from(("power", "power", "state", "program_state"))), now))
    return readings


@st.composite
def metered(draw):
    """Like ``powered``, with an energy counter that only grows, told as it is at that moment."""
    now, readings, counter = BEGIN_US, [], draw(st.integers(0, 1000))
    for _ in range(draw(st.integers(2, 40))):
        now += draw(st.sampled_from(STEPS_US))
        counter += draw(st.integers(0, 50))
        choice = draw(st.integers(0, 9))
        if choice == 0:
            readings.append(_link(LINK_LOST, now))
            now += draw(st.sampled_from(STEPS_US)) + 1
            readings.append(_link(LINK_BACK, now))
        elif choice < 5:
            readings.append(Reading(MACHINE, "energy", now, now, counter))
        else:
            readings.append(_value(draw, draw(st.sampled_from(("state", "program_state"))), now))
    return readings


@st.composite
def shuffled(draw):
    """(settings, readings at distinct moments in order, the same as they may arrive within the reorder window)."""
    offered = draw(st.lists(st.sampled_from(sorted(VALUES)), min_size=1, max_size=len(VALUES), unique=True))
    settings = MachineSettings(MACHINE, frozenset(offered), reorder_us=SECOND_US)
    now, readings, arrival = BEGIN_US, [], []
    for _ in range(draw(st.integers(1, 60))):
        now += draw(st.sampled_from((1, 1000, 250_000, 3 * SECOND_US, 1000 * SECOND_US)))
        readings.append(_value(draw, draw(st.sampled_from(offered)), now))
        arrival.append(now + draw(st.integers(0, SECOND_US)))
    order = sorted(range(len(readings)), key=lambda n: (arrival[n], n))
    return settings, readings, [readings[n]._replace(received_us=arrival[n]) for n in order]
