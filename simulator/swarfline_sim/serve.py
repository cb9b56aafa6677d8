"""Runs the plant live: advances the model with the clock and writes what happens to the OPC UA server."""

from __future__ import annotations

import asyncio
import os
import signal
import sys
import time
from collections.abc import Sequence

from asyncua.server.server import Server

from swarfline_sim.display import Display
from swarfline_sim.events import HOUR_US, MINUTE_US, SECOND_US
from swarfline_sim.machine import Machine
from swarfline_sim.server import build_server, endpoint, free_port, mend_library
from swarfline_sim.timeline import Timeline
from swarfline_sim.writer import Sink

TICK_S = 0.05
ENERGY_EVERY_US = 5 * SECOND_US
STRIDE_US = 6 * HOUR_US
STOP_LIMIT_S = 1.0


def now_us() -> int:
    """Real time in microseconds UTC."""
    return time.time_ns() // 1000


async def serve(
    machines: Sequence[Machine],
    timeline: Timeline,
    port: int,
    truth: Sink,
    with_stdin: bool = False,
    layout: str = "standard",
    language: str = "en",
    history: bool = False,
) -> None:
    """Serve until SIGTERM or SIGINT; then write what is still open of the truth, and the totals.

    ``with_stdin``: end also when standard input does, which it does however its other end died.
    ``layout``, ``language`` and ``history`` are those of ``build_server``.
    """
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    if with_stdin:
        loop.add_reader(sys.stdin.fileno(), _look_for_end, loop, stop)
    mend_library()
    port = port or free_port()
    server, displays = await build_server(port, machines, layout, language, history)
    try:
        if await _catch_up(machines, displays, timeline, truth, stop):
            await server.start()
            print(f"swarfline-sim ready {endpoint(port)}", flush=True)
            await _run(machines, displays, timeline, truth, stop)
    finally:
        for machine in machines:
            truth(machine.finish())
        await _stop(server)


def _look_for_end(loop: asyncio.AbstractEventLoop, stop: asyncio.Event) -> None:
    if not os.read(sys.stdin.fileno(), 4096):
        loop.remove_reader(sys.stdin.fileno())
        stop.set()


async def _catch_up(
    machines: Sequence[Machine], displays: Sequence[Display], timeline: Timeline, truth: Sink, stop: asyncio.Event
) -> bool:
    """Bring the model to the present plant time without showing it; False when told to stop."""
    target_us = timeline.plant_us(now_us())
    for machine, display in zip(machines, displays, strict=True):
        while machine.now_us <= target_us:
            batch = machine.advance(_stride(machine, target_us))
            display.note(batch.events)
            truth(batch.truth)
            await asyncio.sleep(0)
            if stop.is_set():
                return False
    for display in displays:
        await display.show_all()
    return True


def _stride(machine: Machine, target_us: int) -> int:
    """Where to advance to next on the way to ``target_us``.

    The last minute is told at the live pace, so that a restart shows the energy of an undisturbed run.
    """
    live_from_us = target_us - MINUTE_US
    if machine.now_us < live_from_us:
        return min(machine.now_us + STRIDE_US, live_from_us)
    machine.tell_energy_every(ENERGY_EVERY_US)
    return target_us + 1


async def _run(
    machines: Sequence[Machine], displays: Sequence[Display], timeline: Timeline, truth: Sink, stop: asyncio.Event
) -> None:
    while not stop.is_set():
        until_us = timeline.plant_us(now_us())
        for machine, display in zip(machines, displays, strict=True):
            batch = machine.advance(until_us + 1)
            await display.show(batch.events, until_us)
            truth(batch.truth)
        try:
            await asyncio.wait_for(stop.wait(), TICK_S)
        except TimeoutError:
            continue


async def _stop(server: Server) -> None:
    """Clients that do not answer must not hold up the end."""
    try:
        await asyncio.wait_for(server.stop(), STOP_LIMIT_S)
    except TimeoutError:
        return
