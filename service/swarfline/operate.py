"""Runs a plant in one process: collector, page, or both, until a signal to stop."""

from __future__ import annotations

import asyncio
import logging
import signal
import socket
from collections.abc import Callable, Coroutine
from contextlib import nullcontext
from typing import Any

from swarfline.collect import Collector
from swarfline.live import Live
from swarfline.plant import Plant
from swarfline.reporting import Reporting
from swarfline.serve.app import create_app
from swarfline.serve.page.words import TONGUES
from swarfline.serve.server import Server, make_server
from swarfline.store import Store

log = logging.getLogger("swarfline")


class Unready(Exception):
    """Nobody could sign in; the message says what to do."""


def require_users(plant: Plant, store: Store) -> None:
    """Raises Unready where people have to sign in and there is nobody who could."""
    if plant.listen.users and not store.users.all():
        raise Unready(
            f"{plant.path}: [listen] says users = true, and there is no user yet; make the first one: "
            f"swarfline user add {plant.path} NAME --role engineer"
        )


class Occupied(Exception):
    """The address cannot be listened on; the message says what to do."""


def listen(host: str, port: int) -> socket.socket:
    """A socket bound to the address, before anything else is begun; raises Occupied."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # only where the protocol is named does asyncio switch off Nagle's delay, which costs 40 ms an answer
    bound = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind((host, port))
    except OSError as problem:
        bound.close()
        raise Occupied(
            f"cannot listen on {host} port {port}: {problem.strerror}; end what listens there, or choose "
            "another port"
        ) from None
    return bound


async def operate(
    plant: Plant, store: Store, door: socket.socket | None, collect: bool, ready: Callable[[int], None]
) -> None:
    """Run until SIGINT or SIGTERM; ``door`` None: without page and API. ``ready`` is told the page's port.

    Raises StoreError when another process collects already, and the defect that ended a part of it; the other part
    is stopped then.
    """
    with store.claimed() if collect else nullcontext():
        await _operate(plant, store, door, collect, ready)


async def _operate(
    plant: Plant, store: Store, door: socket.socket | None, collect: bool, ready: Callable[[int], None]
) -> None:
    stop = asyncio.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        asyncio.get_running_loop().add_signal_handler(number, stop.set)
    live = Live()
    collector = Collector(plant, store, live, tongues=TONGUES) if collect else None
    reporting = Reporting(plant, store) if collect and plant.reports else None
    server = _server(plant, store, live, ready) if door is not None else None
    running: list[Coroutine[Any, Any, None]] = []
    if collector is not None:
        running.append(collector.run())
    if reporting is not None:
        running.append(reporting.run())
    if server is not None and door is not None:
        running.append(server.serve(sockets=[door]))
    tasks = [asyncio.create_task(part) for part in running]
    stopped = asyncio.create_task(stop.wait())
    await asyncio.wait([stopped, *tasks], return_when=asyncio.FIRST_COMPLETED)
    stopped.cancel()
    if server is not None:
        server.stop()
    if collector is not None:
        collector.stop()
    if reporting is not None:
        reporting.stop()
    await asyncio.gather(*tasks)


def _server(plant: Plant, store: Store, live: Live, ready: Callable[[int], None]) -> Server:
    return make_server(create_app(plant, store, live), plant.listen.host, plant.listen.port, ready)
