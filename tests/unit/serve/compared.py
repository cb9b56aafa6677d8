"""Cycles to be compared, put into a store by hand.

N1 runs a cycle every 100 s from 06:00: 40 s until 09:00, 38 s from then on, of which tool 7 takes 30 s and 28 s.
The cycle that begins 20 s before 09:00 is the one during which the change was made. N2 does the same part in 39 s
with a program of its own. From 11:10 on N1 runs another program. Offsets of ±1 s and ±0.5 s give the spread.
"""

from __future__ import annotations

from swarfline.facts import ABORTED, COMPLETE, PRODUCING, STEPS, UNOBSERVED, Condition, Cycle, ToolUse

from .works import HOUR, MINUTE, NOW, PLANT, SECOND, START

TURN = [0.0, 1.0, -1.0, 0.5, -0.5]
CHANGE = START + 3 * HOUR
SECOND_MACHINE = 'id = "N2"\nroot = "mch:N2"\nmapping = "full"\n[[servers.machines]]\n'
TWO = PLANT.replace('id = "S1"\nname', SECOND_MACHINE + 'id = "S1"\nname')
AT = "2026-03-10T09:00:00+01:00"


def cycle(machine, start, length_s, program, **more):
    us = round(length_s * SECOND)
    steps = {"cutting": us - 15 * SECOND, "tool_change": 5 * SECOND, "other": 10 * SECOND}
    fields = {
        "outcome": COMPLETE, "program": program, "part": "PH-12", "parts": 1,
        "step_us": tuple(steps.get(s, 0) for s in STEPS),
        "tools": (ToolUse("7", 1, us - 10 * SECOND, us - 15 * SECOND),), **more,
    }  # fmt: skip
    return Cycle(machine, start, start + us, **fields)


def facts():
    found = [Condition("N1", START, NOW, PRODUCING, open=True)]
    found += [
        Condition("N2", START, START + HOUR, UNOBSERVED),
        Condition("N2", START + HOUR, NOW, PRODUCING, open=True),
    ]
    for n in range(108):
        start = START + n * 100 * SECOND
        found.append(cycle("N1", start, 40 + TURN[n % 5], "O1201"))
        found.append(cycle("N2", start, 39 + TURN[n % 5], "P7"))
    found[-2] = cycle("N1", CHANGE - 20 * SECOND, 300, "O1201")
    held = STEPS.index("held")
    for n in range(72):
        start = CHANGE + (n + 4) * 100 * SECOND
        one = cycle("N1", start, 38 + TURN[n % 5], "O1201")
        if n == 60:
            one = cycle("N1", start, 90, "O1201", step_us=(0,) * held + (50 * SECOND,))
        if n == 61:
            one = cycle("N1", start, 9, "O1201", outcome=ABORTED, parts=0)
        found.append(one)
    found += [cycle("N1", START + 5 * HOUR + 10 * MINUTE + n * MINUTE, 30, "O1202", part="X") for n in range(9)]
    return found
