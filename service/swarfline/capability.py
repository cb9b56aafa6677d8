"""What a machine's signals allow: which figures can be told of it, and which signal is missing for the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from swarfline.plant import Machine, Plant
from swarfline.sentence import N_
from swarfline.signals import TOOL_FIELDS

TOOLS = "tools"
"""Prefix of tool fields in what follows: ``tools.used``."""


@dataclass(frozen=True, slots=True)
class Need:
    """A family of figures. Each group in ``needs`` asks for one of its signals."""

    family: str
    figures: tuple[str, ...]
    needs: tuple[tuple[str, ...], ...]
    without: str = ""


_STATE = ("state", "executing")
_PROGRESS = ("program_state", "cycle_count", "part_count")
_PARTS = ("part_count", "good_count", "scrap_count", "cycle_count", "program_state")
_LIFE = ("tools.used", "tools.remaining")

NEEDS = (
    Need("conditions", ("availability", "planned_busy_time", "stop_loss"), (_STATE,)),
    Need("production", ("produced", "effectiveness", "oee", "pace_ahead"), (_STATE, _PARTS)),
    Need(
        "quality",
        ("scrap", "quality_ratio"),
        (("scrap_count", "good_count"),),
        N_("unjudged parts count as good"),
    ),
    Need("scrap", ("scrap_ratio",), (("scrap_count",),), N_("parts that are not judged are no scrap")),
    Need(
        "cycles",
        ("cycle_time_median", "cycle_time_limits", "level_step_size", "mean_difference", "run_off_index"),
        (_STATE, _PROGRESS),
    ),
    Need(
        "steps",
        ("measured_step_time", "planned_difference", "level_step_shares"),
        (_STATE, _PROGRESS, ("tool_changing", "active_tool"), ("positioning",), ("spindle_load", "spindle_speed")),
        N_("a step that has no signal of its own shows as other"),
    ),
    Need(
        "setup", ("actual_setup_time", "setup_ratio"), (("mode",),), N_("setting up shows as waiting or producing")
    ),
    Need(
        "holds",
        ("actual_delay_time",),
        (("feed_hold", "program_state", "feed_override"),),
        N_("a hold shows as waiting"),
    ),
    Need(
        "faults",
        ("actual_delay_time", "technical_efficiency", "utilization_efficiency", "mean_time_between_failures"),
        (("alarm",),),
        N_("a fault shows as waiting"),
    ),
    Need("tool_times", ("consumption_per_cycle",), (("active_tool",), ("spindle_load", "spindle_speed"))),
    Need("tool_life", ("share_used", "remaining"), (_LIFE, ("tools.limit",))),
    Need("tool_forecast", ("cycles_left", "limit_at"), (_LIFE, ("tools.limit",), ("active_tool",))),
    Need("tool_history", ("life_achieved", "life_scale", "replacement_interval"), (_LIFE, ("tools.limit",))),
    Need("tool_loads", ("load_rise",), (_LIFE, ("active_tool",), ("spindle_speed",), ("spindle_load",))),
    Need("energy", ("energy", "energy_per_part", "energy_per_good_part", "demand_peak"), (("energy", "power"),)),
)
"""In the order in which they are shown."""


@dataclass(frozen=True, slots=True)
class Ability:
    """One family for one machine; ``missing`` names, per unmet need, the signals of which one would do."""

    family: str
    figures: tuple[str, ...]
    can: bool
    missing: tuple[str, ...]
    without: str


def signals_of(plant: Plant, machine: Machine) -> list[str]:
    """Every signal that is mapped for a machine, tool fields as ``tools.FIELD``."""
    tools = plant.tools_of(machine)
    fields = {field for each in tools.each.values() for field in each}
    if tools.objects is not None:
        fields |= set(TOOL_FIELDS)
    return [*plant.nodes_of(machine), *(f"{TOOLS}.{field}" for field in TOOL_FIELDS if field in fields)]


def abilities(signals: Sequence[str]) -> list[Ability]:
    """Every family of figures, judged by these signals."""
    return [_ability(need, signals) for need in NEEDS]


def _ability(need: Need, signals: Sequence[str]) -> Ability:
    unmet = tuple(" or ".join(group) for group in need.needs if not any(s in signals for s in group))
    return Ability(need.family, need.figures, not unmet, unmet, need.without if unmet else "")


def can_tell(plant: Plant, machine: Machine, family: str) -> bool:
    """Whether one family can be told of a machine; raises StopIteration for a family that is none."""
    return next(a.can for a in abilities(signals_of(plant, machine)) if a.family == family)
