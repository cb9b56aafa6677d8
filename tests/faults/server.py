"""The simulator with something wrong: ``python server.py TROUBLE`` and then its own arguments.

Troubles that have a moment begin, and those that have an end are over, at SIGUSR1.
"""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable
from datetime import datetime, timedelta, tzinfo
from typing import Any

from asyncua import ua
from asyncua.server import internal_server
from asyncua.server.address_space import AddressSpace, AttributeService
from asyncua.ua import uaprotocol_auto

import swarfline_sim.display
import swarfline_sim.namespaces
import swarfline_sim.serve
import swarfline_sim.server
from swarfline_sim.cli import main


class Switch:
    """Turned by each signal."""

    def __init__(self, is_on: bool = False) -> None:
        self.is_on = is_on
        signal.signal(signal.SIGUSR1, self._turn)

    def _turn(self, *_: object) -> None:
        self.is_on = not self.is_on


def none(_: str) -> None:
    """Nothing is wrong."""


def sessions(_: str) -> None:
    """While it is on, no new session is to be had (BadTooManySessions)."""
    switch = Switch()
    create = internal_server.InternalServer.create_session

    def refuse(server: Any, *args: Any, **more: Any) -> Any:
        if switch.is_on and more.get("external"):
            raise ua.uaerrors.BadTooManySessions
        return create(server, *args, **more)

    internal_server.InternalServer.create_session = refuse


def namespaces(_: str) -> None:
    """The namespaces stand in another order, and our own nodes have other identifiers."""
    swarfline_sim.server.URIS = dict(reversed(swarfline_sim.namespaces.URIS.items()))
    own = swarfline_sim.namespaces.Namespaces.own
    swarfline_sim.namespaces.Namespaces.own = lambda names, path: own(names, f"again:{path}")


def half(_: str) -> None:
    """Until it is turned off the server does not know every second variable, those of tools apart."""
    switch = Switch(True)

    def is_missing(node: ua.NodeId) -> bool:
        path = str(node.Identifier)
        is_chosen = node.NamespaceIndex > 0 and "Tools" not in path and sum(path.encode()) % 2 == 0
        return switch.is_on and is_chosen

    add = AddressSpace.add_datachange_callback
    read = AttributeService.read

    def refuse(aspace: AddressSpace, node: ua.NodeId, *more: Any) -> Any:
        if is_missing(node):
            return ua.StatusCode(ua.StatusCodes.BadNodeIdUnknown), 0
        return add(aspace, node, *more)

    def missing(service: AttributeService, params: ua.ReadParameters) -> list[ua.DataValue]:
        unknown = ua.DataValue(StatusCode=ua.StatusCode(ua.StatusCodes.BadNodeIdUnknown))
        values = read(service, params)
        return [
            unknown if is_missing(wanted.NodeId) else value
            for wanted, value in zip(params.NodesToRead, values, strict=True)
        ]

    AddressSpace.add_datachange_callback = refuse
    AttributeService.read = missing


def clock(seconds: str) -> None:
    """From the signal on the server's clock is off, in every stamp that it gives. Its machine never stops."""
    sys.argv.append("--calm")
    switch = Switch()
    step = timedelta(seconds=float(seconds))
    moment = swarfline_sim.display.moment

    class Clock(datetime):
        @classmethod
        def now(cls, tz: tzinfo | None = None) -> datetime:
            return datetime.now(tz) + (step if switch.is_on else timedelta())

    swarfline_sim.display.moment = lambda us: moment(us) + (step if switch.is_on else timedelta())
    for module in (internal_server, uaprotocol_auto):
        module.datetime = Clock


def secured(pair: str) -> None:
    """No connection but with Basic256Sha256, signed and encrypted; with the certificate PAIR.der and PAIR.pem."""
    build = swarfline_sim.server.build_server

    async def build_secured(*args: Any) -> Any:
        server, displays = await build(*args)
        server.set_security_policy([ua.SecurityPolicyType.Basic256Sha256_SignAndEncrypt])
        await server.load_certificate(f"{pair}.der")
        await server.load_private_key(f"{pair}.pem")
        return server, displays

    swarfline_sim.serve.build_server = build_secured


TROUBLES: dict[str, Callable[[str], None]] = {
    "none": none,
    "sessions": sessions,
    "namespaces": namespaces,
    "half": half,
    "clock": clock,
    "secured": secured,
}

if __name__ == "__main__":
    name, _, detail = sys.argv[1].partition(":")
    TROUBLES[name](detail)
    sys.exit(main(sys.argv[2:]))
