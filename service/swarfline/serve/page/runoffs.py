"""The page of run-offs: consecutive cycles against the planned time, as a sheet to print and sign."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from starlette.responses import Response

from swarfline.calendar import from_us
from swarfline.facts import Cycle
from swarfline.measure.runoff import TARGET, RunOff, sentence, warnings
from swarfline.plant import Machine
from swarfline.sentence import N_, Sentence
from swarfline.serve.page import cycle_words, plots, words
from swarfline.serve.page.choosing import moment
from swarfline.serve.page.pages import pages_of
from swarfline.serve.page.plots import Run
from swarfline.serve.problems import wrong
from swarfline.serve.room import InRoom, Room
from swarfline.serve.runoffs import (
    CYCLES,
    LOOK_BACK_US,
    RunOffRow,
    find_run_off,
    newest_made,
    run_off_row,
)
from swarfline.serve.spans import resolve
from swarfline.serve.times import show

router = APIRouter()

FEWEST, MOST = 2, 1000
MOST_TARGET = 10.0
SPREADS = 3.0
"""A limit farther away than so many times what the cycles are apart is told, but not drawn."""


@dataclass(frozen=True, slots=True)
class Question:
    """What is to be run off; None: as the newest cycle, or the plan, has it."""

    machine: Machine
    to_us: int
    program: str | None
    part: str | None
    number: int
    limit_s: float | None
    target: float


@dataclass(frozen=True, slots=True)
class Single:
    """One cycle of the list: when it began, whole and as day and time of the day, and how long it took."""

    begun: str
    day: str
    time: str
    length_s: float


@dataclass(frozen=True, slots=True)
class Sheet:
    """One run-off, ready to be shown."""

    machine: Machine
    ruling: str
    cautions: list[str]
    row: RunOffRow
    run: Run | None
    limits: tuple[float | None, float | None]
    start: str
    end: str
    lots: str
    wait_at: str
    parts_beside: int
    cycles: list[Single]


@router.get("/run-offs")
def run_offs_page(request: Request, room: InRoom) -> Response:
    """The form, and the run-off that its address asks for."""
    told = {name: value.strip() for name, value in request.query_params.items() if value.strip()}
    asked = _question(room, told)
    now_us = room.now_us()
    empty = dict.fromkeys(("machine", "program", "part", "limit_s", "to"), "")
    fields = {**empty, "n": str(CYCLES), "target": f"{TARGET:.2f}", **told}
    if "to" in told:
        fields["to"] = show(moment("to", told["to"], room), room.zone)[:16]
    return pages_of(request.app).answer(
        "runoffs.html",
        cycle_words=cycle_words,
        plots=plots,
        fields=fields,
        room=room,
        programs=sorted({program for part in room.plant.parts for program in part.programs}),
        sheet=None if asked is None else _sheet(room, asked, now_us),
        made_at=words.moment(now_us, room.zone),
    )


def _question(room: Room, told: Mapping[str, str]) -> Question | None:
    """What the address asks; None without a machine. Ends the request with 404 or 422 for what cannot be asked."""
    if "machine" not in told:
        return None
    return Question(
        room.machine(told["machine"]),
        moment("to", told["to"], room) if "to" in told else room.now_us(),
        told.get("program"),
        told.get("part"),
        _whole(told),
        _above_zero("limit_s", told["limit_s"]) if "limit_s" in told else None,
        _target(told),
    )


def _whole(told: Mapping[str, str]) -> int:
    text = told.get("n", str(CYCLES))
    number = int(text) if text.isascii() and text.isdecimal() and len(text) < 6 else 0
    if not FEWEST <= number <= MOST:
        raise wrong(
            "n",
            Sentence(N_("{value} is no number of cycles"), {"value": repr(text[:40])}),
            Sentence(N_("a whole number from {fewest} to {most}"), {"fewest": FEWEST, "most": MOST}),
        )
    return number


def _target(told: Mapping[str, str]) -> float:
    """The index to be reached; what the form shows of the usual one means just that."""
    if told.get("target", f"{TARGET:.2f}") == f"{TARGET:.2f}":
        return TARGET
    found = _above_zero("target", told["target"])
    if found > MOST_TARGET:
        raise wrong(
            "target",
            Sentence(N_("{value} is too large"), {"value": repr(told["target"][:40])}),
            Sentence(N_("at most {most_target:g}"), {"most_target": MOST_TARGET}),
        )
    return found


def _above_zero(name: str, text: str) -> float:
    try:
        found = float(text.replace(",", "."))
    except ValueError:
        found = 0.0
    if not 0 < found < 1e9:
        raise wrong(
            name, Sentence(N_("{value} is no number above 0"), {"value": repr(text[:40])}), N_("a number above 0")
        )
    return found


def _sheet(room: Room, asked: Question, now_us: int) -> Sheet:
    machine, zone = asked.machine.id, room.zone
    span = resolve(room, show(asked.to_us - LOOK_BACK_US, zone), show(asked.to_us, zone), None, (), "day").interval
    made = newest_made(room, machine, span, asked.program, asked.part)
    found = find_run_off(room, machine, span, made, asked.number, asked.limit_s, asked.target)
    row = run_off_row(room, machine, made, found, now_us)
    wait, ends = found.longest_wait, found.span_us
    return Sheet(
        asked.machine,
        words.say(sentence(found)),
        [words.say(one) for one in warnings(found)],
        row,
        _run(found),
        found.chart.limits or (None, None),
        words.moment(ends[0], zone) if ends else words.UNKNOWN,
        words.moment(ends[1], zone) if ends else words.UNKNOWN,
        ", ".join(list(dict.fromkeys(c.lot for c in found.sample.cycles if c.lot))[:4]) or words.UNKNOWN,
        words.moment(wait.start_us, zone) if wait else words.UNKNOWN,
        found.parts_beside,
        [_single(c, zone) for c in found.sample.cycles],
    )


def _single(cycle: Cycle, zone: ZoneInfo) -> Single:
    begun = from_us(cycle.start_us, zone)
    told = words.moment(cycle.start_us, zone)
    return Single(told, words.day(begun.date()), f"{begun:%H:%M:%S}", cycle.duration_us / 1e6)


def _run(found: RunOff) -> Run | None:
    values = found.sample.values_s
    limit = plots.near(values, found.limit_s, SPREADS)
    return plots.run(
        plots.in_order(len(values)), values, (*(found.chart.limits or ()), limit, found.sample.mean_s)
    )
