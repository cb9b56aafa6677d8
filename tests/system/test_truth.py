"""Nothing disturbed: what the service tells is what really happened.

The service is connected before simulated time begins and tells nothing unobserved up to the end, so every cycle of
the run is compared. Times are exact: a source time is the time of the event itself (see accounts.py).
"""

from __future__ import annotations

import pytest

from .accounts import KINDS, Told, true_account
from .undisturbed import MACHINES, Run, used_lives
from .works import START_US

pytestmark = pytest.mark.system

EXACT = {"rel": 1e-6}
"""Of energies: an energy counter in the tens of millions of Wh, kept as a floating number, has this step."""


@pytest.fixture(scope="module", params=MACHINES)
def told(run: Run, request: pytest.FixtureRequest) -> Told:
    return run.told[request.param]


@pytest.fixture(scope="module")
def account(told):
    (span,) = told.observed
    return told.account(span)


@pytest.fixture(scope="module")
def true(run, told):
    (span,) = told.observed
    return true_account(run.truth, told.machine, span)


def test_the_run_has_what_is_to_be_judged(run):
    whole = [true_account(run.truth, machine, run.told[machine].span) for machine in MACHINES]
    cycles = [cycle for account in whole for cycle in account.cycles]
    conditions = {condition for account in whole for _, _, condition in account.conditions}
    reasons = {life["reason"] for machine in MACHINES for life in run.truth.of(machine, "tool_life")}
    assert sum(cycle[2] == "complete" for cycle in cycles) > 70
    assert sum(cycle[2] == "aborted" for cycle in cycles) >= 2
    assert sum(account.parts["scrap"] for account in whole) >= 5
    assert sum(len(account.alarms) for account in whole) >= 8
    assert sum(len(account.lives) for account in whole) >= 15
    assert conditions == {"producing", "waiting", "held", "fault", "setup", "out_of_service"}
    assert reasons == {"limit", "early", "broken"}


def test_it_was_seen_from_the_beginning_without_a_gap(told):
    assert told.span.start_us == START_US
    assert len(told.observed) == 1
    assert told.gaps == []
    assert [row["start_us"] for row in told.conditions[1:]] == [row["end_us"] for row in told.conditions[:-1]]


def test_cycles(account, true):
    assert account.outcomes == true.outcomes
    assert account.cycles == true.cycles
    assert account.durations_s == pytest.approx(true.durations_s, abs=1e-6)


def test_steps_and_tools_of_each_cycle(account, true):
    assert account.steps == true.steps
    assert account.tools == true.tools


def test_conditions(account, true):
    assert account.conditions == true.conditions
    assert account.seconds == pytest.approx(true.seconds, rel=0.01, abs=0.5)


def test_parts_good_and_scrap(run, told, account, true):
    assert account.parts == true.parts
    totals = run.truth.totals(told.machine)
    later = [c for c in run.truth.of(told.machine, "cycle") if c["end_us"] >= told.span.end_us]
    made, scrap = (sum(c[name] for c in later) for name in ("parts", "scrap"))
    assert account.parts["total"] + made == totals["parts"]
    assert account.parts["good"] + made - scrap == totals["good"]
    assert account.parts["scrap"] + scrap == totals["scrap"]
    for outcome in ("complete", "aborted"):
        outcomes = account.outcomes.get(outcome, 0) + sum(c["outcome"] == outcome for c in later)
        assert outcomes == totals[f"cycles_{outcome}"]


def test_energy(account, true):
    assert account.cycle_energy == pytest.approx(true.cycle_energy, **EXACT)
    assert len(true.quarters) >= 1
    assert account.quarters == pytest.approx(true.quarters, **EXACT)


def test_tool_lives(account, true):
    assert len(true.lives) >= 3
    assert account.lives == true.lives


def test_what_the_tools_have_used_now(run, told):
    lives = used_lives(told.span.end_us)
    for tool in run.tools[told.machine]:
        _, used = lives[told.machine, tool["pot"]][-1]
        assert tool["used"] == pytest.approx(used, abs=1e-6), tool
    assert {pot for machine, pot in lives if machine == told.machine} == {
        tool["pot"] for tool in run.tools[told.machine]
    }


def test_alarms(account, true):
    assert account.alarms == true.alarms


def test_figures_are_made_of_it(run, told, account, true):
    row = run.oee[told.machine]
    assert row["coverage_pct"] == 100
    assert row["times"]["planned_time_s"] == (told.span.end_us - told.span.start_us) / 1e6
    assert row["times"]["actual_production_time_s"] == pytest.approx(true.seconds["producing"], abs=1e-6)
    parts = row["parts"]
    assert [parts[name] for name in ("produced", "good", "scrap")] == [true.parts[kind] for kind in KINDS]
    assert parts["unjudged"] == parts["across_gap"] == 0
