"""The OPC UA server of the plant, on the loopback only, without security: a simulator, not a product."""

from __future__ import annotations

import logging
import socket
from collections.abc import Callable, Sequence

from asyncua import ua
from asyncua.server.internal_subscription import InternalSubscription
from asyncua.server.monitored_item_service import MonitoredItemValues
from asyncua.server.server import Server
from asyncua.ua.object_ids import ObjectIds

from swarfline_sim.bindings import Bindings
from swarfline_sim.controlvariables import ControlVariables
from swarfline_sim.display import Display, moment
from swarfline_sim.keeping import Keeper
from swarfline_sim.layout import MachineLayout
from swarfline_sim.machine import Machine
from swarfline_sim.namespaces import URIS, Namespaces, standard
from swarfline_sim.nodes import FOLDER, ORGANIZES, NodeBuilder
from swarfline_sim.spec import MachineSpec
from swarfline_sim.types import build_types

HOST = "127.0.0.1"
PATH = "/swarfline-sim"

Bind = Callable[[MachineSpec], Bindings]
"""Adds a machine's nodes."""


def free_port() -> int:
    """A TCP port of the loopback that nobody uses now."""
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])


def endpoint(port: int) -> str:
    """The server's address."""
    return f"opc.tcp://{HOST}:{port}{PATH}"


def mend_library() -> None:
    """Two changes to the server library, for this process.

    Values are kept by reference instead of copied (none is altered after it was written; the copy costs more
    than everything else). A message that is gone is refused on Republish; the library answers with an empty
    one, on which a client that recovers asks for ever.
    """
    republish = InternalSubscription.republish

    def keep(values: MonitoredItemValues, value: ua.DataValue) -> None:
        values.old_dvalue = values.current_dvalue
        values.current_dvalue = value

    def refuse(subscription: InternalSubscription, number: int) -> ua.NotificationMessage:
        message = republish(subscription, number)
        if not message.NotificationData:
            raise ua.uaerrors.BadMessageNotAvailable
        return message

    MonitoredItemValues.set_current_datavalue = keep
    InternalSubscription.republish = refuse


async def build_server(
    port: int,
    machines: Sequence[Machine],
    layout: str = "standard",
    language: str = "en",
    history: bool = False,
) -> tuple[Server, list[Display]]:
    """A server that is not started yet, and one display per machine.

    ``layout`` is one of LAYOUTS: all as the companion specifications have it, half of it, or one folder with all
    variables of all machines, named in ``language`` as a control of no standard would. ``history``: nodes keep
    what they showed.
    """
    logging.getLogger("asyncua").setLevel(logging.ERROR)
    server = Server()
    await server.init()
    await server.set_application_uri(URIS["sim"])
    server.product_uri = URIS["sim"]
    server.set_server_name("Simulated works")
    server.set_endpoint(endpoint(port))
    server.set_security_policy([ua.SecurityPolicyType.NoSecurity])
    indexes = {prefix: await server.register_namespace(uri) for prefix, uri in URIS.items()}
    nodes = NodeBuilder(server, Namespaces(indexes), moment(machines[0].now_us))
    bind = _flat(nodes, language) if layout == "flat" else _specified(nodes, layout, language)
    keeper = Keeper() if history else None
    if keeper is not None:
        server.iserver.history_manager.set_storage(keeper)
    displays, aspace = [], server.iserver.aspace
    for machine in machines:
        bindings = bind(machine.spec)
        if keeper is not None:
            keeper.offer(aspace, bindings)
        displays.append(Display(aspace, bindings, machine.spec.name, machine.now_us, keeper))
    return server, displays


def _specified(nodes: NodeBuilder, layout: str, language: str) -> Bind:
    build_types(nodes)
    number = nodes.namespaces.number("mch", 1001)
    folder = nodes.object(standard(ObjectIds.ObjectsFolder), "mch:Machines", FOLDER, ORGANIZES, number)

    def bind(spec: MachineSpec) -> Bindings:
        made = MachineLayout(nodes, spec, folder)
        if layout == "partial":
            made.partial(spec, language)
        else:
            made.whole(spec)
        return made.bindings

    return bind


def _flat(nodes: NodeBuilder, language: str) -> Bind:
    folder = nodes.object(standard(ObjectIds.ObjectsFolder), "sim:Data", FOLDER, ORGANIZES)

    def bind(spec: MachineSpec) -> Bindings:
        own = ControlVariables(nodes, folder, f"{spec.name}_", language)
        own.signals()
        own.tools(spec.magazine)
        own.decoys()
        return own.bindings

    return bind
