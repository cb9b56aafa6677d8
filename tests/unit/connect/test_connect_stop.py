"""Whatever a supervisor is doing when it is told to stop, it stops."""

from __future__ import annotations

import asyncio
import contextlib

import pytest
from asyncua import ua

from swarfline.connect import Supervisor
from swarfline.connect.session import Session
from swarfline.connect.tasks import stop, within
from swarfline.plant.load import check

from .plc import Plc
from .watching import STATE_AND_COUNT, plant_file

LIMIT_S = 5.0


async def stopped_after(steps: int, url: str, access: str) -> bool:
    """Whether a supervisor ends that is cancelled when the loop has turned so often."""
    plant = check(plant_file(url, {"N1": {"signals": STATE_AND_COUNT}}, access=access), "plant.toml")
    task = asyncio.create_task(Supervisor(plant.servers[0], plant, lambda _: True).run())
    for _ in range(steps):
        await asyncio.sleep(0)
    task.cancel()
    done, _ = await asyncio.wait([task], timeout=LIMIT_S)
    if not done:
        task.cancel()
        await asyncio.wait([task], timeout=LIMIT_S)
    return bool(done)


@pytest.mark.parametrize("access", ["subscribe", "read"])
async def test_stops_at_any_step_of_a_refused_connection(free_port: int, access: str) -> None:
    # a cancellation that meets the failure it waits for can be lost on the way, see connect/tasks.py
    url = f"opc.tcp://127.0.0.1:{free_port}/line"
    deaf = [steps for steps in range(60) if not await stopped_after(steps, url, access)]
    assert deaf == []


@pytest.mark.parametrize("access", ["subscribe", "read"])
async def test_stops_at_any_step_of_a_session(free_port: int, access: str) -> None:
    async with Plc(free_port) as plc:
        await plc.machine("N1", State=3, Count=ua.Variant(0, ua.VariantType.UInt32))
        assert [steps for steps in range(0, 400, 9) if not await stopped_after(steps, plc.url, access)] == []


async def test_a_lost_cancellation_is_told_again() -> None:
    async def deaf_once() -> None:
        with contextlib.suppress(asyncio.CancelledError):
            await asyncio.sleep(60)
        await asyncio.sleep(60)

    task = asyncio.create_task(deaf_once())
    await asyncio.sleep(0)
    await asyncio.wait_for(stop([task, None]), LIMIT_S)
    assert task.cancelled()


class Adorned(asyncio.CancelledError):
    """What the library's wait_for raises when a cancellation meets the result: found by a soak under load."""


async def adorned() -> None:
    try:
        await asyncio.sleep(60)
    except asyncio.CancelledError:
        raise Adorned from None


async def test_a_time_limit_holds_whatever_the_cancellation_becomes() -> None:
    with pytest.raises(TimeoutError):
        async with within(0.01):
            await adorned()
    task = asyncio.current_task()
    assert task is not None
    assert not task.cancelling()


async def test_a_cancellation_from_outside_goes_through_a_time_limit() -> None:
    async def limited() -> None:
        async with within(60):
            await adorned()

    task = asyncio.create_task(limited())
    await asyncio.sleep(0)
    task.cancel()
    await asyncio.wait([task], timeout=LIMIT_S)
    assert task.cancelled()


async def test_a_stray_cancellation_does_not_end_the_watching(monkeypatch: pytest.MonkeyPatch) -> None:
    async def stray(_session: Session) -> None:
        raise Adorned

    monkeypatch.setattr(Session, "run", stray)
    plant = check(plant_file("opc.tcp://127.0.0.1:9/line", {"N1": {"signals": STATE_AND_COUNT}}), "plant.toml")
    supervisor = Supervisor(plant.servers[0], plant, lambda _: True)
    task = asyncio.create_task(supervisor.run())
    async with asyncio.timeout(LIMIT_S):
        while supervisor.status.state != "waiting":
            await asyncio.sleep(0)
    assert supervisor.status.last_error == "a request was given up"
    task.cancel()
    await asyncio.wait([task], timeout=LIMIT_S)
    assert task.cancelled()
