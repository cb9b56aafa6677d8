"""A tool near its limit raises one alert, in time, which is gone with the tool."""

from __future__ import annotations

from itertools import pairwise

import pytest

from .api import Row
from .undisturbed import MACHINES, Run, used_lives

pytestmark = pytest.mark.system

RULE = "tool_near_limit"
SETTLED_US = 150_000_000
"""Five seconds of real time at the run's speed: what happened so long before the end has been looked at."""


def of_tool(run: Run, machine: str, tool: object) -> list[Row]:
    """The alerts of one tool, oldest first."""
    alerts = [a for a in run.alerts if a["machine"] == machine and a["subject"].endswith(f"/{tool}")]
    return sorted(alerts, key=lambda a: a["raised_us"])


def subject(life: Row) -> tuple[str, str]:
    """What an alert about this life's tool is about."""
    return life["machine"], f"{life['pot']}/{life['tool']}"


def reached(life: Row, series: list[tuple[int, float]]) -> int:
    """When a life that ended had used up its limit; else when it ended."""
    own = [us for us, used in series if life["start_us"] <= us < life["end_us"] and used >= life["limit"]]
    return min([*own, life["end_us"]])


@pytest.fixture(scope="module")
def end_us(run):
    return min(told.span.end_us for told in run.told.values())


@pytest.fixture(scope="module")
def ended(run, end_us):
    """(machine, life, when its limit was reached) of the tools replaced at their limit."""
    series = used_lives(end_us)
    return [
        (machine, life, reached(life, series[machine, str(life["pot"])]))
        for machine in MACHINES
        for life in run.truth.of(machine, "tool_life")
        if life["reason"] == "limit" and life["end_us"] < end_us - SETTLED_US
    ]


def test_all_alerts_are_of_this_rule_and_of_tools(run):
    assert {alert["rule"] for alert in run.alerts} == {RULE}


def test_raised_before_the_limit_and_cleared_after_the_replacement(run, ended):
    assert len(ended) >= 10
    for machine, life, reached_us in ended:
        during = [
            alert
            for alert in of_tool(run, machine, life["tool"])
            if life["start_us"] <= alert["raised_us"] < life["end_us"]
            and not (alert["cleared"] and alert["cleared_us"] < life["end_us"])
        ]
        (alert,) = during
        assert alert["raised_us"] < reached_us, (life, alert)
        assert alert["cleared"] is not None, (life, alert)


def test_one_standing_alert_per_tool(run):
    assert run.crowded == frozenset()
    for machine in MACHINES:
        for tool in run.tools[machine]:
            for before, after in pairwise(of_tool(run, machine, tool["tool"])):
                assert before["cleared"] is not None
                assert before["cleared_us"] <= after["raised_us"]


def test_what_stands_at_the_end_is_near_its_limit_and_nothing_else_is(run, end_us):
    standing = {(a["machine"], a["subject"]) for a in run.alerts if a["cleared"] is None}
    lives = [life for told in run.told.values() for life in told.lives if life["open"]]
    near = {subject(life) for life in lives if life["used"] >= life["warning_level"]}
    far = {
        subject(life)
        for life in lives
        if life["used"] < life["warning_level"] / 2 and life["start_us"] < end_us - SETTLED_US
    }
    assert len(near) >= 3
    assert near <= standing
    assert len(far) >= 3
    assert not far & standing
