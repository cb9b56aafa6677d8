"""Failed attempts slow down the next ones, by user and address, and keep nobody out for good.

Numbers are common practice, no source; time is told, none passes.
"""

from __future__ import annotations

from swarfline.serve import throttle
from swarfline.serve.throttle import ADDRESS, BOTH, FORGET_US, SECOND, USER, Throttle

HERE, THERE = "10.0.0.5", "10.0.0.6"


def attempts(tried, user, address, start_us, end_us, step_us=SECOND):
    """How many attempts are let through, with one each second."""
    return sum(tried.begin(user, address, at) == 0 for at in range(start_us, end_us, step_us))


def test_some_failures_are_free_then_waiting_doubles_up_to_its_longest():
    tried, now_us, waits = Throttle(), 0, []
    for _ in range(BOTH.free + 14):
        wait_us = tried.begin("ana", HERE, now_us)
        waits.append(wait_us // SECOND)
        now_us += wait_us
        if wait_us:
            assert tried.begin("ana", HERE, now_us - 1) > 0
            assert tried.begin("ana", HERE, now_us) == 0
    assert waits[: BOTH.free] == [0] * BOTH.free
    assert waits[BOTH.free :] == [1, 2, 4, 8, 16, 32, 64, 128, 256, 512, 900, 900, 900, 900]


def test_asking_while_waiting_does_not_make_it_longer():
    tried = Throttle()
    for _ in range(BOTH.free):
        assert tried.begin("ana", HERE, 0) == 0
    waits = [tried.begin("ana", HERE, SECOND // 2) for _ in range(20)]
    assert set(waits) == {SECOND // 2}
    assert tried.begin("ana", HERE, SECOND) == 0


def test_attempts_at_the_same_time_count_before_they_have_failed():
    tried = Throttle()
    assert [tried.begin("ana", HERE, 0) > 0 for _ in range(BOTH.free + 3)].count(False) == BOTH.free


def test_success_is_no_failure():
    tried = Throttle()
    for _ in range(200):
        assert tried.begin("ana", HERE, 0) == 0
        tried.succeeded("ana", HERE)


def test_success_forgets_the_failures_before_it():
    tried = Throttle()
    for _ in range(BOTH.free):
        assert tried.begin("ana", HERE, 0) == 0
    assert tried.begin("ana", HERE, SECOND) == 0
    tried.succeeded("ana", HERE)
    assert [tried.begin("ana", HERE, SECOND) for _ in range(BOTH.free)] == [0] * BOTH.free


def test_other_users_and_addresses_are_not_slowed_by_a_few_failures():
    tried = Throttle()
    attempts(tried, "ana", HERE, 0, 60 * SECOND)
    assert tried.begin("ana", HERE, 60 * SECOND) > 0
    assert tried.begin("bea", HERE, 60 * SECOND) == 0
    assert tried.begin("ana", THERE, 60 * SECOND) == 0


def test_one_address_cannot_go_through_many_names():
    tried = Throttle()
    let = sum(tried.begin(f"name{n}", HERE, 0) == 0 for n in range(200))
    assert let == ADDRESS.free


def test_many_addresses_are_slowed_for_one_user_but_the_users_own_is_not():
    tried = Throttle()
    assert tried.begin("ana", HERE, 0) == 0
    tried.succeeded("ana", HERE)
    let = sum(tried.begin("ana", f"192.0.2.{n}", 0) == 0 for n in range(200))
    assert let == USER.free
    assert tried.begin("ana", HERE, 0) == 0
    assert 0 < tried.begin("ana", THERE, 0) <= USER.longest_us


def test_nobody_is_kept_out_for_good():
    tried = Throttle()
    for n in range(5000):
        tried.begin("ana", f"198.51.100.{n % 250}", n * SECOND)
    assert tried.begin("ana", THERE, 5000 * SECOND) <= USER.longest_us
    assert tried.begin("ana", "198.51.100.7", 5000 * SECOND + FORGET_US) == 0


def test_addresses_of_one_ipv6_network_count_together():
    tried = Throttle()
    let = sum(tried.begin("ana", f"2001:db8::{n:x}", 0) == 0 for n in range(1, 20))
    assert let == BOTH.free
    assert tried.begin("ana", "2001:db8:0:1::1", 0) == 0


def test_what_is_remembered_is_bounded(monkeypatch):
    monkeypatch.setattr(throttle, "MOST", 50)
    tried = Throttle()
    for n in range(500):
        tried.begin(f"name{n}", f"10.1.{n // 250}.{n % 250}", 0)
        tried.succeeded(f"other{n}", f"10.1.{n // 250}.{n % 250}")
    assert len(tried._failed) <= 50 and len(tried._known) <= 50
