"""What is said about the connection, and in which order."""

from __future__ import annotations

import pytest

from swarfline.connect.links import Links
from swarfline.connect.past import Before, Past
from swarfline.signals import Reading

S = 1_000_000


class Taker:
    def __init__(self) -> None:
        self.got: list[tuple[str, str, int, object]] = []
        self.room = True

    def __call__(self, batch: list[Reading]) -> bool:
        if self.room:
            self.got += [(r.machine, r.signal, r.source_us, r.value) for r in batch]
        return self.room


@pytest.fixture
def taker() -> Taker:
    return Taker()


def value(us: int, shown: object = 1.0, machine: str = "N1", signal: str = "power") -> Reading:
    return Reading(machine, signal, us, us, shown)  # type: ignore[arg-type]


def test_offset_back_initial_live(taker: Taker) -> None:
    links = Links(["N1"], taker, False)
    links.begin()
    links.values([value(3 * S)], 10 * S)
    assert taker.got == []
    links.open(["N1"], [], [("N1", "lot")], 11 * S, 250)
    links.values([value(12 * S, 2.0)], 12 * S)
    assert taker.got == [
        ("N1", "clock_offset", 11 * S, 250), ("N1", "link", 11 * S, "back"), ("N1", "lot", 11 * S, None),
        ("N1", "power", 3 * S, 1.0), ("N1", "power", 12 * S, 2.0),
    ]  # fmt: skip


def test_lost_once_at_the_last_proof_of_life(taker: Taker) -> None:
    links = Links(["N1", "N2"], taker, False)
    links.begin()
    links.open(["N1", "N2"], [], [], 10 * S)
    links.heard(14 * S)
    taker.got.clear()
    links.lost()
    links.lost()
    assert taker.got == [("N1", "link", 14 * S, "lost"), ("N2", "link", 14 * S, "lost")]


def test_what_may_still_wait_at_the_server_is_not_claimed(taker: Taker) -> None:
    links = Links(["N1"], taker, False)
    links.begin()
    links.paced(5.0)
    links.open(["N1"], [], [], 10 * S)
    taker.got.clear()
    links.heard(14 * S)
    links.alive(14 * S)
    links.heard(18 * S)
    links.alive(18 * S)
    links.values([value(19 * S)], 20 * S)
    links.heard(24 * S)
    links.lost()
    assert [entry[2:] for entry in taker.got] == [
        (10 * S, "alive"), (13 * S, "alive"), (19 * S, 1.0), (20 * S, "lost"),
    ]  # fmt: skip


def test_nothing_is_lost_that_never_was_back(taker: Taker) -> None:
    links = Links(["N1"], taker, False)
    links.begin()
    links.values([value(S)], S)
    links.lost()
    assert taker.got == []


def test_back_is_never_before_lost_even_when_our_clock_was_set_back(taker: Taker) -> None:
    links = Links(["N1"], taker, False)
    links.begin()
    links.open(["N1"], [], [], 100 * S)
    links.lost()
    links.begin()
    links.open(["N1"], [], [], 50 * S)
    assert taker.got[-1] == ("N1", "link", 100 * S + 1, "back")


def test_heartbeats_need_a_new_proof(taker: Taker) -> None:
    links = Links(["N1"], taker, False)
    links.begin()
    links.open(["N1"], [], [], 10 * S)
    taker.got.clear()
    links.alive(10 * S)
    links.heard(10_500_000)
    links.alive(11 * S)
    links.alive(12 * S)
    links.alive(14 * S)
    assert taker.got == [("N1", "link", 10 * S, "alive"), ("N1", "link", 10_500_000, "alive")]


def test_the_servers_clock_rules_where_asked(taker: Taker) -> None:
    links = Links(["N1", "N2"], taker, True)
    links.begin()
    links.values([value(500 * S), value(700 * S, machine="N2")], 10 * S)
    links.open(["N1", "N2"], [], [], 11 * S, 250)
    links.alive(12 * S)
    links.alive(14 * S)
    links.values([value(800 * S)], 15 * S)
    links.alive(16 * S)
    links.lost()
    assert [(m, us, v) for m, signal, us, v in taker.got if signal == "link"] == [
        ("N1", 700 * S, "back"), ("N2", 700 * S, "back"), ("N1", 700 * S, "alive"), ("N2", 700 * S, "alive"),
        ("N1", 800 * S, "alive"), ("N2", 800 * S, "alive"), ("N1", 800 * S, "lost"), ("N2", 800 * S, "lost"),
    ]  # fmt: skip
    assert not [entry for entry in taker.got if entry[1] == "clock_offset"]
    links.begin()
    links.values([value(600 * S)], 20 * S)
    links.open(["N1", "N2"], [], [], 21 * S)
    assert ("N1", "link", 800 * S + 1, "back") in taker.got


def test_a_full_sink_ends_at_what_it_took_and_is_told_later(taker: Taker) -> None:
    links = Links(["N1"], taker, False)
    links.begin()
    links.open(["N1"], [], [], 10 * S)
    links.values([value(11 * S)], 11 * S)
    taker.room = False
    links.values([value(12 * S)], 12 * S)
    assert links.full
    links.heard(20 * S)
    links.lost()
    assert not links.pay()
    taker.got.clear()
    taker.room = True
    assert links.pay()
    assert taker.got == [("N1", "link", 11 * S, "lost")]
    links.begin()
    links.values([value(13 * S)], 30 * S)
    links.open(["N1"], [], [], 30 * S)
    assert [entry[2:] for entry in taker.got[1:]] == [(30 * S, "back"), (13 * S, 1.0)]


def test_an_owed_loss_comes_before_anything_else(taker: Taker) -> None:
    links = Links(["N1"], taker, False)
    links.begin()
    links.open(["N1"], [], [], 10 * S)
    taker.room = False
    links.lost()
    taker.room = True
    links.begin()
    links.open(["N1"], [], [], 20 * S)
    assert [entry[2:] for entry in taker.got] == [(10 * S, "back"), (10 * S, "lost"), (20 * S, "back")]


def test_a_back_that_was_not_taken_is_not_lost_later(taker: Taker) -> None:
    links = Links(["N1"], taker, False)
    links.begin()
    taker.room = False
    links.open(["N1"], [], [], 10 * S)
    links.lost()
    taker.room = True
    assert links.pay()
    assert taker.got == []


def test_a_hole_is_lost_back_and_read_again(taker: Taker) -> None:
    links = Links(["N1", "N2"], taker, False)
    links.begin()
    links.open(["N1", "N2"], [], [], 10 * S)
    taker.got.clear()
    assert links.hole(["N1"], 12 * S, 0) == ["N1"]
    assert links.hole(["N1"], 12 * S, 0) == []
    links.values([value(13 * S, 3.0), value(13 * S, 4.0, "N2"), value(15 * S, 5.0)], 15 * S)
    links.open(["N1"], [value(14 * S, 9.0)], [], 16 * S)
    assert taker.got == [
        ("N1", "link", 12 * S, "lost"), ("N2", "power", 13 * S, 4.0), ("N1", "link", 16 * S, "back"),
        ("N1", "power", 14 * S, 9.0), ("N1", "power", 15 * S, 5.0),
    ]  # fmt: skip


def read_back(until_us: int | None = None) -> Past:
    told = (value(6 * S, "executing", signal="state"), value(8 * S, "not_executing", signal="state"))
    return Past(told, {"state": 8 * S}, 5 * S + 100, 40, until_us)


def test_a_machine_goes_on_from_before_its_loss_with_what_was_read_back(taker: Taker) -> None:
    before = Before(5 * S, 5 * S, signals=frozenset({"state", "power", "lot"}))
    links = Links(["N1"], taker, False, {"N1": before})
    links.begin()
    # the first values: one that the history holds, one that it does not, one without history
    links.values([value(2 * S), value(8 * S, "not_executing", signal="state")], 9 * S)
    links.values([value(9 * S, "executing", signal="state")], 9 * S)
    links.open(["N1"], [], [("N1", "lot")], 10 * S, 40, {"N1": read_back()})
    assert taker.got == [
        ("N1", "link", 5 * S, "restored"), ("N1", "clock_offset", 10 * S, 40),
        ("N1", "lot", 5 * S + 100, None), ("N1", "power", 5 * S + 100, None),
        ("N1", "state", 6 * S, "executing"), ("N1", "state", 8 * S, "not_executing"),
        ("N1", "state", 9 * S, "executing"),
        ("N1", "link", 10 * S, "caught_up"), ("N1", "power", 10 * S + 40, 1.0),
    ]  # fmt: skip
    # published late, and known from the history already; a clock that was set back hides nothing else
    del taker.got[:]
    links.values(
        [value(8 * S, "not_executing", signal="state"), value(8 * S + 1, "executing", signal="state")], 11 * S
    )
    assert taker.got == [("N1", "state", 8 * S + 1, "executing")]


def test_a_server_that_was_away_leaves_a_loss_at_its_last_record(taker: Taker) -> None:
    links = Links(["N1"], taker, False, {"N1": Before(5 * S, 5 * S, signals=frozenset({"state"}))})
    links.begin()
    links.values([value(20 * S, "executing", signal="state")], 20 * S)
    links.open(["N1"], [], [], 21 * S, None, {"N1": read_back(8 * S)})
    assert taker.got == [
        ("N1", "link", 5 * S, "restored"),
        ("N1", "state", 6 * S, "executing"), ("N1", "state", 8 * S, "not_executing"),
        ("N1", "link", 8 * S - 40, "caught_up"), ("N1", "link", 8 * S - 40, "lost"),
        ("N1", "link", 21 * S, "back"), ("N1", "state", 20 * S, "executing"),
    ]  # fmt: skip


def test_a_loss_in_the_run_is_one_to_go_on_from_until_the_machine_is_back(taker: Taker) -> None:
    links = Links(["N1"], taker, False)
    links.begin()
    assert links.before == {}
    links.values([value(3 * S)], 4 * S)
    links.open(["N1"], [], [], 5 * S)
    links.offset_us = 250
    links.lost()
    assert links.before == {"N1": Before(5 * S, 5 * S, 3 * S, frozenset({"power"}), 250)}
    links.begin()
    links.open(["N1"], [], [], 9 * S)
    assert links.before == {}
