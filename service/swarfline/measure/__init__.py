"""Measuring: facts in, figures out. Pure. FIGURES lists what can be asked for; docs/figures.md explains it."""

from __future__ import annotations

from typing import NamedTuple


class Definition(NamedTuple):
    """A figure: its name in the API, formula in element names, unit, meaning, and where the definition is from."""

    name: str
    formula: str
    unit: str
    about: str
    source: str


_ISO = "ISO 22400-2"
_OURS = "own choice"
_NIST = "NIST/SEMATECH e-Handbook"
_TYPE_7 = "Hyndman & Fan 1996, type 7"

_TIMES = (
    Definition("planned_time", "shifts − breaks − planned stops", "s", "time planned for production", _OURS),
    Definition(
        "unobserved_time", "planned time without a known condition", "s", "time nothing is known of", _OURS
    ),
    Definition("coverage", "(planned_time − unobserved_time) ÷ planned_time", "1", "how much was observed", _OURS),
    Definition(
        "planned_busy_time",
        "planned_time − unobserved_time + producing_outside_time",
        "s",
        "time that production is measured against (PBT)",
        _ISO,
    ),
    Definition("actual_production_time", "producing, inside and outside of planned time", "s", "APT", _ISO),
    Definition("producing_outside_time", "producing outside of planned time", "s", "unplanned production", _OURS),
    Definition("actual_setup_time", "setup in planned time", "s", "AUST", _ISO),
    Definition("actual_delay_time", "held + fault + out_of_service in planned time", "s", "ADET", _ISO),
    Definition("actual_down_time", "waiting + off in planned time", "s", "ADOT", _ISO),
)

_OEE = (
    Definition(
        "availability",
        "actual_production_time ÷ planned_busy_time",
        "1",
        "share of the time in which the machine produced",
        _ISO,
    ),
    Definition(
        "effectiveness",
        "Σ PRI · produced ÷ actual_production_time",
        "1",
        "speed against the planned time; above 1 the planned time is too long",
        _ISO,
    ),
    Definition(
        "quality_ratio", "Σ PRI · good ÷ Σ PRI · produced", "1", "share of good parts, by planned time", _ISO
    ),
    Definition(
        "oee",
        "Σ PRI · good ÷ planned_busy_time",
        "1",
        "availability · effectiveness · quality_ratio, the same number to the last digit",
        _ISO,
    ),
    Definition("best_demonstrated_time", "P10 of steady cycles", "s", "stands in for a planned time", _OURS),
)

_PARTS = (
    Definition("produced", "counted parts", "1", "parts made, good or not (PQ)", _ISO),
    Definition("good", "produced − scrap", "1", "good quantity (GQ); unjudged parts count as good", _ISO),
    Definition("scrap", "parts counted as scrap", "1", "scrap quantity (SQ)", _ISO),
    Definition("unjudged", "produced − judged good − scrap", "1", "parts that nobody judged", _OURS),
    Definition("across_gap", "produced across gaps", "1", "parts made unobserved; not in the ratios", _OURS),
)

_LOSSES = (
    Definition("stop_loss", "planned time of stops, by condition, short or long", "s", "not producing", _OURS),
    Definition("good_parts", "Σ PRI · good", "s", "producing: good parts at their planned time", _OURS),
    Definition("scrap_parts", "Σ PRI · (produced − good)", "s", "producing: scrap at its planned time", _OURS),
    Definition(
        "slow_running",
        "actual_production_time − good_parts − scrap_parts",
        "s",
        "producing: the rest; negative where faster than planned",
        _OURS,
    ),
)

_TREND = (
    Definition("cycle_time_median", "P50 of steady cycles", "s", "the usual cycle time", _TYPE_7),
    Definition("cycle_time_p10", "P10 of steady cycles", "s", "one in ten is faster", _TYPE_7),
    Definition("cycle_time_p90", "P90 of steady cycles", "s", "one in ten is slower", _TYPE_7),
    Definition("cycle_time_minimum", "least of steady cycles", "s", "the fastest cycle", _OURS),
    Definition("cycle_time_mean", "x̄ of steady cycles", "s", "centre line of the chart", _NIST + " 6.3.2.2"),
    Definition("cycle_time_deviation", "√(Σ (x − x̄)² ÷ (n − 1))", "s", "spread of all of them", "textbook"),
    Definition("cycle_time_limits", "x̄ ± 3 · M̄R ÷ 1.128", "s", "limits of single cycles", _NIST + " 6.3.2.2"),
    Definition("moving_range_limit", "3.267 · M̄R", "s", "limit of steps from cycle to cycle", _NIST + " 6.3.2.2"),
    Definition("cycle_time_ewma", "z = 0.2 · x + 0.8 · z before", "s", "smoothed cycle time", _NIST + " 6.3.2.4"),
)

_TOOLS = (
    Definition("share_used", "used ÷ limit", "1", "how far a tool life has gone", _OURS),
    Definition("remaining", "limit − used", "1, s or m", "life left; negative past the limit", _OURS),
    Definition(
        "consumption_per_cycle",
        "share of cycles that use the tool · typical life used by one",
        "1, s or m",
        "life that a cycle takes, on the whole",
        _OURS,
    ),
    Definition("cycles_left", "⌊remaining ÷ consumption_per_cycle⌋", "1", "whole cycles to the limit", _OURS),
    Definition("parts_left", "⌊cycles_left · parts per cycle⌋", "1", "whole parts to the limit", _OURS),
    Definition("cycle_pace", "complete cycles ÷ planned and observed time", "1/s", "recent pace, waits in", _OURS),
    Definition("warning_at", "now + cycles to the warning level ÷ cycle_pace", "time", "in planned time", _OURS),
    Definition("limit_at", "now + cycles_left ÷ cycle_pace", "time", "in planned time", _OURS),
)

_ENERGY = (
    Definition("energy", "Σ energy, by condition", "kWh", "electrical energy taken", "physics"),
    Definition(
        "energy_per_good_part", "energy ÷ good", "kWh", "energy that a good part took", _ISO + " e = E ÷ PQ"
    ),
    Definition("demand", "energy of a UTC quarter hour ÷ 15 min", "W", "mean power", "utility glossaries"),
    Definition("demand_peak", "max demand", "W", "what a tariff may bill", "utility glossaries"),
)

_PACE = (
    Definition("pace_target", "planned_time ÷ PRI", "1", "parts that the span makes by plan", _OURS),
    Definition("pace_expected", "planned time elapsed ÷ PRI", "1", "parts that were due by now", _OURS),
    Definition("pace_ahead", "produced − pace_expected", "1", "parts ahead, negative: behind", _OURS),
    Definition("pace_forecast", "produced · planned_time ÷ elapsed", "1", "parts at the end, going on so", _OURS),
)

FIGURES = (*_TIMES, *_OEE, *_PARTS, *_LOSSES, *_TREND, *_TOOLS, *_ENERGY, *_PACE)
"""Every figure that can be shown; a test compares it with docs/figures.md."""
