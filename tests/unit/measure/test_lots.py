"""Lots: what is left, when it will be done, by the shift's end or not, and which tools will not last."""

from random import Random

import pytest

from swarfline.facts import ToolLife
from swarfline.measure.forecast import tool_forecast
from swarfline.measure.lots import LIKELY, NO, UNLIKELY, YES, LotMade, lot_forecast
from swarfline.measure.prospect import prospect

from .timelines import HOUR, MINUTE, cycle, use

NOW = 8 * HOUR


def always(start, end):
    return [(start, end)]


def ahead_of(cycles):
    return prospect(cycles, (), [(0, NOW)], always, NOW)


def ten_minutely(parts=1, used=(1.0,) * 48):
    made = [parts] * 48 if isinstance(parts, int) else parts
    return ahead_of(
        [cycle(i * 10 * MINUTE, 9 * MINUTE, parts=made[i], tools=(use("7", used[i]),)) for i in range(48)]
    )


def lot(size, made, part="PH-12"):
    return LotMade("L1", part, size, made)


def tool(ahead, used, limit=100.0, name="7"):
    return tool_forecast(ToolLife("N1", "P7", 0, NOW, name, used=used, limit=limit, open=True), ahead)


def test_what_is_left():
    assert lot(100, 40).left == 60
    assert lot(100, 103).left == 0, "more than wanted"
    assert lot(None, 40).left is lot(100, None).left is None


def test_when_it_is_done():
    found = lot_forecast(lot(100, 40), ten_minutely(parts=2), [], None)
    assert (found.done.cycles, found.done.at_us) == (30, NOW + 300 * MINUTE)
    assert found.done.at_low_us < found.done.at_us < found.done.at_high_us
    assert (found.by_shift_end, found.tools) == (None, [])
    assert lot_forecast(lot(101, 40), ten_minutely(parts=2), [], None).done.cycles == 31, "half a cycle is one"


def test_cycles_that_at_times_make_none_are_told_by_their_share():
    parts = [Random(n).choice([0, 1, 1, 1]) for n in range(48)]
    found = lot_forecast(lot(60, 0), ten_minutely(parts), [], None).done
    assert found.cycles_low < found.cycles < found.cycles_high
    assert found.cycles == pytest.approx(60 * 48 / sum(parts), abs=1)


def test_a_lot_that_is_done():
    found = lot_forecast(lot(100, 100), ten_minutely(), [tool(ten_minutely(), 99.0)], NOW + 1)
    assert (found.done.cycles, found.done.at_us, found.by_shift_end, found.tools) == (0, None, YES, [])


@pytest.mark.parametrize(
    ("known", "ahead"),
    [(lot(None, 5), ten_minutely()), (lot(9, 5, "VC-30"), ten_minutely()), (lot(9, 5), ahead_of([]))],
    ids=["size", "another part", "no cycles"],
)
def test_nothing_is_told_where_something_is_missing(known, ahead):
    found = lot_forecast(known, ahead, [tool(ten_minutely(), 99.0)], NOW + HOUR)
    assert found.done.cycles is found.done.at_us is found.by_shift_end is found.tools is None


def test_by_the_end_of_the_shift():
    known, ahead = lot(30, 0), ten_minutely()
    done = lot_forecast(known, ahead, [], None).done

    def by(end):
        return lot_forecast(known, ahead, [], end).by_shift_end

    assert [by(done.at_high_us), by(done.at_high_us - 1), by(done.at_us)] == [YES, LIKELY, LIKELY]
    assert [by(done.at_us - 1), by(done.at_low_us), by(done.at_low_us - 1)] == [UNLIKELY, UNLIKELY, NO]


@pytest.mark.parametrize(
    ("used", "size", "expected"),
    [(90.0, 10, None), (90.0, 11, (1, YES)), (90.0, 110, (1, YES)), (90.0, 111, (2, YES)), (104.0, 1, (1, YES))],
)
def test_tools_that_will_not_last(used, size, expected):
    ahead = ten_minutely()
    found = lot_forecast(lot(size, 0), ahead, [tool(ahead, used)], None).tools
    assert [(one.changes, one.chance) for one in found] == ([] if expected is None else [expected])


def test_how_sure_it_is_that_a_tool_will_not_last():
    ahead = ten_minutely(used=[Random(n).gauss(1.0, 0.2) for n in range(48)])
    near = tool(ahead, 0.0, 40.0)
    low, left, high = near.cycles_left_low, near.cycles_left, near.cycles_left_high

    def told(size):
        return [(one.changes, one.chance) for one in lot_forecast(lot(size, 0), ahead, [near], None).tools]

    assert low < left < high
    assert [told(low), told(low + 1), told(left)] == [[], [(0, UNLIKELY)], [(0, UNLIKELY)]]
    assert [told(left + 1), told(high)] == [[(1, LIKELY)]] * 2
    assert told(high + 1)[0][1] == YES


def test_tools_that_are_not_used_or_not_known_are_not_named():
    ahead = ten_minutely()
    others = [tool(ahead, 50.0, name="9"), tool(ahead, 50.0, None)]
    assert lot_forecast(lot(1000, 0), ahead, others, None).tools == []
