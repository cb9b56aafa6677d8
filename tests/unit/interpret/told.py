"""The language of the cases: a story of what a machine said, one instant a line, and what was made of it.

    0   state=executing program_state=running
    10  program_state=ended        seconds, then signal=value; ``bad`` is a value of quality Bad
    20  lost                       the link: lost, back, alive
    30  back program_state=running@5    @5: the server's own time of the value, when it is another one

Values are true, false, numbers or text. Times in what comes out are seconds from the story's beginning.
"""

import json

from swarfline.facts import Alarm, Condition, Count, Cycle, Energy, Gap, LimitChange, ToolLife
from swarfline.interpret.fold import Fold
from swarfline.interpret.settings import MachineSettings
from swarfline.signals import LINK, LINK_VALUES, Quality, Reading

BEGIN_US = 1_772_406_000_000_000
"""A full quarter of an hour (2026-03-01T23:00:00Z)."""

SECOND_US = 1_000_000
WORDS = {"true": True, "false": False, "bad": None}


def value_of(text):
    if text in WORDS:
        return WORDS[text]
    for kind in (int, float):
        try:
            return kind(text)
        except ValueError:
            continue
    return text


def at_us(seconds):
    return BEGIN_US + round(float(seconds) * SECOND_US)


def readings_of(story, machine="N1"):
    found = []
    for line in story.strip().splitlines():
        seconds, *words = line.split()
        for word in words:
            signal, _, rest = word.partition("=")
            if signal in LINK_VALUES:
                found.append(Reading(machine, LINK, at_us(seconds), at_us(seconds), signal))
                continue
            text, _, own = rest.partition("@")
            value = value_of(text)
            quality = Quality.BAD if text == "bad" else Quality.GOOD
            found.append(Reading(machine, signal, at_us(own or seconds), at_us(seconds), value, quality))
    return found


def settings_of(readings, offers=(), machine="N1", **others):
    signals = frozenset({r.signal for r in readings if r.machine == machine and r.signal != LINK} | {*offers})
    return MachineSettings(machine, signals, **others)


class Told:
    """All facts of a story, the latest of each key; ``story`` may be a text or readings.

    ``restart_after``: after so many readings the fold is saved, and another one goes on from there.
    """

    def __init__(self, story, offers=(), end=True, restart_after=0, **settings):
        readings = readings_of(story) if isinstance(story, str) else list(story)
        known = settings_of(readings, offers, **settings)
        before = Fold([known])
        fed = before.feed(readings[:restart_after])
        self.fold = Fold([known])
        self.fold.load("N1", json.loads(json.dumps(before.save("N1"))))
        then = self.fold.feed(readings[restart_after:])
        self.late = fed.late + [restart_after + place for place in then.late]
        self.stream = fed.facts + then.facts + (self.fold.flush() if end else [])
        self.facts = {(f.kind, *f.key): f for f in (*self.stream, *self.fold.open_facts())}

    def of(self, kind):
        return [f for f in self.facts.values() if isinstance(f, kind)]

    @property
    def conditions(self):
        return [(*span(f), f.condition) for f in self.of(Condition)]

    @property
    def cycles(self):
        return [(*span(f), f.outcome) for f in self.of(Cycle)]

    @property
    def parts(self):
        return [f.parts for f in self.of(Cycle)]

    @property
    def cycle(self):
        (only,) = self.of(Cycle)
        return only

    @property
    def counts(self):
        return [(seconds(f.time_us), f.count_kind, f.quantity) + ("gap",) * f.across_gap for f in self.of(Count)]

    @property
    def lives(self):
        return [(*span(f), f.tool, f.used, f.reason or "open") for f in self.of(ToolLife)]

    @property
    def limit_changes(self):
        return [(seconds(f.time_us), f.field, f.old, f.new) for f in self.of(LimitChange)]

    @property
    def energies(self):
        return [(*span(f), f.condition, round(f.energy_j, 6)) for f in self.of(Energy)]

    @property
    def gaps(self):
        return [span(f) for f in self.of(Gap)]

    @property
    def alarms(self):
        return [(*span(f), f.code, f.text) for f in self.of(Alarm)]


def seconds(us):
    return (us - BEGIN_US) / SECOND_US


def span(fact):
    return seconds(fact.start_us), seconds(fact.end_us)
