"""The linear forecast to a limit, F-1: constructed; the expected values follow by hand."""

from fractions import Fraction

import pytest

from swarfline.facts import COMPLETE, Cycle, ToolLife, ToolUse
from swarfline.measure.forecast import tool_forecasts

SECOND = 1_000_000
CYCLES = 60
BUSY_US, SLOT_US = 42 * SECOND, 42 * SECOND * 10 // 8
NOW = CYCLES * SLOT_US


def test_f_1_parts_and_time_to_the_limit():
    """Limit 3600 s, used 2412 s, 8.4 s per part, cycle 42 s, availability 0.8: 141 parts, 2.05625 h."""
    cycles = [
        Cycle(
            "N1",
            i * SLOT_US,
            i * SLOT_US + BUSY_US,
            COMPLETE,
            parts=1,
            tools=(ToolUse("7", 1, 0, 0, life_used=8.4),),
        )
        for i in range(CYCLES)
    ]
    life = ToolLife("N1", "P7", 0, NOW, "7", basis="time", used=2412.0, limit=3600.0, open=True)
    (found,) = tool_forecasts([life], cycles, [(0, NOW)], lambda start, end: [(start, end)], NOW)
    assert found.consumption_per_cycle == pytest.approx(8.4)
    assert found.remaining == 1188
    assert (found.cycles_left, found.parts_left) == (141, 141)
    assert found.limit_at_us is not None
    hours = Fraction(found.limit_at_us - NOW, 3600 * SECOND)
    assert float(hours * 8 / 10) == pytest.approx(1.645, rel=1e-9)
    assert float(hours) == pytest.approx(2.05625, rel=1e-9)
