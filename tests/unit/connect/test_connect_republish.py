"""Lost messages: asked for once more where the server still has them, and told as a gap where not."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from asyncua import ua
from asyncua.common.utils import ServiceError
from asyncua.server.uaprocessor import UaProcessor
from hypothesis import given
from hypothesis import strategies as st

from swarfline.connect.numbering import LAST_NUMBER, MOST_MISSING, Numbering

from .plc import Plc
from .watching import STATE_AND_COUNT, Watching, plant_file

UINT32 = ua.VariantType.UInt32
ONE = {"N1": {"signals": STATE_AND_COUNT}}


def message(number: int, is_keep_alive: bool = False) -> ua.NotificationMessage:
    data = [] if is_keep_alive else [ua.DataChangeNotification()]
    return ua.NotificationMessage(SequenceNumber=number, NotificationData=data)


@given(first=st.integers(1, LAST_NUMBER), lost=st.integers(1, MOST_MISSING), is_keep_alive=st.booleans())
def test_the_missing_numbers_are_those_between_and_zero_is_none(
    first: int, lost: int, is_keep_alive: bool
) -> None:
    # OPC 10000-4, Counter (from memory): numbers begin at 1, and 1 comes again after the largest UInt32
    numbers = [(first - 1 + n) % LAST_NUMBER + 1 for n in range(lost + 2)]
    numbering = Numbering()
    assert numbering.jump(message(numbers[0])) == ()
    assert numbering.jump(message(numbers[-1], is_keep_alive)) == tuple(numbers[1:-1])
    assert numbering.jump(message(numbers[-1] if is_keep_alive else numbers[-1] % LAST_NUMBER + 1)) == ()


def test_a_number_that_lies_back_is_a_loss_of_unknown_size() -> None:
    numbering = Numbering()
    numbering.jump(message(50))
    assert numbering.jump(message(20)) == (20,)
    assert numbering.jump(message(21)) == ()
    assert numbering.jump(message(23 + MOST_MISSING)) == (23 + MOST_MISSING,)


class Losing:
    """Makes the server lose the first change of its next message with two or more, in a message of its own."""

    def __init__(self, plc: Plc) -> None:
        (self._subscription,) = plc.server.iserver.subscription_service.subscriptions.values()
        self._pop = self._subscription._pop_publish_result
        self._subscription._pop_publish_result = self._popped
        self.asked: list[int] = []
        self.republish = self._subscription.republish
        self.armed = True

    def _popped(self) -> ua.PublishResult:
        waiting = self._subscription._triggered_datachanges
        if self.armed and sum(map(len, waiting.values())) > 1:
            self.armed = False
            ((item, changes),) = waiting.items()
            self._subscription._triggered_datachanges = {item: changes[:1]}
            self._pop()
            self._subscription._triggered_datachanges = {item: changes[1:]}
        return self._pop()

    def answering(self, answer: Callable[[int], Any]) -> None:
        """What Republish gives for a number."""

        def republish(number: int) -> Any:
            self.asked.append(number)
            return answer(number)

        self._subscription.republish = republish


async def count_to(plc: Plc, last: int) -> None:
    for count in range(1, last + 1):
        await plc.write("N1/Count", ua.Variant(count, UINT32))


@contextlib.asynccontextmanager
async def about_to_lose(port: int, **server: Any) -> Any:
    async with Plc(port) as plc:
        await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))
        async with Watching(plant_file(plc.url, ONE, **server)) as watching:
            await watching.until_link("back")
            yield plc, watching, Losing(plc)


async def test_a_lost_message_that_the_server_still_has_is_no_loss(free_port: int) -> None:
    async with about_to_lose(free_port) as (plc, watching, losing):
        losing.answering(losing.republish)
        await count_to(plc, 4)
        await watching.until(lambda: 4 in watching.values("part_count"))
        status = watching.supervisor.status
    assert watching.values("part_count") == [0, 1, 2, 3, 4]
    assert len(losing.asked) == 1, "only what is missing is asked for, once"
    assert (status.sequence_gaps, status.republished, watching.links("lost")) == (0, 1, [])


def nothing(_number: int) -> ua.NotificationMessage:
    """As some servers do that know no BadMessageNotAvailable."""
    return ua.NotificationMessage()


def another(number: int) -> ua.NotificationMessage:
    return ua.NotificationMessage(SequenceNumber=number + 1, NotificationData=[ua.DataChangeNotification()])


def not_available(_number: int) -> None:
    raise ServiceError(ua.StatusCodes.BadMessageNotAvailable)


def unsupported(_number: int) -> None:
    raise ServiceError(ua.StatusCodes.BadServiceUnsupported)


async def test_where_it_cannot_be_had_the_loss_is_told(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=3, Count=ua.Variant(0, UINT32))
        for answer in (nothing, another, not_available, unsupported):
            async with Watching(plant_file(plc.url, ONE)) as watching:
                await watching.until_link("back")
                losing = Losing(plc)
                losing.answering(answer)
                await count_to(plc, 4)
                await watching.until_link("back", 2)
                losing.armed = True
                await count_to(plc, 4)
                await watching.until_link("back", 3)
                status = watching.supervisor.status
            assert (status.sequence_gaps, status.republished, status.reconnects) == (2, 0, 0)
            assert len(watching.links("lost")) == 2
            assert len(losing.asked) == (1 if answer is unsupported else 2)


async def test_a_server_that_keeps_nothing_is_not_asked(free_port: int) -> None:
    async with about_to_lose(free_port) as (plc, watching, losing):
        losing.answering(losing.republish)
        losing._subscription._no_acks_limit = 0
        await count_to(plc, 4)
        await watching.until_link("back", 2)
    assert losing.asked == []


async def test_a_republish_without_answer_holds_nothing_up_for_long(
    free_port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    send, swallowed = UaProcessor.send_response, []

    def send_most(self: UaProcessor, handle: int, header: Any, response: Any, *more: Any) -> None:
        if isinstance(response, ua.RepublishResponse):
            swallowed.append(handle)
        else:
            send(self, handle, header, response, *more)

    monkeypatch.setattr(UaProcessor, "send_response", send_most)
    async with about_to_lose(free_port, timeout_s=0.5) as (plc, watching, _):
        await count_to(plc, 4)
        await watching.until_link("back", 2)
        await plc.write("N1/Count", ua.Variant(9, UINT32))
        await watching.until(lambda: watching.values("part_count")[-1] == 9)
    assert len(swallowed) == 1


async def test_the_pieces_of_one_cycle_are_sorted_together(free_port: int) -> None:
    """A server that cuts a cycle in pieces does so by item, not by time."""
    async with about_to_lose(free_port) as (plc, watching, losing):
        losing.armed = False
        (subscription,) = plc.server.iserver.subscription_service.subscriptions.values()
        pop = subscription._pop_publish_result

        def piece() -> ua.PublishResult:
            (item, changes), *rest = [*subscription._triggered_datachanges.items()] or [(0, [])]
            subscription._triggered_datachanges = {item: changes} if changes else {}
            result = pop()
            result.MoreNotifications = bool(rest)
            subscription._triggered_datachanges = dict(rest)
            return result

        subscription._pop_publish_result = piece
        begin = datetime.now(UTC)
        for n in range(1, 11):
            await plc.write("N1/State", 3 - n % 2, begin + timedelta(milliseconds=2 * n))
            await plc.write("N1/Count", ua.Variant(n, UINT32), begin + timedelta(milliseconds=2 * n + 1))
        await watching.until(lambda: 10 in watching.values("part_count"))
        status = watching.supervisor.status
    live = [reading for reading in watching.got if reading.source_us > begin.timestamp() * 1e6]
    values = [r for r in live if r.signal in STATE_AND_COUNT]
    assert len(values) == 20
    assert [r.source_us for r in values] == sorted(r.source_us for r in values)
    assert (status.sequence_gaps, status.overflows) == (0, 0)
