"""What a plant file may hold. Every class here is one table of the file; unknown keys are errors."""

from __future__ import annotations

from datetime import datetime, time
from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field, StringConstraints

from swarfline.calendar import Calendar
from swarfline.plant.alerts import AlertsTable
from swarfline.plant.base import Id, Table, Text
from swarfline.plant.channels import ChannelTable
from swarfline.plant.times import WallTime, Weekday

ORIGIN_PATTERN = r"^https?://[a-z0-9.:\[\]-]+$"
ENDPOINT_PATTERN = r"^opc\.tcp://([^\s/:\[\]]+|\[[0-9A-Fa-f:.]+\])(:[^\s/:]*)?(/\S*)?$"
REGISTERED_PORT = 4840
"""Port of opc.tcp in IANA's service name and port number registry (opcua-tcp); from memory."""
CURRENCY_PATTERN = r"^[A-Z]{3}$"

Rate = Annotated[float, Field(ge=0)]
Currency = Annotated[str, StringConstraints(pattern=CURRENCY_PATTERN)]
StopCondition = Literal["setup", "waiting", "held", "fault", "out_of_service", "off"]


def _meaning(value: object) -> object:
    if not isinstance(value, str | bool):
        raise ValueError("must be a text in quotes, true or false")
    return value


Meaning = Annotated[str | bool, BeforeValidator(_meaning)]


def _with_port(endpoint: str) -> str:
    scheme, _, rest = endpoint.partition("://")
    address, slash, path = rest.partition("/")
    _, colon, port = address.rpartition(":")
    if not colon or address.endswith("]"):
        raise ValueError(
            f"the port is missing; write it, as in {scheme}://{address}:{REGISTERED_PORT}{slash}{path} "
            f"({REGISTERED_PORT} is the one registered for OPC UA)"
        )
    if not (port.isascii() and port.isdigit() and 1 <= int(port) <= 65535):
        raise ValueError(f"port {port!r} is no whole number from 1 to 65535")
    return endpoint


Endpoint = Annotated[str, StringConstraints(pattern=ENDPOINT_PATTERN), AfterValidator(_with_port)]


class PlantTable(Table):
    """[plant]"""

    name: Text
    time_zone: Text = Field(description="IANA time zone of the shifts and of everything shown")


class StoreTable(Table):
    """[store]"""

    url: Text = Field(
        default="sqlite:///swarfline.db",
        description="database URL; a relative SQLite path lies beside the plant file",
    )


class Listen(Table):
    """[listen]"""

    host: Text = Field(default="127.0.0.1", description="address; others than loopback ones need 'users'")
    port: int = Field(default=8750, ge=0, le=65535)
    origins: tuple[Annotated[str, StringConstraints(pattern=ORIGIN_PATTERN)], ...] = Field(
        default=(), description="where a proxy shows the pages, whose own pages may then write"
    )
    users: bool = Field(default=False, description="true: whoever looks or enters has to sign in")
    certificate: Text | None = Field(default=None, description="PEM file of our certificate, for TLS")
    key: Text | None = Field(default=None, description="PEM file of its private key")
    proxy: tuple[Text, ...] = Field(default=(), description="addresses whose X-Forwarded headers are believed")
    session_h: float = Field(default=12.0, gt=0, le=744, description="longest time that one stays signed in")
    idle_min: float = Field(default=120.0, gt=0, le=44_640, description="after so long without use one is not")
    probes_open: bool = Field(
        default=False, description="true: this computer may ask /metrics and /health/ready unsigned"
    )


class InterpretTable(Table):
    """[interpret]: how readings become facts."""

    reorder_window_s: float = Field(default=1.0, ge=0, le=60, description="how long a late reading is awaited")
    clock_tolerance_s: float = Field(
        default=0.5, ge=0, description="server clocks closer than this to ours are taken as right"
    )
    cutting_load_pct: float = Field(
        default=5.0, ge=0, le=100, description="spindle load above which a turning spindle counts as cutting"
    )


class FiguresTable(Table):
    """[figures]: choices that the figures depend on."""

    short_stop_s: float = Field(default=300, gt=0, description="stops up to this are short ones")
    hourly_rate: Rate | None = Field(default=None, description="money per hour of a machine, for losses")
    currency: Currency | None = Field(default=None, description="ISO 4217 code of every amount of money")


class EnergyTable(Table):
    """[energy]: what energy costs, in the currency of [figures], and emits."""

    price_per_kwh: Rate | None = Field(default=None, description="money per kWh")
    co2_kg_per_kwh: Rate | None = Field(default=None, description="kg of CO2 per kWh")


class ToolChangesTable(Table):
    """[tool_changes]: what a tool's end costs, and how it is told."""

    planned_cost: float | None = Field(
        default=None, gt=0, description="of one change at a planned time, tool and time included"
    )
    unplanned_cost: float | None = Field(
        default=None, gt=0, description="of one change after a failure, lost time and scrap included"
    )
    breakage_alarms: tuple[Text, ...] = Field(
        default=("tool breakage", "broken tool", "tool broken"),
        description="codes of alarms that tell of a broken tool, or words of their texts",
    )


class BreakTable(Table):
    """One break of a shift."""

    start: WallTime
    end: WallTime


class ShiftTable(Table):
    """[[shifts]]"""

    name: Text
    start: WallTime
    end: WallTime = Field(description="at or before start: on the next day")
    days: tuple[Weekday, ...] = Field(default=("mon", "tue", "wed", "thu", "fri"), min_length=1)
    breaks: tuple[BreakTable, ...] = ()
    machines: tuple[Id, ...] = Field(default=(), description="empty: every machine")


class PlannedStopTable(Table):
    """[[planned_stops]]"""

    start: datetime = Field(description="local date and time, or with an offset")
    end: datetime
    reason: Text
    machines: tuple[Id, ...] = ()


class PlannedStepTable(Table):
    """[[parts.planned_steps]]"""

    tool: Text = Field(description="as the machine tells it")
    cutting_s: float = Field(ge=0, description="planned cutting time in seconds")
    other_s: float = Field(default=0.0, ge=0, description="approach, probing, doors: what is none of the others")
    angles_deg: dict[str, float] = Field(
        default_factory=dict, description="axis → where it stands in this step; one that is not named stands at 0"
    )


class StopReasonTable(Table):
    """[[stop_reasons]]: what a stop that meets all of it is put down to; the first that fits counts."""

    reason: Text
    conditions: tuple[StopCondition, ...] = Field(default=(), description="what fills most of the stop")
    alarm_code: Text | None = Field(default=None, description="pattern of the alarm's code")
    alarm_text: Text | None = Field(default=None, description="pattern of the alarm's text")
    machines: tuple[Id, ...] = Field(default=(), description="empty: every machine")
    min_length_s: float | None = Field(default=None, ge=0, description="stops of at least this length")
    max_length_s: float | None = Field(default=None, gt=0, description="stops of at most this length")
    by_hand: bool = Field(default=False, description="only offered to people, never given by itself")


class Part(Table):
    """[[parts]]"""

    id: Text
    name: Text | None = None
    planned_cycle_time_s: float = Field(gt=0, description="planned run time of one cycle, in seconds")
    parts_per_cycle: int = Field(default=1, ge=1, description="parts that one cycle makes")
    programs: tuple[Text, ...] = Field(
        default=(), description="main programs that make it, for machines that do not name the part"
    )
    planned_steps: tuple[PlannedStepTable, ...] = Field(
        default=(), description="the planned cycle, tool by tool, in order; it begins anew after the last one"
    )


class Cell(Table):
    """[[cells]]"""

    id: Id
    name: Text | None = None


class NodeRef(Table):
    """Where a signal comes from.

    ``node`` is a browse path of ``prefix:Name`` steps below the machine's root, or a NodeId whose namespace is
    a URI (``nsu=URI;s=…``). Value = raw × unit factor × scale + offset; ``values`` translates vendors' codes.
    """

    node: Text
    scale: float = 1.0
    offset: float = 0.0
    unit: str | None = Field(default=None, description="unit of the node, where it does not say so itself")
    index: int | None = Field(default=None, ge=0, description="element of an array, from 0")
    values: dict[str, Meaning] | None = Field(default=None, description="code of the node → our value")
    width: Literal[8, 16, 32, 64] | None = Field(default=None, description="bits of a counter")


def _node(value: object) -> object:
    return {"node": value} if isinstance(value, str) else value


Node = Annotated[NodeRef, BeforeValidator(_node)]


Nodes = dict[str, Node]


class ToolMapping(Table):
    """Where the tools come from: OPC 40501-1 tool objects below one list, or one entry per tool."""

    objects: Text | None = Field(default=None, description="browse path to an OPC 40501-1 tool list")
    each: dict[str, Nodes] = Field(default_factory=dict, description="pot or place → its fields' nodes")


class Mapping(Table):
    """[mappings.NAME]: nodes by signal, shared by machines of one kind."""

    signals: Nodes = Field(default_factory=dict)
    tools: ToolMapping = ToolMapping()


class AxisTable(Table):
    """[[servers.machines.motion.axes]]"""

    name: Text
    max_rpm: float = Field(gt=0, description="greatest speed in 1/min")
    acceleration_deg_s2: float = Field(gt=0, description="acceleration in degrees/s²")
    clamp_s: float = Field(default=0.0, ge=0, description="seconds to clamp and settle after a turn")


class MotionTable(Table):
    """[servers.machines.motion]"""

    tool_to_tool_s: float = Field(ge=0, description="seconds of the tool change alone")
    chip_to_chip_s: float = Field(ge=0, description="seconds from the last cut to the next one, ways in")
    axes: tuple[AxisTable, ...] = Field(default=(), description="rotary axes that position the part")
    at_once: Literal["all", "axes", "none"] = Field(
        default="all", description="what moves at once: tool change and axes, only the axes, or nothing"
    )


class Machine(Table):
    """[[servers.machines]]"""

    id: Id
    name: Text | None = None
    cell: Id | None = None
    root: Text = Field(
        default="", description="browse path from Objects, or a NodeId, where the mapping's paths begin"
    )
    mapping: Id | None = None
    signals: Nodes = Field(default_factory=dict, description="nodes of this machine, over those of the mapping")
    tools: ToolMapping | None = None
    part: Text | None = Field(default=None, description="part made when the machine names none")
    hourly_rate: Rate | None = Field(default=None, description="money per hour, over that of [figures]")
    cycle_bounds: Literal["program_state", "cycle_count", "part_count", "executing"] | None = Field(
        default=None, description="what cuts cycles; by default the best signal there is"
    )
    motion: MotionTable | None = Field(default=None, description="its own times, for planned cycles")


class SecurityTable(Table):
    """[servers.security]: how the channel is secured and as whom we come. Secrets stand elsewhere."""

    policy: Literal["None", "Basic256Sha256", "Aes128Sha256RsaOaep", "Aes256Sha256RsaPss"] = Field(
        default="None", description="OPC UA security policy"
    )
    mode: Literal["Sign", "SignAndEncrypt"] = Field(
        default="SignAndEncrypt", description="what a policy other than None does with messages"
    )
    user: Text | None = Field(default=None, description="user name; without it we come anonymously")
    password_env: Text | None = Field(default=None, description="environment variable that holds the password")
    password_file: Text | None = Field(default=None, description="file whose first line is the password")
    password_in_clear: bool = Field(
        default=False, description="true: the password may go over the network for all to read"
    )
    certificate: Text | None = Field(default=None, description="file of a user certificate (PEM or DER)")
    key: Text | None = Field(default=None, description="file of its private key (PEM or DER)")
    channel_lifetime_s: int = Field(
        default=3600, ge=1, le=86_400, description="how long the keys of a channel last; renewed before their end"
    )

    @property
    def user_kind(self) -> Literal["anonymous", "user name", "certificate"]:
        """As whom we come."""
        if self.user is not None:
            return "user name"
        return "certificate" if self.certificate is not None else "anonymous"

    @property
    def channel(self) -> str:
        """Policy and mode in words."""
        return "None" if self.policy == "None" else f"{self.policy}, {self.mode}"


class Server(Table):
    """[[servers]]"""

    id: Id
    endpoint: Endpoint
    machines: tuple[Machine, ...] = Field(min_length=1)
    security: SecurityTable = SecurityTable()
    access: Literal["subscribe", "read"] = Field(
        default="subscribe", description="subscriptions, or cyclic Read where a server refuses them"
    )
    publishing_ms: int = Field(default=500, ge=20, le=60_000)
    sampling_ms: int = Field(default=100, ge=0, le=60_000, description="for signals that tell what happened")
    sampling_analog_ms: int = Field(default=250, ge=0, le=60_000, description="for power, speed and load")
    queue_size: int = Field(default=200, ge=1, le=10_000)
    keepalive_s: float = Field(default=2.0, ge=0.2, le=60)
    timeout_s: float = Field(default=4.0, ge=0.2, le=60)
    history: bool = Field(default=True, description="after a loss, read back what nodes kept, where they offer it")
    clock: Literal["ours", "server"] = Field(
        default="ours",
        description="whose clock rules: ours (offset measured and corrected) or the server's, as it is "
        "(simulated plants that run faster)",
    )


class ReportTable(Table):
    """[[reports]]: a report that is made and mailed by itself."""

    id: Id
    span: Literal["shift", "day", "week", "month"] = Field(description="that each report is about")
    channel: Id = Field(description="mail channel that it goes to")
    formats: tuple[Literal["pdf", "html", "csv"], ...] = Field(default=("pdf",), min_length=1)
    after_min: float = Field(default=15.0, ge=0, le=720, description="of a shift: minutes after its end")
    at: WallTime = Field(default=time(6), description="of the others: time of day")
    on: Weekday = Field(default="mon", description="of a week: day of the week after it")
    machines: tuple[Id, ...] = Field(default=(), description="empty: every machine")
    cell: Id | None = Field(default=None, description="only the machines of this cell")
    language: Literal["en", "de"] = "en"


class Plant(Table):
    """The whole file, checked."""

    plant: PlantTable
    store: StoreTable = StoreTable()
    listen: Listen = Listen()
    interpret: InterpretTable = InterpretTable()
    figures: FiguresTable = FiguresTable()
    energy: EnergyTable = EnergyTable()
    alerts: AlertsTable = AlertsTable()
    channels: tuple[ChannelTable, ...] = ()
    tool_changes: ToolChangesTable = ToolChangesTable()
    shifts: tuple[ShiftTable, ...] = ()
    planned_stops: tuple[PlannedStopTable, ...] = ()
    stop_reasons: tuple[StopReasonTable, ...] = ()
    parts: tuple[Part, ...] = ()
    cells: tuple[Cell, ...] = ()
    namespaces: dict[str, str] = Field(default_factory=dict, description="prefix → namespace URI")
    mappings: dict[str, Mapping] = Field(default_factory=dict)
    servers: tuple[Server, ...] = Field(min_length=1)
    reports: tuple[ReportTable, ...] = ()
    path: str = Field(default="", alias="(path)", exclude=True)

    @property
    def machines(self) -> tuple[Machine, ...]:
        """Every machine of every server, in the file's order."""
        return tuple(m for s in self.servers for m in s.machines)

    def machine(self, machine_id: str) -> Machine:
        """One machine; raises KeyError."""
        for machine in self.machines:
            if machine.id == machine_id:
                return machine
        raise KeyError(machine_id)

    def server_of(self, machine_id: str) -> Server:
        """The server that a machine is read from; raises KeyError."""
        for server in self.servers:
            if any(m.id == machine_id for m in server.machines):
                return server
        raise KeyError(machine_id)

    def nodes_of(self, machine: Machine) -> dict[str, NodeRef]:
        """Node by signal: the mapping's, overlaid by the machine's own."""
        shared = self.mappings[machine.mapping].signals if machine.mapping else {}
        return {**shared, **machine.signals}

    def tools_of(self, machine: Machine) -> ToolMapping:
        """Where this machine's tools come from."""
        if machine.tools is not None:
            return machine.tools
        return self.mappings[machine.mapping].tools if machine.mapping else ToolMapping()

    def part_by_program(self) -> dict[str, str]:
        """Part id by main program."""
        return {program: part.id for part in self.parts for program in part.programs}

    def calendar(self) -> Calendar:
        """The shifts and planned stops as a Calendar."""
        from swarfline.plant.shifts import build_calendar

        return build_calendar(self)
