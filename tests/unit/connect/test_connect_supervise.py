"""The state machine of a connection, its verdicts and its estimate of the clock offset."""

from __future__ import annotations

import math

from hypothesis import given
from hypothesis import strategies as st

from swarfline.connect.supervise import (
    Attempts,
    ClockOffset,
    Signs,
    backoff_s,
    probe_period_s,
    silence_allowed_s,
    verdict,
)

S = 1_000_000


def test_backoff_doubles_to_a_cap() -> None:
    assert [backoff_s(n, 1.0) for n in range(8)] == [1, 2, 4, 8, 16, 32, 60, 60]
    assert backoff_s(10_000, 1.0) == 60


@given(st.integers(0, 100), st.floats(0, 1))
def test_jitter_stays_between_half_and_whole(failures: int, chance: float) -> None:
    whole = backoff_s(failures, 1.0)
    assert whole / 2 <= backoff_s(failures, chance) <= whole


def test_states_and_counts() -> None:
    attempts = Attempts(since_us=0)
    attempts.start(1 * S)
    assert (attempts.state, attempts.attempts, attempts.next_attempt_us) == ("connecting", 1, None)
    assert attempts.ended(2 * S, "refused", 1.0) == 1.0
    assert (attempts.state, attempts.last_error, attempts.next_attempt_us) == ("waiting", "refused", 3 * S)
    attempts.start(3 * S)
    attempts.connected(4 * S)
    assert (attempts.state, attempts.since_us, attempts.reconnects, attempts.last_error) == (
        "connected",
        4 * S,
        0,
        "",
    )
    attempts.ended(5 * S, "lost", 1.0)
    attempts.start(7 * S)
    attempts.connected(8 * S)
    assert attempts.reconnects == 1


def test_a_minute_of_life_starts_the_backoff_anew() -> None:
    attempts = Attempts()
    for _ in range(5):
        attempts.start(0)
        attempts.ended(0, "refused", 1.0)
    attempts.start(0)
    attempts.connected(0)
    assert attempts.ended(59 * S, "lost", 1.0) == 32.0
    attempts.start(60 * S)
    attempts.connected(60 * S)
    assert attempts.ended(120 * S, "lost", 1.0) == 1.0


def signs(now_s: float = 100.0, looked_s: float = 99.5, published_s: float = 99.0, lost: str = "") -> Signs:
    return Signs(now_s, looked_s, 0.5, published_s, 5.0, lost)


def test_verdicts() -> None:
    assert verdict(signs()) is None
    assert verdict(signs(published_s=95.0)) is None
    assert "nothing heard for 5.1 s" in str(verdict(signs(published_s=94.9)))
    assert verdict(signs(lost="socket closed")) == "socket closed"


def test_silence_while_we_were_late_ourselves_is_no_verdict() -> None:
    assert verdict(signs(looked_s=98.0, published_s=90.0)) is None
    assert verdict(signs(looked_s=98.6, published_s=90.0)) is not None
    assert verdict(signs(looked_s=90.0, lost="socket closed")) == "socket closed"


def test_no_deadline_no_verdict() -> None:
    assert verdict(signs(published_s=0.0)._replace(deadline_s=math.inf)) is None


def test_periods() -> None:
    assert silence_allowed_s(2.0) == 5.0
    assert probe_period_s(2.0) == 4.0
    assert probe_period_s(60.0) == 10.0


def test_offset_is_server_minus_midpoint() -> None:
    # RFC 5905 section 8: offset = ((T2 − T1) + (T3 − T4)) / 2; with T2 = T3 this is server − midpoint
    offset = ClockOffset()
    offset.add(1000 * S, 1000 * S + 200_000, 1010 * S + 100_000, None)
    assert offset.offset_us == 10 * S


def test_the_shortest_way_counts() -> None:
    offset = ClockOffset()
    offset.add(0, 10_000, 5_000 + 700, None)
    offset.add(S, S + 400_000, S + 200_000 + 150_000, None)
    assert offset.offset_us == 700


def test_ticks_of_current_time_are_not_an_offset() -> None:
    offset = ClockOffset()
    offset.add(10 * S, 10 * S + 2_000, 10 * S - 800_000, 10 * S + 1_000)
    assert offset.offset_us == 0


def test_a_header_time_from_nowhere_is_ignored() -> None:
    offset = ClockOffset()
    offset.add(10 * S, 10 * S, 10 * S, 500 * S)
    assert offset.offset_us == 0
    offset.add(11 * S, 11 * S, None, None)
    assert offset.offset_us == 0


def test_told_when_it_moved_by_a_quarter_second() -> None:
    offset = ClockOffset()
    assert offset.news() is None
    offset.add(0, 0, 100_000, None)
    assert offset.news() == 100_000
    offset.add(S, S, S + 300_000, None)
    assert offset.news() is None
    offset.add(2 * S, 2 * S, 2 * S + 3_600 * S, None)
    assert offset.news() == 3_600 * S
    assert offset.news() is None
    assert offset.news(force=True) == 3_600 * S
