"""uvicorn, made to end open streams when it is told to stop, and to say when it listens."""

from __future__ import annotations

import socket
from collections.abc import Callable
from types import FrameType

import uvicorn
from fastapi import FastAPI

from swarfline.serve import tls
from swarfline.serve.peers import Peers

GRACE_S = 2
"""Seconds that requests under way are given when the service stops."""

LOOK_TICKS = 600
"""A renewed certificate is looked for once a minute."""

Ready = Callable[[int], None]
"""Called once with the port that is listened on."""


class Server(uvicorn.Server):
    """A uvicorn server for one application."""

    def __init__(self, app: FastAPI, host: str, port: int, ready: Ready | None = None) -> None:
        plant = app.state.room.plant
        certificate, key = tls.files(plant) or (None, None)
        super().__init__(
            uvicorn.Config(
                Peers(app, plant.listen),
                host=host,
                port=port,
                lifespan="off",
                log_config=None,
                access_log=False,
                server_header=False,
                # ours are before the application, and believe nobody unasked
                proxy_headers=False,
                ssl_certfile=certificate,
                ssl_keyfile=key,
                timeout_graceful_shutdown=GRACE_S,
            )
        )
        self._hubs = tuple(app.state.hubs.values())
        self._ready = ready
        self._renewal = tls.Renewal(plant)

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Listen, then say on which port."""
        await super().startup(sockets)
        if self.started and self._ready is not None:
            self._ready(self.port)

    async def on_tick(self, counter: int) -> bool:
        """Ten times a second; whether to stop."""
        if counter % LOOK_TICKS == 0 and self.config.ssl is not None:
            self._renewal.look(self.config.ssl)
        return await super().on_tick(counter)

    @property
    def port(self) -> int:
        """The port that is listened on."""
        port: int = self.servers[0].sockets[0].getsockname()[1]
        return port

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """A signal to stop: an open stream would keep uvicorn waiting for ever."""
        self._close()
        super().handle_exit(sig, frame)

    def stop(self) -> None:
        """Stop from within the event loop; ``serve`` then returns."""
        self._close()
        self.should_exit = True

    def _close(self) -> None:
        for hub in self._hubs:
            hub.close()


def make_server(app: FastAPI, host: str, port: int, ready: Ready | None = None) -> Server:
    """A server that is not running yet: ``await server.serve()`` runs it, ``server.stop()`` ends it."""
    return Server(app, host, port, ready)


async def serve(app: FastAPI, host: str, port: int, ready: Ready | None = None) -> None:
    """Serve until a signal to stop; port 0 takes a free one, which ``ready`` is told."""
    await make_server(app, host, port, ready).serve()
