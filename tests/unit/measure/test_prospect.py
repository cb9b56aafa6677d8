"""What a machine makes and how fast: parts, cycles and moments from one another."""

from fractions import Fraction

from swarfline.measure.prospect import Reach, prospect

from .timelines import HOUR, MINUTE, cycle

NOW = 8 * HOUR


def always(start, end):
    return [(start, end)]


def ten_minutely(parts=1, planned=always):
    cycles = [cycle(i * 10 * MINUTE, 9 * MINUTE, parts=parts) for i in range(48)]
    return prospect(cycles, (), [(0, NOW)], planned, NOW)


def test_parts_and_cycles_from_one_another():
    three = ten_minutely(parts=3)
    assert (three.parts_per_cycle, three.parts(7), three.cycles_for(7)) == (Fraction(3), 21, 3)
    assert three.parts(None) is None


def test_without_parts_or_cycles_nothing_is_told():
    none = ten_minutely(parts=0)
    assert none.parts_per_cycle is none.parts(7) is none.cycles_for(7) is None
    empty = prospect([], (), [(0, NOW)], always, NOW)
    assert empty.pace is empty.cycles_by(NOW + HOUR) is empty.at_us(5) is empty.parts(5) is None
    assert empty.reach(5, (4, 6)) == Reach(5, 4, 6)


def test_cycles_that_will_have_begun_by_a_moment():
    even = ten_minutely()
    assert [even.cycles_by(NOW + m * MINUTE) for m in (-5, 0, 1, 10, 11, 60)] == [0, 0, 1, 1, 2, 6]
    pause = ten_minutely(planned=lambda start, end: [(start, min(end, NOW + HOUR))])
    assert pause.cycles_by(NOW + 5 * HOUR) == 6


def test_a_moment_after_so_many_cycles_and_its_bounds():
    even = ten_minutely()
    assert even.at_us(6) == NOW + HOUR
    found = even.reach(6, (5, None))
    assert (found.cycles_low, found.cycles_high, found.at_us, found.at_high_us) == (5, None, NOW + HOUR, None)
    assert found.at_low_us < NOW + 50 * MINUTE
    assert even.reach(6, (None, None)).at_low_us is None


def test_the_pace_may_be_from_cycles_that_reach_further_back():
    recent = [cycle(i * 10 * MINUTE, 9 * MINUTE) for i in range(24, 48)]
    passed = [cycle(i * 20 * MINUTE, 9 * MINUTE) for i in range(12)] + recent
    assert prospect(recent, passed, [(0, NOW)], always, NOW).pace.per_us == Fraction(36, NOW)
