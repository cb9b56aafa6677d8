"""The library's client: how one is made for a server, and how nothing of it is left behind."""

from __future__ import annotations

import contextlib
import logging
from collections.abc import Awaitable, Callable

from asyncua import Client

from swarfline.connect.chunks import bound_chunks
from swarfline.connect.secure import secure
from swarfline.connect.tasks import stop, within
from swarfline.connect.turns import turn
from swarfline.plant.model import Server

SESSION_TIMEOUT_MS = 60_000
"""An abandoned session must not occupy the server for long."""
CLOSE_S = 1.0
_REQUESTS_AT_ONCE = 4
_NO_WATCHDOG_S = 86_400


def new_client(server: Server, on_lost: Callable[[BaseException], Awaitable[None]] | None = None) -> Client:
    """A client for one session with a server; ``on_lost`` is told when the connection breaks."""
    # the library logs every failed request, some of them each second; what matters is said by us
    logging.getLogger("asyncua").setLevel(logging.CRITICAL)
    client = Client(server.endpoint, timeout=server.timeout_s, watchdog_intervall=_NO_WATCHDOG_S)
    client.session_timeout = SESSION_TIMEOUT_MS
    client.name = client.description = "Swarfline"
    client.application_uri = "urn:swarfline:collector"
    client.product_uri = "urn:swarfline"
    client.set_max_concurrent_requests(_REQUESTS_AT_ONCE)
    client.connection_lost_callback = on_lost
    bound_chunks(client, server.id)
    return client


def attempt_s(server: Server) -> float:
    """How long an attempt to connect may take, with all that it asks."""
    return 3 * server.timeout_s


async def connect(client: Client, server: Server, plant_path: str) -> None:
    """Connect as the plant file at ``plant_path`` says, a few servers at once.

    Raises TimeoutError for a server that is too slow at it, Ended where it must not be trusted.
    """
    async with turn(), within(attempt_s(server)):
        await secure(client, server, plant_path)
        await client.connect()


async def leave(client: Client, orderly: bool) -> None:
    """Leave nothing behind: the library's own tasks and socket survive a plain disconnect."""
    protocol = client.uaclient.protocol
    client.uaclient.request_disconnect()
    if orderly and protocol is not None and not protocol.is_closed:
        with contextlib.suppress(Exception):
            async with within(CLOSE_S):
                await client.uaclient.close_session(True)
    await stop(
        [
            client._renew_channel_task,
            client._supervisor_task,
            client._stale_watchdog_task,
            client.uaclient.session._publish_task,
        ]
    )
    if protocol is not None and protocol.transport is not None:
        protocol.transport.abort()
