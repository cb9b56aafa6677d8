"""Lots: how far one is, when it will be done, and which tools will not last that long."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from swarfline.measure.definition import OURS, Definition
from swarfline.measure.forecast import ToolForecast
from swarfline.measure.interval import spread_of
from swarfline.measure.prospect import Prospect, Reach

YES, LIKELY, UNLIKELY, NO = "yes", "likely", "unlikely", "no"
"""Whether something comes about: by the whole interval, by the forecast, only by its end, not even by that."""


@dataclass(frozen=True, slots=True)
class LotMade:
    """A lot so far. ``size`` None: not told; ``made`` counts parts good or not, ``scrap`` those judged scrap."""

    lot: str
    part: str
    size: int | None
    made: int | None
    scrap: int | None = None

    @property
    def left(self) -> int | None:
        """Parts yet to be made; 0 once there are as many as wanted, or more."""
        return None if self.size is None or self.made is None else max(0, self.size - self.made)


@dataclass(frozen=True, slots=True)
class ToolInLot:
    """A tool that may reach its limit before the lot is done: ``changes`` at the forecast, and ``chance``.

    ``chance``: yes (the whole interval says so), likely or unlikely.
    """

    tool: ToolForecast
    changes: int
    chance: str


@dataclass(frozen=True, slots=True)
class LotForecast:
    """What is to come of a lot; None: not known.

    ``done`` has no times once nothing is left; ``by_shift_end``: yes, likely, unlikely, no; ``tools`` are those
    that may not last.
    """

    done: Reach
    by_shift_end: str | None
    tools: list[ToolInLot] | None


def lot_forecast(
    lot: LotMade, ahead: Prospect, tools: Iterable[ToolForecast], shift_end_us: int | None
) -> LotForecast:
    """Forecast of the running lot, as long as what the machine makes now is the lot's part."""
    done = _done(lot, ahead)
    if done.cycles is None:
        return LotForecast(done, None, None)
    ends = [_in_lot(tool, done) for tool in tools]
    return LotForecast(done, _by(shift_end_us, done), [tool for tool in ends if tool])


def _done(lot: LotMade, ahead: Prospect) -> Reach:
    if lot.left == 0:
        return Reach(0, 0, 0)
    if lot.left is None or not ahead.recent or (lot.part and ahead.recent[-1].part != lot.part):
        return Reach()
    spread = spread_of([float(c.parts) for c in ahead.recent])
    cycles = ahead.cycles_for(lot.left)
    return ahead.reach(cycles, spread.until(lot.left) if spread and cycles else (None, None))


def _by(end_us: int | None, done: Reach) -> str | None:
    if end_us is None:
        return None
    if done.cycles == 0:
        return YES
    if done.at_us is None:
        return None
    if done.at_us <= end_us:
        return YES if done.at_high_us is not None and done.at_high_us <= end_us else LIKELY
    return UNLIKELY if done.at_low_us is None or done.at_low_us <= end_us else NO


def _in_lot(tool: ToolForecast, done: Reach) -> ToolInLot | None:
    """None for a tool that lasts, or of which it is not known."""
    cycles, left = done.cycles, tool.cycles_left
    if left is None or cycles is None or tool.consumption_per_cycle == 0:
        return None
    low = left if tool.cycles_left_low is None else tool.cycles_left_low
    if low >= cycles:
        return None
    if left >= cycles:
        return ToolInLot(tool, 0, UNLIKELY)
    high = tool.cycles_left_high
    chance = YES if high is not None and high < cycles else LIKELY
    full = tool.full_life_cycles
    return ToolInLot(tool, 1 + (cycles - left - 1) // full if full else 1, chance)


FIGURES = (
    Definition("lot_left", "lot_size − made", "1", "parts yet to be made, scrap not replaced", OURS),
    Definition("lot_cycles", "⌈lot_left ÷ parts per cycle⌉", "1", "cycles until the lot is done", OURS),
    Definition("finish_at", "now + lot_cycles ÷ cycle_pace", "time", "in planned time", OURS),
)
