"""Servers that watch few items or none, that grant less than was asked, or take one thing at a time."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Any

import pytest
from asyncua import ua
from asyncua.common.utils import ServiceError
from asyncua.server.internal_session import InternalSession
from asyncua.server.uaprocessor import UaProcessor
from asyncua.ua.ua_binary import struct_from_binary

from swarfline.connect import services
from swarfline.connect.granted import Grant, remarks
from swarfline.connect.status import PACE_US, Pace
from swarfline.plant.load import check

from .plc import Plc
from .watching import STATE_AND_COUNT, Watching, plant_file

UINT32 = ua.VariantType.UInt32
TWO = {name: {"signals": STATE_AND_COUNT} for name in ("N1", "N2")}
Create = Callable[[ua.CreateMonitoredItemsParameters], Awaitable[list[ua.MonitoredItemCreateResult]]]
Refusal = Callable[[Create], Create]


def most_items(most: int, is_fault: bool) -> Refusal:
    """A server that watches so many items; the others fail one by one, or the whole call does."""

    def refusing(create: Create) -> Create:
        granted = 0

        async def some(params: ua.CreateMonitoredItemsParameters) -> list[ua.MonitoredItemCreateResult]:
            nonlocal granted
            asked, room = params.ItemsToCreate, most - granted
            if is_fault and len(asked) > room:
                raise ServiceError(ua.StatusCodes.BadTooManyMonitoredItems)
            params.ItemsToCreate = asked[:room]
            results = await create(params) if params.ItemsToCreate else []
            granted += len(results)
            code = ua.StatusCode(ua.StatusCodes.BadTooManyMonitoredItems)
            return [*results, *(ua.MonitoredItemCreateResult(StatusCode=code) for _ in asked[room:])]

        return some

    return refusing


def watches_nothing(_create: Create) -> Create:
    async def none(_params: ua.CreateMonitoredItemsParameters) -> list[ua.MonitoredItemCreateResult]:
        raise ServiceError(ua.StatusCodes.BadServiceUnsupported)

    return none


async def test_what_a_server_does_not_watch_is_read_in_a_cycle_and_said(free_port: int) -> None:
    async with Plc(free_port) as plc:
        for name in TWO:
            await plc.machine(name, State=3, Count=ua.Variant(0, UINT32))
        service = plc.server.iserver.subscription_service
        create = service.create_monitored_items
        for refusing, watched in ((most_items(3, True), 3), (most_items(1, False), 1), (watches_nothing, 0)):
            await plc.write("N2/Count", ua.Variant(0, UINT32))
            service.create_monitored_items = refusing(create)
            async with Watching(plant_file(plc.url, TWO)) as watching:
                await watching.until_link("back", machine="N2")
                for count in range(1, 4):
                    await plc.write("N2/Count", ua.Variant(count, UINT32))
                    await watching.until(lambda count=count: watching.values("part_count", "N2")[-1] == count)
                status = watching.supervisor.status
                assert {r.quality for r in watching.got if r.signal in STATE_AND_COUNT} == {0}
            assert watching.values("part_count", "N2") == [0, 1, 2, 3]
            assert (status.refused, status.signals, status.attempts) == ({}, 4, 1)
            (remark,) = status.remarks
            assert f"watches {watched} items and not {4 - watched} others" in remark or watched == 0
            assert "what is shorter than a cycle is missed" in remark


SIZES: dict[str, Callable[[Any], int]] = {
    "read": lambda asked: len(asked.NodesToRead),
    "browse": lambda asked: len(asked.NodesToBrowse),
    "translate_browsepaths_to_nodeids": len,
    "create_monitored_items": lambda asked: len(asked.ItemsToCreate),
}


async def test_one_thing_at_a_time_is_enough(free_port: int, monkeypatch: pytest.MonkeyPatch) -> None:
    def limited(name: str, call: Callable[..., Any]) -> Callable[..., Any]:
        async def one(self: InternalSession, asked: Any, *more: Any) -> Any:
            if self.external and SIZES[name](asked) > 1:
                raise ServiceError(ua.StatusCodes.BadTooManyOperations)
            answers[name] += 1
            return await call(self, asked, *more)

        return one

    answers = dict.fromkeys(SIZES, 0)
    async with Plc(free_port) as plc:
        place = await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))
        tools = await place.add_object(plc.index, "Tools")
        for pot in (1, 2):
            await plc.tool(tools, pot, up=True, indication=2, unit=None, value=pot)
        for name in SIZES:
            monkeypatch.setattr(InternalSession, name, limited(name, getattr(InternalSession, name)))
        raw = plant_file(plc.url, {"N1": {"signals": STATE_AND_COUNT, "tools": {"objects": "t:Tools"}}})
        async with Watching(raw) as watching:
            await watching.until_link("back")
            status = watching.supervisor.status
    assert (status.refused, status.attempts) == ({}, 1)
    assert status.clock_offset_us is not None
    assert abs(status.clock_offset_us) < 500_000
    assert watching.values("tools[2].used") == [2.0]
    assert all(answers.values())


class Paged:
    """Browsing page by page, with one continuation point at a time, or with pages that never end."""

    def __init__(self, is_endless: bool = False) -> None:
        self.held: list[ua.ReferenceDescription] = []
        self._is_endless = is_endless
        self.pages = 0

    def browse(self, call: Callable[..., Any]) -> Callable[..., Any]:
        async def browse(session: InternalSession, asked: ua.BrowseParameters) -> list[ua.BrowseResult]:
            results = await call(session, asked)
            return [self._first_page(result) if session.external else result for result in results]

        return browse

    def _first_page(self, result: ua.BrowseResult) -> ua.BrowseResult:
        if len(result.References) < 2:
            return result
        if self.held:
            return ua.BrowseResult(StatusCode=ua.StatusCode(ua.StatusCodes.BadNoContinuationPoints))
        self.held = result.References[1:]
        result.References, result.ContinuationPoint = result.References[:1], b"1"
        return result

    def process(self, call: Callable[..., Any]) -> Callable[..., Any]:
        """The library's server knows no BrowseNext."""

        async def process(processor: UaProcessor, kind: ua.NodeId, header: Any, sequence: Any, body: Any) -> Any:
            if kind != ua.NodeId(ua.ObjectIds.BrowseNextRequest_Encoding_DefaultBinary):
                return await call(processor, kind, header, sequence, body)
            response = ua.BrowseNextResponse()
            response.Parameters.Results = [self._next_page(struct_from_binary(ua.BrowseNextParameters, body))]
            processor.send_response(header.RequestHandle, sequence, response)
            return True

        return process

    def _next_page(self, asked: ua.BrowseNextParameters) -> ua.BrowseResult:
        self.pages += 1
        if asked.ReleaseContinuationPoints:
            self.held = []
            return ua.BrowseResult()
        page = self.held[:1]
        self.held = self.held if self._is_endless else self.held[1:]
        return ua.BrowseResult(References=page, ContinuationPoint=b"1" if self.held else None)


async def test_lists_of_tools_come_page_by_page_and_have_an_end(
    free_port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(services, "MOST_CHILDREN", 50)
    async with Plc(free_port) as plc:
        place = await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))
        tools = await place.add_object(plc.index, "Tools")
        for magazine in (10, 20):
            holder = await tools.add_object(plc.index, f"Magazine{magazine}")
            for pot in range(magazine, magazine + 3):
                await plc.tool(holder, pot, up=True, indication=2, unit=None, value=pot)
        raw = plant_file(plc.url, {"N1": {"signals": STATE_AND_COUNT, "tools": {"objects": "t:Tools"}}})
        browse, process = InternalSession.browse, UaProcessor._process_message
        for paged in (Paged(), Paged(is_endless=True)):
            monkeypatch.setattr(InternalSession, "browse", paged.browse(browse))
            monkeypatch.setattr(UaProcessor, "_process_message", paged.process(process))
            async with Watching(raw) as watching:
                await watching.until_link("back")
                refused = watching.supervisor.status.refused
            pots = {signal for _, signal, *_ in watching.got if signal.endswith(".used")}
            if paged._is_endless:
                assert "cannot be browsed" in refused["N1/tools"]
                assert (pots, paged.held) == (set(), [])
            else:
                assert refused == {}
                assert pots == {f"tools[{pot}].used" for pot in (10, 11, 12, 20, 21, 22)}
            assert 0 < paged.pages < 60


SERVER = check(plant_file("opc.tcp://127.0.0.1:4840", TWO, publishing_ms=500, sampling_ms=100), "x").servers[0]


@pytest.mark.parametrize(
    ("grant", "words"),
    [
        (Grant(500.0, 250.0, 200, 4, 0), []),
        (Grant(5000.0, 250.0, 200, 4, 0), ["sends every 5000 ms, not every 500 ms"]),
        (Grant(500.0, 2000.0, 200, 4, 0), ["samples some signals every 2000 ms only"]),
        (Grant(500.0, 100.0, 1, 4, 0), ["keeps 1 value(s) of a signal between two messages, of up to 5"]),
        (Grant(500.0, 100.0, 5, 4, 0), []),
        (Grant(500.0, 100.0, 200, 3, 1), ["watches 3 items and not 1 others"]),
        (Grant(None, 100.0, None, 0, 4), ["watches nothing"]),
        (Grant(5000.0, 100.0, 5, 4, 0), ["sends every", "keeps 5 value(s)"]),
        (Grant(None, None, None, 0, 0), []),
    ],
)
def test_less_than_asked_is_said(grant: Grant, words: list[str]) -> None:
    said = [remark.found for remark in remarks(SERVER, grant)]
    assert len(said) == len(words)
    assert all(text.startswith(word) for text, word in zip(said, words, strict=True))


async def test_a_server_that_revises_everything_down_is_said_to_and_goes_on(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))
        service = plc.server.iserver.subscription_service
        create = service.create_subscription

        async def slower(params: ua.CreateSubscriptionParameters, *more: Any, **named: Any) -> Any:
            params.RequestedPublishingInterval = 1000.0
            return await create(params, *more, **named)

        service.create_subscription = slower
        plc.server.iserver.max_monitored_item_queue_size = 1
        async with Watching(plant_file(plc.url, {"N1": {"signals": STATE_AND_COUNT}})) as watching:
            await watching.until_link("back")
            await plc.write("N1/Count", ua.Variant(1, UINT32))
            await watching.until(lambda: watching.values("part_count")[-1] == 1)
            status = watching.supervisor.status
    assert status.revised_publishing_ms == 1000.0
    assert any("sends every 1000 ms, not every 100 ms as asked" in remark for remark in status.remarks)


def test_changes_per_second_are_of_whole_spans() -> None:
    pace = Pace()
    assert pace.per_s(0) is None
    for tenth in range(100):
        pace.add(3, tenth * PACE_US // 100)
    assert pace.per_s(PACE_US - 1) is None
    assert pace.per_s(PACE_US) == 300 / (PACE_US / 1e6)
    assert pace.per_s(2 * PACE_US) == 0.0
    pace.add(7, 0)
    assert pace.per_s(5) == 0.0, "a clock that was set back"
