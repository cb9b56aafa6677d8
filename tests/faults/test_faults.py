"""What each fault must come to. The limits of time are promises of the service, not speeds of this machine.

Nothing here checks against an outside source: the simulator's own account of what happened is the judge.
"""

from __future__ import annotations

import hashlib

import pytest

from swarfline.connect.supervise import FULL_DELAY_S, LONGEST_DELAY_S
from system.outages import (
    assert_account,
    assert_nothing_twice,
    assert_tiled,
    assert_true_but_for_gaps,
)

from .clocks import STEPS_S
from .ordeal import Ordeal
from .table import TOLERANCE_US, beside, counted_twice, lost, untrue
from .trials import BESIDE, HALF_OPEN_S, TRIALS, Trial

pytestmark = pytest.mark.system

LOADED_S = 2.0
"""Added to every limit, for a machine that also runs the simulators and other tests meanwhile."""
NAMES = [trial.name for trial in TRIALS]
WHOLE = [name for name in NAMES if name != "half"]


@pytest.mark.parametrize("name", NAMES)
def test_the_loss_is_found_in_time(ordeal: Ordeal, name: str) -> None:
    course = ordeal.courses[name]
    if course.trial.within_s is None:
        assert course.found is None
        return
    assert course.found_after_s is not None
    assert course.found_after_s <= course.trial.within_s + LOADED_S


@pytest.mark.parametrize("name", WHOLE)
def test_all_is_true_but_for_the_one_gap(ordeal: Ordeal, name: str) -> None:
    assert_true_but_for_gaps(ordeal.told[name], ordeal.truth[name], ordeal.courses[name].outages)


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_counted_twice_or_lost(ordeal: Ordeal, name: str) -> None:
    told, truth = ordeal.told[name], ordeal.truth[name]
    assert counted_twice(told, truth) == 0
    if name != "half":
        assert lost(told, truth) == 0


def test_the_server_with_half_of_its_nodes_is_told_as_far_as_it_is_seen(ordeal: Ordeal) -> None:
    told, truth, course = ordeal.told["half"], ordeal.truth["half"], ordeal.courses["half"]
    # the state is among the nodes that are missing at first: unobserved, though the connection stands
    assert {"half/state", "half/part_count"} <= set(ordeal.refused)
    assert all("BadNodeIdUnknown" in reason for reason in ordeal.refused.values())
    assert course.outages
    assert_tiled(told)
    assert_nothing_twice(told)
    assert_account(told, truth, told.observed[0])
    assert_account(told, truth, told.observed[-1])
    assert told.observed[-1].end_us - told.observed[-1].start_us > 60_000_000


def test_the_other_server_is_untouched(ordeal: Ordeal) -> None:
    told, truth = ordeal.told[BESIDE], ordeal.truth[BESIDE]
    assert_true_but_for_gaps(told, truth, [])
    for course in ordeal.courses.values():
        assert beside(told, truth, course.plant_span) == "untouched"
    assert [word.kind for word in ordeal.words if word.server == BESIDE] == ["connected"]


def test_the_service_frozen_is_no_gap(ordeal: Ordeal) -> None:
    """The servers kept everything meanwhile."""
    for told in ordeal.told.values():
        assert not any(
            g["start_us"] < ordeal.frozen.end_us and ordeal.frozen.start_us < g["end_us"] for g in told.gaps
        )


def test_attempts_are_further_and_further_apart(ordeal: Ordeal) -> None:
    for course in ordeal.courses.values():
        delays_s = [word.delay_s for word in ordeal.words if word.server == course.line.name and word.delay_s]
        for number, delay_s in enumerate(delays_s):
            most_s = min(LONGEST_DELAY_S, 2.0**number)
            assert min(most_s / 2, FULL_DELAY_S) - 0.05 <= delay_s <= most_s + 0.05


@pytest.mark.parametrize("trial", [trial for trial in TRIALS if trial.words], ids=lambda trial: trial.name)
def test_the_log_says_why(ordeal: Ordeal, trial: Trial) -> None:
    reasons = [word.reason for word in ordeal.words if word.server == trial.name]
    assert any(trial.words in reason for reason in reasons)


def test_a_changed_certificate_is_refused_with_both_fingerprints(ordeal: Ordeal) -> None:
    (refused, *_) = [w.reason for w in ordeal.words if w.server == "certificate" and "certificate" in w.reason]
    shown = [hashlib.sha256(der.read_bytes()).hexdigest() for der in ordeal.certificates]
    assert all(fingerprint in refused for fingerprint in shown)


@pytest.mark.parametrize("name", STEPS_S)
def test_a_clock_that_is_set_loses_nothing(ordeal: Ordeal, name: str) -> None:
    clock = ordeal.clocks[name]
    assert clock.told is not None
    assert clock.truth is not None
    assert clock.found_after_s is not None
    assert clock.found_after_s <= HALF_OPEN_S + LOADED_S
    assert clock.told.gaps == []
    assert_tiled(clock.told)
    assert_nothing_twice(clock.told)
    assert counted_twice(clock.told, clock.truth) == 0
    assert lost(clock.told, clock.truth, TOLERANCE_US) == 0
    assert untrue(clock.told, clock.truth) == []
    assert clock.told.account(clock.told.observed[0]).cycles


def test_the_server_beside_those_clocks_is_untouched(ordeal: Ordeal) -> None:
    told, truth = ordeal.steady
    assert told.gaps == []
    assert untrue(told, truth) == []
    assert lost(told, truth, TOLERANCE_US) == 0


def test_nothing_goes_wrong_in_the_service_itself(ordeal: Ordeal) -> None:
    assert "Traceback" not in ordeal.log
    assert "ERROR" not in ordeal.log
