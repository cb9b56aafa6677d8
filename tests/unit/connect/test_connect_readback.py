"""Gaps closed by what the server kept: after a cut, after a restart of ours; and left where it cannot be told."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from asyncua import ua
from asyncua.server.history import HistoryDict, HistoryManager

from swarfline.connect import Before, rawhistory, readback, supervise
from swarfline.facts import Count, Gap
from swarfline.interpret.fold import Fold
from swarfline.interpret.settings import MachineSettings
from swarfline.signals import Quality, Reading

from .plc import Plc
from .proxy import Proxy
from .watching import STATE_AND_COUNT, Watching, plant_file

UINT32 = ua.VariantType.UInt32
AWAY_S = 0.05
AWAY = timedelta(seconds=AWAY_S)
AHEAD = timedelta(minutes=1)


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Attempts follow one another soon."""
    monkeypatch.setattr(supervise, "FIRST_DELAY_S", 0.2)
    monkeypatch.setattr(supervise, "LONGEST_DELAY_S", 0.4)


class Keeping(HistoryDict):
    """A history that outlives its server, and may be asked for nodes once more."""

    async def new_historized_node(self, node_id: ua.NodeId, period: Any, count: int = 0) -> None:
        if node_id not in self._datachanges:
            await super().new_historized_node(node_id, period, count)


@asynccontextmanager
async def keeping(port: int, *unkept: str, storage: HistoryDict | None = None, **more: Any) -> AsyncIterator[Plc]:
    """A machine N1 with a state and a count whose history is kept, but for those nodes named."""
    async with Plc(port) as plc:
        if storage is not None:
            plc.server.iserver.history_manager.set_storage(storage)
        await plc.machine("N1", State=2, Count=ua.Variant(0, UINT32), **more)
        old = datetime.now(UTC) - timedelta(hours=1)
        for name, value in {"State": 2, "Count": ua.Variant(0, UINT32), **more}.items():
            await plc.write(f"N1/{name}", value, old)
        for name, node in plc.nodes.items():
            if "/" in name and name not in unkept:
                await plc.server.historize_node_data_change(node, period=None)
        await asyncio.sleep(0.05)
        yield plc


async def count_to(plc: Plc, first: int, last: int) -> None:
    """Counts with a moment of its own each, and a state that goes along."""
    for number in range(first, last + 1):
        await plc.write("N1/Count", ua.Variant(number, UINT32))
        await plc.write("N1/State", 2 + number % 2)
        await asyncio.sleep(0.002)


async def cut(proxy: Proxy, watching: Watching, plc: Plc, first: int, last: int) -> None:
    """The connection is away while the machine counts."""
    times = len(watching.links("lost"))
    proxy.swallow = True
    proxy.cut()
    await watching.until_link("lost", times + 1)
    await count_to(plc, first, last)
    await asyncio.sleep(AWAY_S)
    proxy.swallow = False
    proxy.cut()


def raw(port: int, signals: dict[str, Any] = STATE_AND_COUNT, **server: Any) -> dict[str, Any]:
    return plant_file(f"opc.tcp://127.0.0.1:{port}/line", {"N1": {"signals": signals}}, **server)


def facts(got: list[Reading], signals: dict[str, Any] = STATE_AND_COUNT) -> list[Any]:
    fold = Fold([MachineSettings("N1", frozenset(signals))])
    latest = {}
    for reading in got:
        fed = fold.feed([reading])
        for fact in fed.retracted:
            latest.pop((fact.kind, fact.key), None)
        latest |= {(f.kind, f.key): f for f in [*fed.facts, *fold.open_facts()]}
    return [*({**latest, **{(f.kind, f.key): f for f in fold.flush()}}.values())]


def said(watching: Watching) -> list[Any]:
    return [r.value for r in watching.of("link") if r.value != "alive"]


def gaps(got: list[Reading]) -> list[Gap]:
    return [f for f in facts(got) if isinstance(f, Gap)]


def counted_in_sight(got: list[Reading]) -> int:
    return sum(f.quantity for f in facts(got) if isinstance(f, Count) and not f.across_gap)


async def test_what_happened_while_the_connection_was_cut_is_read_back(free_port: int) -> None:
    async with (
        keeping(free_port) as plc,
        Proxy(free_port) as proxy,
        Watching(raw(proxy.port)) as watching,
        Watching(raw(proxy.port, history=False)) as other,
    ):
        await other.until_link("back")
        await watching.until_link("back")
        await count_to(plc, 1, 5)
        await watching.until(lambda: watching.values("part_count")[-1] == 5)
        await cut(proxy, watching, plc, 6, 30)
        await watching.until_link("caught_up")
        await other.until_link("back", 2)
        await count_to(plc, 31, 35)
        await watching.until(lambda: watching.values("part_count")[-1] == 35)
        status = watching.supervisor.status
    assert said(watching) == ["back", "lost", "restored", "caught_up"]
    assert sorted(set(watching.values("part_count"))) == list(range(36))
    assert gaps(watching.got) == []
    assert counted_in_sight(watching.got) == 35
    # source times are those of the machine: in order, and none is told twice after the seam
    after = watching.got[max(n for n, r in enumerate(watching.got) if r.value == "caught_up") :]
    assert [r.value for r in after if r.signal == "part_count"] == list(range(31, 36))
    assert status.readbacks == 1
    assert status.last_readback_us is not None
    # one who does not want it keeps the gap
    assert said(other) == ["back", "lost", "back"]
    assert len(gaps(other.got)) == 1


async def test_what_happened_while_we_were_not_running_is_read_back(free_port: int) -> None:
    async with keeping(free_port) as plc:
        async with Watching(raw(free_port)) as first:
            await first.until_link("back")
            await count_to(plc, 1, 5)
            await first.until(lambda: first.values("part_count")[-1] == 5)
        newest_us = max(r.source_us for r in first.got if r.signal == "part_count")
        lost = Reading("N1", "link", newest_us, newest_us, "lost")
        await count_to(plc, 6, 20)
        before = {"N1": Before(newest_us, newest_us, signals=frozenset(STATE_AND_COUNT))}
        async with Watching(raw(free_port), before) as second:
            await second.until_link("caught_up")
            await count_to(plc, 21, 22)
            await second.until(lambda: second.values("part_count")[-1] == 22)
        # had the server's clock been set meanwhile, or the server started anew, its times would prove nothing
        set_since = {"N1": Before(newest_us, newest_us, offset_us=5_000_000)}
        started_since = {"N1": Before(newest_us, newest_us - 60_000_000)}
        async with (
            Watching(raw(free_port), set_since) as third,
            Watching(raw(free_port, clock="server"), started_since) as fourth,
        ):
            await third.until_link("back")
            await fourth.until_link("back")
        assert third.links("restored") == fourth.links("restored") == []
    told = [*first.got, lost, *second.got]
    assert second.links("back") == []
    assert gaps(told) == []
    assert counted_in_sight(told) == 22


async def test_values_lost_in_a_session_that_stands_are_read_back_too(free_port: int) -> None:
    async with keeping(free_port) as plc, Watching(raw(free_port)) as watching:
        await watching.until_link("back")
        await count_to(plc, 1, 4)
        # the server says that its queue ran over; it never does so by itself
        await plc.write("N1/Count", ua.Variant(5, UINT32), status=0x480)
        await watching.until_link("caught_up")
        await count_to(plc, 6, 8)
        await watching.until(lambda: watching.values("part_count")[-1] == 8)
        status = watching.supervisor.status
        assert said(watching) == ["back", "lost", "restored", "caught_up"]
    assert (status.overflows >= 1, status.reconnects, status.readbacks) == (True, 0, 1)
    assert gaps(watching.got) == []
    assert counted_in_sight(watching.got) == 8


async def test_a_signal_without_history_is_not_known_in_the_gap(free_port: int) -> None:
    signals = {**STATE_AND_COUNT, "power": "t:Power"}
    async with (
        keeping(free_port, "N1/Power", Power=100.0) as plc,
        Proxy(free_port) as proxy,
        Watching(raw(proxy.port, {**signals, "power": {"node": "t:Power", "unit": "W"}})) as watching,
    ):
        await watching.until_link("back")
        await cut(proxy, watching, plc, 1, 5)
        await watching.until_link("caught_up")
        await watching.until(lambda: len(watching.values("power")) == 3)
    lost, caught_up = watching.links("lost")[0], watching.links("caught_up")[0]
    _, unknown, known = watching.of("power")
    assert (unknown.value, unknown.quality) == (None, Quality.BAD)
    assert lost.source_us <= unknown.source_us < caught_up.source_us
    assert (known.value, known.source_us >= caught_up.source_us) == (100.0, True)
    assert counted_in_sight(watching.got) == 5


async def test_a_gap_stays_where_it_cannot_be_told_wholly(free_port: int) -> None:
    async with (
        keeping(free_port, "N1/State") as plc,
        Proxy(free_port) as proxy,
        Watching(raw(proxy.port)) as watching,
    ):
        await watching.until_link("back")
        await cut(proxy, watching, plc, 1, 5)
        await watching.until_link("back", 2)
        assert watching.links("restored") == []
        assert watching.supervisor.status.readbacks == 0
    assert len(gaps(watching.got)) == 1


async def test_pages_and_limits_of_the_server_are_followed(
    free_port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One node per call, values in pages with a continuation point, and pages cut off without one."""
    asked: list[tuple[int, int]] = []
    read = HistoryManager.read_history

    async def limited(manager: HistoryManager, params: ua.HistoryReadParameters) -> list[ua.HistoryReadResult]:
        asked.append((len(params.NodesToRead), params.HistoryReadDetails.NumValuesPerNode))
        if len(params.NodesToRead) > 1:
            raise ua.uaerrors.BadTooManyOperations
        return await read(manager, params)

    monkeypatch.setattr(HistoryManager, "read_history", limited)
    monkeypatch.setattr(rawhistory, "PAGE", 9)
    async with (
        keeping(free_port, storage=HistoryDict(max_history_data_response_size=4)) as plc,
        Proxy(free_port) as proxy,
        Watching(raw(proxy.port)) as watching,
    ):
        await watching.until_link("back")
        await cut(proxy, watching, plc, 1, 40)
        await watching.until_link("caught_up")
    assert counted_in_sight(watching.got) == 40
    assert sorted(set(watching.values("part_count"))) == list(range(41))
    assert {most for _, most in asked} == {9, 1}


async def test_nodes_read_one_after_the_other_are_told_up_to_the_same_moment(
    free_port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The machine counts on while histories are read; what was read last must not make the rest come too late."""
    read, last = HistoryManager.read_history, [6]

    async def slowly(manager: HistoryManager, params: ua.HistoryReadParameters) -> list[ua.HistoryReadResult]:
        results = await read(manager, params)
        last.append(last[-1] + 4)
        await count_to(plc, last[-2] + 1, last[-1])
        await asyncio.sleep(AWAY_S)
        await plc.write("N1/State", 4)
        return results

    monkeypatch.setattr(rawhistory, "AT_ONCE", 1)
    monkeypatch.setattr(HistoryManager, "read_history", slowly)
    signals = {"part_count": "t:Count", "state": "t:State"}
    async with (
        keeping(free_port) as plc,
        Proxy(free_port) as proxy,
        Watching(raw(proxy.port, signals, publishing_ms=1000)) as watching,
    ):
        await watching.until_link("back")
        await cut(proxy, watching, plc, 1, 6)
        await watching.until_link("caught_up")
        await watching.until(lambda: len(last) > 2 and watching.values("part_count")[-1] == last[-1])
    told = {(r.signal, r.source_us): r for r in watching.got if r.signal in signals}
    assert len(told) > 2 * last[-1]
    fold = Fold([MachineSettings("N1", frozenset(signals), reorder_us=10_000)])
    late = [batch[n] for batch in watching.batches for n in fold.feed(batch).late]
    assert late == []
    assert sorted(set(watching.values("part_count"))) == list(range(last[-1] + 1))


Results = list[ua.HistoryReadResult]


async def test_a_server_whose_history_is_of_no_use_leaves_a_gap_each_time(
    free_port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One loss after the other, each with another way of not telling; nothing of it ends the session."""
    read, asked = HistoryManager.read_history, [0, 0]
    answer: Callable[[Results], Awaitable[Results]]

    async def other(manager: HistoryManager, params: ua.HistoryReadParameters) -> Results:
        asked[params.ReleaseContinuationPoints] += 1
        if params.ReleaseContinuationPoints:
            return [ua.HistoryReadResult() for _ in params.NodesToRead]
        return await answer(await read(manager, params))

    async def for_ever(results: Results) -> Results:
        for result in results:
            result.ContinuationPoint = b"again"
        return results

    async def refused(_: Results) -> Results:
        raise ua.uaerrors.BadServiceUnsupported

    async def hang_up(results: Results) -> Results:
        proxy.cut()
        return results

    async def garble(results: Results) -> Results:
        # a type of value that cannot be decoded as what it says it is
        results[0].HistoryData = ua.ReadRawModifiedDetails()
        return results

    async def short(results: Results) -> Results:
        return results[1:]

    async def never(results: Results) -> Results:
        await asyncio.sleep(0.7)
        return results

    async def begun_late(results: Results) -> Results:
        for result in results:
            data = result.HistoryData
            data.DataValues = [v for v in data.DataValues if v.SourceTimestamp > datetime.now(UTC) - AWAY]
        return results

    def nothing(code: int) -> Callable[[Results], Awaitable[Results]]:
        async def told(results: Results) -> Results:
            result = ua.HistoryReadResult(StatusCode=ua.StatusCode(code), HistoryData=ua.HistoryData())
            return [result for _ in results]

        return told

    codes = (ua.StatusCodes.BadHistoryOperationUnsupported, ua.StatusCodes.GoodNoData)
    ways = [for_ever, refused, hang_up, garble, short, never, begun_late, *map(nothing, codes)]
    monkeypatch.setattr(HistoryManager, "read_history", other)
    monkeypatch.setattr(readback, "LIMIT_S", 0.5)
    monkeypatch.setattr(readback, "LAG_S", 0.05)
    async with keeping(free_port) as plc, Proxy(free_port) as proxy, Watching(raw(proxy.port)) as watching:
        await watching.until_link("back")
        for number, answer in enumerate(ways, 1):
            await cut(proxy, watching, plc, 5 * number - 4, 5 * number)
            await watching.until_link("back", number + 1)
            assert len(gaps(watching.got)) == number, answer
            if answer is for_ever:
                # not followed for ever, and given free
                assert 0 < asked[1] <= asked[0] < 20
    assert said(watching)[: 2 * len(ways) + 1] == ["back", *["lost", "back"] * len(ways)]
    assert watching.supervisor.status.readbacks == 0


async def test_a_server_that_was_away_itself_leaves_a_gap_from_its_last_record_to_its_return(
    free_port: int,
) -> None:
    storage = Keeping()
    async with Proxy(free_port) as proxy, Watching(raw(proxy.port)) as watching:
        async with keeping(free_port, storage=storage) as plc:
            await watching.until_link("back")
            proxy.swallow = True
            proxy.cut()
            await watching.until_link("lost")
            await count_to(plc, 1, 5)
            last = plc.nodes["N1/State"]
            await watching.until(lambda: storage._datachanges[plc.nodes["N1/Count"].nodeid][-1].Value.Value == 5)
            await watching.until(lambda: storage._datachanges[last.nodeid][-1].Value.Value == 3)
            recorded = storage._datachanges[last.nodeid][-1].SourceTimestamp
        # what the server finds when it starts has a time of while it was away; that it was seen then, nobody knows
        found = ua.DataValue(
            ua.Variant(3), SourceTimestamp=datetime.now(UTC), ServerTimestamp=datetime.now(UTC) + AHEAD
        )
        storage._datachanges[last.nodeid].append(found)
        async with keeping(free_port, storage=storage):
            proxy.swallow = False
            proxy.cut()
            await watching.until_link("back", 2)
            links = said(watching)
    assert links == ["back", "lost", "restored", "caught_up", "lost", "back"]
    (gap,) = gaps(watching.got)
    assert abs(gap.start_us / 1e6 - recorded.timestamp()) < 0.001
    assert gap.end_us == watching.links("back")[1].source_us
    assert counted_in_sight(watching.got) == 5


async def test_a_server_that_forgot_its_history_leaves_the_whole_gap(free_port: int) -> None:
    async with Proxy(free_port) as proxy, Watching(raw(proxy.port)) as watching:
        async with keeping(free_port):
            await watching.until_link("back")
        await watching.until_link("lost")
        async with keeping(free_port):
            await watching.until_link("back", 2)
    assert watching.links("restored") == []
    assert len(gaps(watching.got)) == 1


async def of_a_tool(free_port: int, kept: str, *writes: tuple[str, float]) -> list[Reading]:
    """What is told after a loss in which a tool with these parts of its life ``kept`` was written to so."""
    file = plant_file("", {"N1": {"signals": STATE_AND_COUNT, "tools": {"objects": "t:Tools"}}})
    async with keeping(free_port) as plc, Proxy(free_port) as proxy:
        tools = await plc.nodes["N1"].add_object(plc.index, "Tools")
        await plc.tool(tools, 1, up=True, indication=1, unit=None, value=3.0, start=1.0, limit=20.0)
        for part, value in (("value", 3.0), ("start", 1.0), ("limit", 20.0)):
            await plc.write(f"Pot1/{part}", value, datetime.now(UTC) - timedelta(hours=1))
            if part in kept.split():
                await plc.server.historize_node_data_change(plc.nodes[f"Pot1/{part}"], period=None)
        await asyncio.sleep(0.05)
        file["servers"][0]["endpoint"] = f"opc.tcp://127.0.0.1:{proxy.port}/line"
        async with Watching(file) as watching:
            await watching.until_link("back")
            proxy.swallow = True
            proxy.cut()
            await watching.until_link("lost")
            for part, value in writes:
                await plc.write(f"Pot1/{part}", value)
                await asyncio.sleep(0.02)
            await asyncio.sleep(AWAY_S)
            proxy.swallow = False
            proxy.cut()
            await watching.until_link("caught_up")
            await watching.until(lambda: watching.values("tools[1].name")[-1] == "Cutter 1")
    restored = watching.got.index(watching.links("restored")[0])
    return watching.got[restored:]


async def test_the_life_of_a_tool_is_read_back_with_all_of_its_parts(free_port: int) -> None:
    # the tool wears, is changed for a new one (start 2 now), and wears again
    writes = (("value", 9.0), ("start", 2.0), ("value", 2.5), ("value", 7.0))
    got = await of_a_tool(free_port, "value start limit", *writes)
    told = [r.value for r in got if r.signal == "tools[1].used" and r.quality == 0]
    # used is the value less the start (OPC 40501-1)
    assert told[-4:] == [8.0, 7.0, 0.5, 5.0]
    assert [r.value for r in got if r.signal == "tools[1].limit"][-1] == 18.0
    # what has no history, such as the name, is not known in between
    name = [r for r in got if r.signal == "tools[1].name"]
    assert [(r.value, r.quality) for r in name] == [(None, Quality.BAD), ("Cutter 1", Quality.GOOD)]


async def test_settings_of_a_life_that_did_not_change_need_no_history(free_port: int) -> None:
    got = await of_a_tool(free_port, "value", ("value", 9.0), ("value", 1.0), ("value", 4.0))
    used = [r for r in got if r.signal == "tools[1].used"]
    assert [(r.value, r.quality) for r in used] == [(8.0, Quality.GOOD), (0.0, Quality.GOOD), (3.0, Quality.GOOD)]
    assert used[0].source_us < used[1].source_us < used[2].source_us < got[-1].received_us


async def test_a_setting_that_changed_without_history_leaves_the_life_unknown(free_port: int) -> None:
    got = await of_a_tool(free_port, "value", ("value", 9.0), ("start", 2.0), ("value", 7.0))
    caught_up = next(r.source_us for r in got if r.value == "caught_up")
    used = [r for r in got if r.signal == "tools[1].used"]
    assert [r.quality for r in used if r.source_us < caught_up] == [Quality.BAD]
    assert used[-1].value == 5.0
