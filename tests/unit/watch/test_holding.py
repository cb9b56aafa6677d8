"""What a rule sees has to last: delays by subject, over breaks, restarts and clocks that are set back."""

from hypothesis import given
from hypothesis import strategies as st

from swarfline.alerts import Sighting
from swarfline.watch.holding import Holding

SECOND = 1_000_000


def sighting(subject="P1/1", active=True):
    return Sighting("rule", "N1", subject, active, not active)


def look(holding, at_s, *seen, delay_s=60.0):
    found = holding.settled("rule", "N1", [(s, delay_s) for s in seen], round(at_s * SECOND))
    return [(s.active, s.clear) for s in found]


RAISED, KEPT, CLEARED = (True, False), (False, False), (False, True)


def test_it_is_raised_when_it_has_held_for_the_delay():
    holding = Holding()
    assert [look(holding, s, sighting()) for s in (0, 30, 59.9, 60, 61)] == [[KEPT]] * 3 + [[RAISED]] * 2


def test_without_a_delay_it_is_raised_at_once():
    assert look(Holding(), 0, sighting(), delay_s=0) == [RAISED]


def test_a_break_begins_the_wait_anew():
    holding = Holding()
    assert look(holding, 0, sighting()) == [KEPT]
    assert look(holding, 50, sighting(active=False)) == [CLEARED]
    assert look(holding, 70, sighting()) == [KEPT]
    assert look(holding, 130, sighting()) == [RAISED]


def test_a_subject_that_was_gone_begins_anew_too():
    holding = Holding()
    look(holding, 0, sighting("a"), sighting("b"))
    assert look(holding, 60, sighting("a")) == [RAISED]
    assert look(holding, 70, sighting("a"), sighting("b")) == [RAISED, KEPT]


def test_machines_and_rules_wait_apart():
    holding = Holding()
    look(holding, 0, sighting())
    (other,) = holding.settled("rule", "N2", [(sighting(), 60.0)], 60 * SECOND)
    assert not other.active
    (other,) = holding.settled("other", "N1", [(sighting(), 60.0)], 60 * SECOND)
    assert not other.active
    assert look(holding, 60, sighting()) == [RAISED]


def test_a_clock_that_is_set_back_begins_the_wait_anew():
    holding = Holding()
    look(holding, 1000, sighting())
    assert look(holding, 100, sighting()) == [KEPT]
    assert look(holding, 160, sighting()) == [RAISED]


@given(st.lists(st.tuples(st.integers(0, 100), st.booleans()), max_size=30))
def test_nothing_is_raised_that_has_not_held_all_along(steps):
    """Checked against the plainest statement of it: every look of the last minute and the one before it held."""
    holding, at_s, held = Holding(), 0, []
    for wait_s, active in steps:
        at_s += wait_s
        held.append((at_s, active))
        (found,) = look(holding, at_s, sighting(active=active))
        run = []
        for moment, was in reversed(held):
            if not was:
                break
            run.append(moment)
        assert (found == RAISED) == bool(run and at_s - run[-1] >= 60)
