"""A loss that was read back has never been: the facts are those of an undisturbed run, however it is sliced and
whenever it is restarted."""

import json

from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from swarfline.interpret.fold import Fold
from swarfline.signals import CLOCK_OFFSET, LINK, LINK_ALIVE, LINK_CAUGHT_UP, LINK_LOST, LINK_RESTORED, Reading

from .streams import MACHINE, streams
from .told import Told, readings_of, settings_of

many = settings(max_examples=300, deadline=None, suppress_health_check=list(HealthCheck))

A_CYCLE = """
    0   back state=executing program_state=running part_count=5 power=100
    10  program_state=ended state=not_executing part_count=6 power=50
    20  state=executing program_state=running power=100
    {}
    35  power=120
    40  program_state=ended state=not_executing part_count=7 power=50
    {}
    50  state=executing program_state=running
    60  program_state=ended state=not_executing part_count=8
    70  alive
"""


def told(loss="", rest="", **how):
    story = A_CYCLE.format(loss, rest).splitlines()
    return Told("\n".join(line for line in story if line.strip()), **how)


def test_a_gap_read_back_leaves_no_trace():
    undisturbed = told()
    restored = told("30 lost\n 30 restored", "40 caught_up")
    assert restored.gaps == []
    assert restored.facts == undisturbed.facts
    assert restored.cycles == [(0.0, 10.0, "partial"), (20.0, 40.0, "complete"), (50.0, 60.0, "complete")]


def test_a_gap_not_read_back_stays():
    assert told("30 lost\n 34 back state=executing program_state=running").gaps == [(30.0, 34.0)]


def test_restored_without_a_loss_that_is_known_counts_as_a_return():
    readings = readings_of("0 restored state=executing\n 5 state=not_executing\n 6 caught_up\n 9 alive")
    assert [(c.start_us, c.condition) for c in Told(readings).of_conditions] == [
        (readings[1].source_us, "producing"), (readings[2].source_us, "waiting"),
    ]  # fmt: skip


def test_what_is_read_again_is_repeated_and_neither_taken_nor_late():
    story = readings_of("0 back state=executing\n 9 power=10\n 9.5 power=20\n 10 lost\n 10 restored")
    again = [r._replace(received_us=r.received_us + 10**7) for r in story[1:4]]
    more = readings_of("11 power=30\n 12 caught_up\n 13 power=40")
    fold = Fold([settings_of(story)])
    fold.feed(story)
    fed = fold.feed([*again, *more])
    assert (fed.repeated, fed.late) == ([0, 1, 2], [])
    fed = fold.feed(again[:1])
    assert (fed.repeated, fed.late) == ([], [0])


def test_a_second_loss_before_any_return_keeps_the_state_of_before_the_first():
    story = "30 lost\n 33 lost\n 30 restored"
    assert told(story, "40 caught_up").facts == told().facts


def test_what_was_told_of_the_loss_is_taken_back():
    before = readings_of("0 back state=executing\n 10 lost\n 30 lost")
    settings_ = settings_of(before)
    fold = Fold([settings_])
    fold.feed(before)
    # the first loss lies so far back that it was settled and shown
    shown = {(f.kind, f.key) for f in fold.open_facts()}
    retracted = {(f.kind, f.key) for f in fold.feed(readings_of("10 restored")).retracted}
    lost_us = before[-2].source_us
    assert retracted == {("gap", (MACHINE, lost_us)), ("condition", (MACHINE, lost_us))}
    assert retracted <= shown
    assert not retracted & {(f.kind, f.key) for f in fold.open_facts()}


class Told(Told):
    @property
    def of_conditions(self):
        return sorted((f for f in self.facts.values() if f.kind == "condition"), key=lambda f: f.start_us)


class Kept:
    """What a store would hold after readings in slices, with restarts."""

    def __init__(self, machine_settings, readings, cuts=(), restarts=()):
        self.facts, begin = {}, 0
        fold = Fold([machine_settings])
        for end in sorted({*cuts, *restarts, len(readings)}):
            fed = fold.feed(readings[begin:end])
            for fact in fed.retracted:
                self.facts.pop((fact.kind, fact.key), None)
            self._keep([*fed.facts, *fold.open_facts(fed.touched)])
            if end in restarts:
                state = json.dumps(fold.save(MACHINE))
                fold = Fold([machine_settings])
                fold.load(MACHINE, json.loads(state))
            begin = end
        self._keep([*fold.flush(), *fold.open_facts()])

    def _keep(self, facts):
        self.facts.update({(f.kind, f.key): f for f in facts})


def without_doubles(readings):
    """One value of each signal at a moment: what comes again at its time is taken for a repetition."""
    seen = set()
    kept = []
    for r in readings:
        key = (r.signal, r.source_us)
        if r.signal in (LINK, CLOCK_OFFSET) or key not in seen:
            kept.append(r)
            seen.add(key)
    return kept


def _order(machine_settings, readings):
    """The machine's own timeline after these readings."""
    fold = Fold([machine_settings])
    fold.feed(readings)
    return fold._machines[MACHINE].order


@st.composite
def broken(draw):
    """(settings, an undisturbed stream, the same with losses in which part of it was read back)."""
    machine_settings, readings = draw(streams())
    readings = without_doubles(readings)
    disturbed, at = [], 0
    while at < len(readings) and (at == 0 or draw(st.booleans())):
        first = draw(st.integers(at, len(readings) - 1))
        last = draw(st.integers(first, len(readings)))
        missing = readings[first:last]
        if any(r.signal in (LINK, CLOCK_OFFSET) for r in missing):
            missing = []
        disturbed += readings[at:first]
        links = [r for r in readings[:first] if r.signal == LINK and r.value != LINK_ALIVE]
        order = _order(machine_settings, readings[:first])
        is_before = any(r.source_us - order.offset_us < order.floor_us for r in missing)
        if [r.value for r in links[-1:]] == [LINK_LOST] or is_before:
            # a loss of the undisturbed stream, which is to stay one; or the full set after its return cut in two
            disturbed.append(readings[first])
            at = first + 1
            continue
        newest = order.newest_us if first else readings[0].source_us
        lost_us = newest - draw(st.sampled_from((0, 0, 0, 200_000, 5_000_000)))
        disturbed.append(Reading(MACHINE, LINK, lost_us, newest, LINK_LOST))
        disturbed.append(Reading(MACHINE, LINK, lost_us, newest, LINK_RESTORED))
        # a history is read from a little before the loss on
        again = readings[max(0, first - draw(st.integers(0, 5))) : first]
        disturbed += [r for r in again if r.signal not in (LINK, CLOCK_OFFSET)]
        disturbed += missing
        disturbed.append(Reading(MACHINE, LINK, newest, newest, LINK_CAUGHT_UP))
        at = first + len(missing) + (not missing)
        disturbed += readings[first:at] if not missing else []
    return machine_settings, readings, disturbed + readings[at:]


@many
@given(broken(), st.data())
def test_losses_read_back_change_nothing(streams_, data):
    machine_settings, undisturbed, disturbed = streams_
    places = st.sets(st.integers(1, len(disturbed)))
    whole = Kept(machine_settings, undisturbed, cuts=range(1, len(undisturbed)))
    again = Kept(machine_settings, disturbed, cuts=data.draw(places), restarts=data.draw(places))
    assert again.facts == whole.facts
    event(f"{sum(r.value == LINK_RESTORED for r in disturbed)} losses")
