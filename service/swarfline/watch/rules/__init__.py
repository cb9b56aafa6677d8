"""The rules that can raise an alert; each is one pure function, ``see``, in a file of its own.

What a rule sees of one subject it gives as a Sighting: active beyond its limit, clear beyond its level of return,
and neither between the two. Whether a rule is on, how severe it is and how long it must hold is the same for all
and decided outside.
"""

from __future__ import annotations

from dataclasses import dataclass

from swarfline.watch.rules import (
    clock_offset,
    codes_unmapped,
    connection_lost,
    cycle_time_drifted,
    disk,
    lot_will_not_finish,
    machine_out_of_sight,
    machine_stopped_longer,
    power_peak,
    scrap_rate,
    tool_life_reset,
    tool_load_rising,
    tool_near_limit,
    tool_past_limit,
)
from swarfline.watch.wording import Say

TOOL, MACHINE, SERVER, PLANT = "tool", "machine", "server", "plant"
"""What the alerts of a rule are about."""


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule in words: its name (also its file's and its table's in the plant file), and what people need to know.

    ``about``: when it is raised; ``clears``: when it is cleared; ``todo``: what to do, and who. ``say`` makes the
    sentence of an alert from what the rule saw.
    """

    name: str
    subject: str
    about: str
    clears: str
    todo: str
    say: Say


RULES = (
    Rule(
        tool_near_limit.NAME,
        TOOL,
        "a tool reached its warning level, or its limit will come within the lead time, within some cycles, "
        "before the lot is done or before the shift ends",
        "its life is well below all of that again, or the tool left its pot",
        "Setter: prepare the next tool, and change it at a stop that serves others too (list of tools due).",
        tool_near_limit.say,
    ),
    Rule(
        tool_past_limit.NAME,
        TOOL,
        "a tool is used on beyond its limit",
        "its life is below the limit again, the control locked the tool, or it left its pot",
        "Setter: have the tool changed now; check the parts cut since the limit. Manager: if it goes well often, "
        "the limit may be too low.",
        tool_past_limit.say,
    ),
    Rule(
        tool_life_reset.NAME,
        TOOL,
        "a tool's life began anew early, and there was no stop in which the tool could have been changed",
        "after some hours, or at the next reset with a stop",
        "Setter: see whether the tool is new; if it is not, set its used life back at the control.",
        tool_life_reset.say,
    ),
    Rule(
        tool_load_rising.NAME,
        TOOL,
        "the spindle load of a tool rises more than is usual at this share of its life",
        "the load is near what is usual again, or a new life began",
        "Operator: look at chips, surface and size of the next part. Setter: change it early if they suffer.",
        tool_load_rising.say,
    ),
    Rule(
        lot_will_not_finish.NAME,
        MACHINE,
        "a target that people told, or a lot that is meant to be done in the shift, will be missed, or a tool "
        "will not last until it is done",
        "it is done, or forecast to be done well in time, or its time is over",
        "Operator: prepare the tools named. Manager: decide on overtime, on another machine or on handing over.",
        lot_will_not_finish.say,
    ),
    Rule(
        machine_stopped_longer.NAME,
        MACHINE,
        "a machine has been standing in planned time for longer than is allowed for what it is doing",
        "it has produced for a minute, or the shift is over",
        "Operator: find the cause and name the stop. Manager: get help there where nobody is at the machine.",
        machine_stopped_longer.say,
    ),
    Rule(
        machine_out_of_sight.NAME,
        MACHINE,
        "a server is connected, but tells nothing usable of one of its machines in planned time",
        "the machine is seen again, or the shift is over",
        "Maintenance: see whether the control is on and its gateway reaches it; then `swarfline check --online`.",
        machine_out_of_sight.say,
    ),
    Rule(
        cycle_time_drifted.NAME,
        MACHINE,
        "the cycles of a program have a new level that lasts longer than before",
        "the levels are close to one another again, or the new one has become what is usual",
        "Setter: see which tools or steps account for it (cycle trend), then overrides, program and tools.",
        cycle_time_drifted.say,
    ),
    Rule(
        scrap_rate.NAME,
        MACHINE,
        "the share of scrap among the newest parts, or those of the shift, is above its limit",
        "the share is below its level of return",
        "Operator: stop making scrap, measure, and correct. Manager: see whether parts on the way are good.",
        scrap_rate.say,
    ),
    Rule(
        power_peak.NAME,
        PLANT,
        "the mean power of a quarter of an hour is above its limit, for the plant or a cell",
        "a whole quarter was below the level of return",
        "Manager: start machines, compressors and ovens one after another; see base load and peaks under energy.",
        power_peak.say,
    ),
    Rule(
        connection_lost.NAME,
        SERVER,
        "a server is not connected; where most are not, there is one alert of the plant instead",
        "it is connected again",
        "Maintenance: for one, its control and cable; for the plant, switch, network and this computer first.",
        connection_lost.say,
    ),
    Rule(
        clock_offset.NAME,
        SERVER,
        "a server's clock differs from ours by more than its limit",
        "the difference is below its level of return",
        "Maintenance: set the control's clock or its time service; see which of the two clocks is wrong first.",
        clock_offset.say,
    ),
    Rule(
        codes_unmapped.NAME,
        SERVER,
        "a server sends codes that the plant file gives no meaning",
        "there have been none since the collector's last start",
        "Whoever keeps the plant file: find the code in the machine's manual and add it to the signal's values.",
        codes_unmapped.say,
    ),
    Rule(
        disk.NAME,
        PLANT,
        "the disk that the database lies on runs full",
        "there is room again",
        "Whoever keeps this computer: make room, or move the database; what cannot be stored becomes a gap.",
        disk.say,
    ),
)
"""Every rule; tests compare them with the files beside this one, the plant file's tables and docs/alerts.md."""
