"""What the production page says of one span: the rows of the API, made from facts that are read once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from swarfline.measure.elements import NOT_PRODUCING
from swarfline.measure.losses import GOOD_PARTS, SCRAP_PARTS, SLOW_RUNNING, Loss, Price, added
from swarfline.plant import Machine
from swarfline.sentence import N_, Sentence
from swarfline.serve.assemble import Assembly
from swarfline.serve.losses import LossRow, loss_row, rows_of
from swarfline.serve.oee import OeeRow, is_known, oee_row
from swarfline.serve.pace import PaceRow, pace_row
from swarfline.serve.page.choosing import OWN, Chosen, moment
from swarfline.serve.problems import wrong
from swarfline.serve.reports.subject import before
from swarfline.serve.slices import By, Piece, Slice, slices
from swarfline.serve.spans import DAY, LONGEST_US, SHIFT, Asked
from swarfline.serve.tallied import Tallied
from swarfline.serve.times import parse

DAY_US = 86_400_000_000
FINE_US = 45 * DAY_US
"""Longest span whose single stops are read; above it losses come from the sums of its days."""
BEFORE, OTHER = "before", "other"


@dataclass(frozen=True, slots=True)
class MachineSide:
    """One machine in the span."""

    machine: Machine
    row: OeeRow
    losses: list[LossRow]
    pace: PaceRow


@dataclass(frozen=True, slots=True)
class Side:
    """The machines together in one span, and each of them; ``reasons`` are None where stops are not read."""

    chosen: Chosen
    work: Assembly
    total: OeeRow
    losses: list[LossRow]
    reasons: list[LossRow] | None
    machines: list[MachineSide]

    @property
    def fine(self) -> bool:
        """Whether single stops were read."""
        return self.reasons is not None

    @property
    def observed(self) -> bool:
        """Whether anything is known of the span."""
        return is_known(self.total)


def side(chosen: Chosen) -> Side:
    """The figures of the machines and the span chosen, which has machines."""
    fine = is_fine(chosen)
    work = (Assembly if fine else Tallied)(chosen.room, chosen.asked.interval, chosen.asked.now_us)
    whole = Slice("plant", chosen.whose, work.span, [Piece(m.id, (work.span,)) for m in chosen.machines])
    each = list(zip(chosen.machines, slices(work, "machine", chosen.machines), strict=True))
    machines = [(m, s, work.losses(m.id, s.pieces[0].spans) if fine else []) for m, s in each]
    stretches = [found for *_, mine in machines for found in mine]
    return Side(
        chosen,
        work,
        oee_row(work, whole),
        rows_of(work, whole, stretches, "condition") if fine else coarse_rows(work, whole),
        rows_of(work, whole, stretches, "reason") if fine else None,
        [
            MachineSide(
                m,
                oee_row(work, s),
                rows_of(work, s, mine, "condition") if fine else coarse_rows(work, s),
                pace_row(work, chosen.asked, m.id),
            )
            for m, s, mine in machines
        ],
    )


def of_its_shift(chosen: Chosen) -> Chosen:
    """Where a shift is chosen, the same with the machines that are planned in it: others have one of their own."""
    asked, calendar = chosen.asked, chosen.room.calendar
    if chosen.kind != SHIFT:
        return chosen
    told = {m.id: calendar.shift_spans(m.id, asked.start_us, asked.start_us + 1) for m in chosen.machines}
    mine = [m for m in chosen.machines if any(s.start_us == asked.start_us for s in told[m.id])]
    return replace(chosen, machines=tuple(mine))


def is_fine(chosen: Chosen) -> bool:
    """Whether the span is short enough for single stops to be read."""
    return chosen.asked.end_us - chosen.asked.start_us <= FINE_US


def coarse_rows(work: Assembly, piece: Slice) -> list[LossRow]:
    """Losses by the sums of OEE alone: stops by condition only, and nothing in parts."""
    found = [row for p in piece.pieces for row in _coarse(work, p)]
    busy_us = sum(work.elements(p.machine, p.spans).planned_busy_us for p in piece.pieces)
    estimate = any(work.oee_sums(p.machine, p.spans).estimate for p in piece.pieces)
    return [loss_row(work, piece, loss, busy_us, estimate) for loss in added(found)]


def _coarse(work: Assembly, piece: Piece) -> list[Loss]:
    elements, sums = work.elements(piece.machine, piece.spans), work.oee_sums(piece.machine, piece.spans)
    price = Price(None, work.rate(piece.machine))
    times: list[tuple[str, int | Fraction]] = [(c, elements.inside(c)) for c in NOT_PRODUCING]
    if sums.unplanned:
        times.append(("producing", sums.production_us))
    else:
        good, produced = sums.planned_good_us, sums.planned_produced_us
        times += [(GOOD_PARTS, good), (SCRAP_PARTS, produced - good)]
        times.append((SLOW_RUNNING, sums.production_us - produced))
    return [Loss.priced(name, "", Fraction(us), price) for name, us in times]


def beside(chosen: Chosen, told: dict[str, str]) -> Chosen | None:
    """The span that the one chosen is compared with; ends the request with 422 for what is none."""
    kind = told.get("against", OTHER if "against_from" in told else "")
    if not kind:
        return None
    if kind not in (BEFORE, OTHER):
        raise wrong(
            "against", Sentence(N_("{value} is not known"), {"value": repr(kind[:40])}), f"{BEFORE}, {OTHER}"
        )
    asked = _before(chosen) if kind == BEFORE else _other(chosen, told)
    return replace(chosen, asked=asked, kind=OWN, more=())


def _before(chosen: Chosen) -> Asked:
    """The shift, day, week or month before, as far as this one has come; else as long a span right before."""
    asked = chosen.asked
    machines = [m.id for m in chosen.machines]
    found = before(chosen.room, chosen.kind, asked, machines) or before(chosen.room, DAY, asked, machines)
    start_us, end_us = found or (2 * asked.start_us - asked.end_us, asked.start_us)
    return Asked(start_us, end_us, asked.now_us, end_us)


def _other(chosen: Chosen, told: dict[str, str]) -> Asked:
    room, asked = chosen.room, chosen.asked
    if "against_from" not in told:
        raise wrong("against_from", N_("is missing"), N_("the start of the other span"))
    start_us = moment("against_from", told["against_from"], room)
    end_us = start_us + asked.end_us - asked.start_us
    if "against_to" in told:
        end_us = moment("against_to", told["against_to"], room)
    end_us = min(end_us, asked.now_us)
    if not start_us < end_us:
        raise wrong(
            "against_to", N_("lies at or before 'against_from', or that lies ahead"), N_("a time after it")
        )
    if end_us - start_us > LONGEST_US:
        raise wrong("against_from", N_("the span is longer than 400 days"), N_("a span of at most 400 days"))
    return Asked(start_us, end_us, asked.now_us, end_us)


def pieces_of(found: Side) -> tuple[By, Sequence[OeeRow]]:
    """Into what the span is cut to show its course, and the rows; empty for a single shift."""
    chosen = found.chosen
    by = _cut_of(chosen)
    rows = (
        [] if chosen.kind == SHIFT else [oee_row(found.work, s) for s in slices(found.work, by, chosen.machines)]
    )
    return by, rows


def _cut_of(chosen: Chosen) -> By:
    length_us = chosen.asked.end_us - chosen.asked.start_us
    if chosen.kind in (SHIFT, DAY) or (chosen.kind == OWN and length_us <= 2 * DAY_US):
        return "shift"
    return "day" if length_us <= FINE_US else "week"


def start_us(row: OeeRow) -> int:
    """Where a row's span begins, µs UTC."""
    return parse(row.from_)
