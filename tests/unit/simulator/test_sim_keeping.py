"""What the simulator's nodes kept is told by time, in both directions and in pages."""

import asyncio
from datetime import UTC, datetime, timedelta

import pytest
from asyncua import ua

from swarfline_sim import keeping
from swarfline_sim.keeping import Keeper

NODE = ua.NodeId("a", 2)
BEGIN = datetime(2026, 3, 2, tzinfo=UTC)


def moment(second):
    return BEGIN + timedelta(seconds=second)


@pytest.fixture
def keeper():
    made = Keeper()
    made._kept[NODE] = []
    for n in range(10):
        made.keep(NODE, ua.DataValue(ua.Variant(n), SourceTimestamp=moment(n)))
    return made


def read(keeper, start, end, most=0, node=NODE):
    values, more = asyncio.run(keeper.read_node_history(node, start, end, most))
    return [v.Value.Value for v in values], more


def test_both_bounds_are_included_and_times_may_run_backwards(keeper):
    assert read(keeper, moment(3), moment(5)) == ([3, 4, 5], None)
    assert read(keeper, moment(5), moment(3)) == ([5, 4, 3], None)
    assert read(keeper, moment(3.5), moment(3.9)) == ([], None)


def test_a_bound_that_is_none_is_open(keeper):
    # 1601-01-01 says in OPC UA that there is no bound (OPC 10000-11 section 6.5.3)
    assert read(keeper, moment(8), datetime(1601, 1, 1, tzinfo=UTC)) == ([8, 9], None)
    assert read(keeper, None, moment(1)) == ([0, 1], None)


def test_a_page_names_the_moment_to_go_on_from(keeper):
    assert read(keeper, moment(0), moment(9), 4) == ([0, 1, 2, 3], moment(4))
    assert read(keeper, moment(4), moment(9), 6) == ([4, 5, 6, 7, 8, 9], None)
    assert read(keeper, moment(9), moment(0), 2) == ([9, 8], moment(7))


def test_the_oldest_go_when_there_are_too_many(keeper, monkeypatch):
    monkeypatch.setattr(keeping, "MOST_KEPT", 10)
    keeper.keep(NODE, ua.DataValue(ua.Variant(10), SourceTimestamp=moment(10)))
    assert read(keeper, moment(0), moment(99)) == ([*range(1, 11)], None)


def test_a_node_that_keeps_nothing_tells_nothing(keeper):
    assert read(keeper, moment(0), moment(9), node=ua.NodeId("b", 2)) == ([], None)
