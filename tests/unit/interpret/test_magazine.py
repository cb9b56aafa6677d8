"""A magazine in which tools work, move, change places and are changed: every life told is one that there was."""

import random
from itertools import count

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.facts import ToolLife
from swarfline.signals import Reading

from .streams import MACHINE
from .test_properties import Run, many
from .told import BEGIN_US, SECOND_US, settings_of

POTS = range(1, 7)


class Magazine:
    """Six pots and the truth about the lives of their tools; ``readings`` as a control may write them."""

    def __init__(self, seed, down, gap_us):
        self.draw = random.Random(seed)
        self.down, self.gap_us = down, 0
        self.now, self.readings, self.numbers = BEGIN_US, [], count(20)
        self.pots = {pot: self.fresh(used=self.draw.randint(1, 60)) for pot in (1, 2, 3, 4)} | {5: None, 6: None}
        self.shown = {}
        self.ended = []
        self.tell(POTS)
        self.gap_us = gap_us

    def fresh(self, used=0):
        return {"number": next(self.numbers), "used": used}

    def tell(self, pots):
        """Write what changed in these pots, pot by pot, the fields of each in any order."""
        for pot in pots:
            tool = self.pots[pot] or {"number": 0, "used": 0}
            left = ("remaining", 100 - tool["used"]) if self.down else ("used", tool["used"])
            fields = [("number", tool["number"]), left, ("limit", 100)]
            for name, value in self.draw.sample(fields, 3):
                if self.shown.get((pot, name)) != value:
                    self.shown[pot, name] = value
                    self.readings.append(Reading(MACHINE, f"tools[{pot}].{name}", self.now, self.now, value))
                    self.now += self.gap_us
        self.now += 60 * SECOND_US

    def step(self, what):
        full = [p for p in POTS if self.pots[p]]
        empty = [p for p in POTS if not self.pots[p]]
        one, other = self.draw.sample(full, 2)
        if what == "work":
            self.pots[one]["used"] += self.draw.randint(1, 9)
            self.tell([one])
        elif what == "move":
            to = self.draw.choice(empty)
            self.pots[to], self.pots[one] = self.pots[one], None
            self.tell(self.draw.sample([to, one], 2))
        elif what == "swap":
            self.pots[one], self.pots[other] = self.pots[other], self.pots[one]
            self.tell([one, other])
        elif what == "round":
            third = self.draw.choice([p for p in full if p not in (one, other)])
            self.pots[one], self.pots[other], self.pots[third] = (self.pots[p] for p in (other, third, one))
            self.tell([one, other, third])
        elif what == "change":
            self.ended.append(self.pots[one])
            self.pots[one] = self.fresh()
            self.tell([one])
        elif self.pots[one]["used"]:
            # an unused tool that is set to zero shows nothing
            self.ended.append(dict(self.pots[one]))
            self.pots[one]["used"] = 0
            self.tell([one])


DEEDS = ("work", "move", "swap", "round", "change", "reset")


@many
@given(
    st.integers(0, 10**6),
    st.booleans(),
    st.sampled_from((0, 100_000, 300_000)),
    st.lists(st.sampled_from(DEEDS), min_size=1, max_size=25),
    st.data(),
)
def test_every_life_told_is_one_that_there_was(seed, down, gap_us, deeds, data):
    magazine = Magazine(seed, down, gap_us)
    for deed in deeds:
        magazine.step(deed)
    readings = [*magazine.readings, Reading(MACHINE, "x", magazine.now, magazine.now, 0)]
    whole = Run(settings_of(readings), readings)
    lives = whole.of(ToolLife)
    told = sorted((f.tool, f.used) for f in lives if not f.open)
    assert told == sorted((str(tool["number"]), tool["used"]) for tool in magazine.ended)
    sitting = {pot: tool for pot, tool in magazine.pots.items() if tool}
    assert {(f.pot or f.pot_key, f.tool, f.used) for f in lives if f.open} == {
        (str(pot), str(tool["number"]), tool["used"]) for pot, tool in sitting.items()
    }
    assert sum(f.open for f in lives) == len(sitting)
    cuts = data.draw(st.sets(st.integers(1, len(readings))))
    Run(settings_of(readings), readings, cuts=range(len(readings)), restarts=cuts).same_as(whole)


@pytest.mark.parametrize("deed", DEEDS)
def test_each_deed_does_something(deed):
    magazine = Magazine(1, down=False, gap_us=0)
    before = len(magazine.readings)
    magazine.step(deed)
    assert len(magazine.readings) > before
