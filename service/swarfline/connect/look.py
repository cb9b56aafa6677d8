"""One look at a server, as its session would see it: connect, find, read once, ask for watching, leave."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import count

from asyncua import Client, ua

from swarfline import clock
from swarfline.connect.appraise import (
    QUALITIES,
    Defect,
    convert,
    refusal_advice,
    status_defects,
    type_defects,
    unit_defects,
)
from swarfline.connect.client import connect, leave, new_client
from swarfline.connect.decode import Decoder
from swarfline.connect.engineering import read_units
from swarfline.connect.granted import Grant, remarks
from swarfline.connect.inspection import LONGEST_REASON, Finding, Inspection, Shown, Weight, legible
from swarfline.connect.items import Item
from swarfline.connect.names import Names, Refusal
from swarfline.connect.reasons import plain, status_words
from swarfline.connect.resolve import Found, Resolver, Wanted, wanted_signals
from swarfline.connect.services import Services
from swarfline.connect.stamps import stamp_us
from swarfline.connect.status import Tally
from swarfline.connect.subscribe import NO_SUBSCRIPTIONS, Subscription
from swarfline.connect.supervise import ClockOffset
from swarfline.connect.tasks import heed, within
from swarfline.connect.tools import read_tool_list
from swarfline.plant.checks import namespaces
from swarfline.plant.model import Machine, Plant, Server
from swarfline.signals import is_state_like

PROBES = 3
LONGEST = 20
"""A server that keeps answering, but slowly, gets so many times its timeout."""
_RUNNING = (0, None)


async def inspect(server: Server, plant: Plant, machines: Sequence[Machine]) -> Inspection:
    """Look at these machines of a server. Its faults never raise: they are findings."""
    look = _Look(server, plant, machines)
    client, orderly = new_client(server), False
    try:
        async with within(LONGEST * server.timeout_s):
            await connect(client, server, plant.path)
            await look.at(client)
        orderly = True
    except Exception as problem:
        heed()
        reached = look.result.is_reached
        what = "the rest could not be checked" if reached else "cannot connect"
        advice = "mend the connection and check again" + ("" if reached else "; nothing else was checked here")
        look.server_says("error", f"{what}: {legible(plain(problem, server.timeout_s), LONGEST_REASON)}", advice)
    finally:
        await leave(client, orderly)
    return look.result


class _Look:
    def __init__(self, server: Server, plant: Plant, machines: Sequence[Machine]) -> None:
        self._server = server
        self._plant = plant
        self._machines = machines
        self._client: Client
        self._services: Services
        self._tally = Tally()
        self._granted: dict[str, tuple[float, int | None]] = {}
        self.result = Inspection(server.id, server.endpoint)

    def server_says(self, weight: Weight, found: str, advice: str) -> None:
        self.result.findings.append(Finding(weight, self._server.id, found, advice))

    def _signal_says(self, want: Wanted, defect: Defect) -> None:
        self.result.findings.append(
            Finding(
                defect.weight, self._server.id, defect.found, defect.advice,
                want.machine, want.name, want.ref.node,
            )
        )  # fmt: skip

    async def at(self, client: Client) -> None:
        self._client, self._services = client, Services(client)
        self.result.is_reached = True
        names = Names(namespaces(self._plant), await self._services.learn())
        self.result.limits = self._services.slices
        await self._security()
        await self._clock()
        resolver = Resolver(self._services, names, self._machines)
        wanted = [want for machine in self._machines for want in wanted_signals(self._plant, machine)]
        found, refused = await resolver.resolve(wanted)
        for want, reason in refused:
            self._signal_says(want, Defect("error", legible(reason), refusal_advice(reason)))
        await self._ask_for_watching(found)
        await self._read(found, Decoder(names, self._tally))
        for machine in self._machines:
            await self._tools(machine, resolver, names)

    async def _security(self) -> None:
        offered = [_security_of(e.SecurityPolicyUri, e.SecurityMode) for e in await self._client.get_endpoints()]
        policy = self._client.security_policy
        self.result.security = _security_of(policy.URI, policy.Mode)
        self.result.offered = tuple(dict.fromkeys(offered))
        table, better = self._server.security, [name for name in self.result.offered if name != "None"]
        if table.policy == "None" and better:
            found = f"the connection is not secured, and the server offers {', '.join(better)}"
            self.server_says("note", found, "set 'policy' in [servers.security], then swarfline trust")
        if table.password_in_clear and table.user is not None:
            found = f"the password of user {table.user} may be read on the network (password_in_clear)"
            self.server_says("note", found, "use a policy with SignAndEncrypt as soon as the server offers one")

    async def _clock(self) -> None:
        offset = ClockOffset()
        for _ in range(PROBES):
            probe = await self._services.probe()
            offset.add(probe.sent_us, probe.got_us, probe.current_us, probe.header_us)
        if probe.state not in _RUNNING:
            found = f"the server says that its state is {probe.state}, not 0 (Running)"
            self.server_says("error", found, "start the server's application; its values are not to be trusted")
        self.result.clock_offset_us = us = offset.offset_us
        tolerance_us = self._plant.interpret.clock_tolerance_s * 1e6
        if us is not None and abs(us) > tolerance_us and self._server.clock == "ours":
            found = f"its clock is {abs(us) / 1e6:.1f} s {'ahead of' if us > 0 else 'behind'} ours"
            self.server_says("note", found, "times are corrected by it; better set both clocks")

    async def _ask_for_watching(self, found: Sequence[Found]) -> None:
        """What the server grants to each item: a subscription is made with all of them, and deleted."""
        server = self._server
        self.result.access = "read"
        numbers = count(1)
        items = [
            Item(next(numbers), one.node, one.wanted.machine, one.wanted.name, is_state_like(one.wanted.name))
            for one in found
        ]
        if server.access == "subscribe":
            subscription = Subscription(self._client, self._services, server, self._tally, _drop)
            try:
                await subscription.start()
            except NO_SUBSCRIPTIONS as problem:
                self.server_says(
                    "note",
                    f"refuses subscriptions ({status_words(problem.code)}); it will be read in a cycle",
                    'what is shorter than a cycle is missed; write access = "read" to say that you know',
                )
            else:
                await self._watch(subscription, found, items)
                return
        for item in items:
            self._granted_by_reading(item)

    def _granted_by_reading(self, item: Item) -> None:
        period_ms = self._server.sampling_ms if item.state_like else self._server.sampling_analog_ms
        self._granted[item.key] = (float(period_ms), None)

    async def _watch(self, subscription: Subscription, found: Sequence[Found], items: Sequence[Item]) -> None:
        self.result.access, self.result.publishing_ms = "subscribe", self._tally.revised_publishing_ms
        rejected = await subscription.add(items) if items else {}
        unwatched = 0
        for item, one in zip(items, found, strict=True):
            if item.handle in subscription.unwatched:
                unwatched += 1
                self._granted_by_reading(item)
            elif item.handle in rejected:
                reason = rejected[item.handle]
                defect = Defect("error", f"cannot be watched: {reason}", refusal_advice(reason))
                self._signal_says(one.wanted, defect)
            else:
                self._granted[item.key] = subscription.granted[item.handle]
        tally = self._tally
        grant = Grant(
            tally.revised_publishing_ms, tally.revised_sampling_ms, tally.revised_queue_size,
            watched=len(items) - len(rejected), read=unwatched,
        )  # fmt: skip
        for remark in remarks(self._server, grant):
            self.server_says("note", *remark)
        await subscription.delete()

    async def _read(self, found: Sequence[Found], decoder: Decoder) -> None:
        nodes = [one.node for one in found]
        units = await read_units(self._services, nodes) if nodes else []
        values = await self._services.read(nodes) if nodes else []
        now_us = clock.now_us()
        for one, unit, data in zip(found, units, values, strict=True):
            self._show(one, unit, data, decoder, now_us)

    def _show(self, one: Found, unit: str | None, data: ua.DataValue, decoder: Decoder, now_us: int) -> None:
        want, status, kind = one.wanted, data.StatusCode.value, data.Value.VariantType.name
        raw, value = decoder.simple(data.Value.Value), None
        defects = [*status_defects(status), *unit_defects(want, unit)]
        if status >> 30 < 2:
            value, because = convert(one, raw)
            defects += [*because, *type_defects(want, kind)]
        for defect in defects:
            self._signal_says(want, defect)
        stamp = stamp_us(data.SourceTimestamp)
        age_us = None if stamp is None else now_us - stamp + (self.result.clock_offset_us or 0)
        sampling_ms, queue_size = self._granted.get(want.key, (None, None))
        self.result.signals.append(
            Shown(
                want.machine, want.name, want.ref.node, value, want.signal.unit, legible(raw),
                f"{kind}[]" if isinstance(raw, list) else kind, None if unit is None else legible(unit),
                QUALITIES[status >> 30], None if age_us is None else age_us / 1e6, sampling_ms, queue_size,
            )
        )  # fmt: skip

    async def _tools(self, machine: Machine, resolver: Resolver, names: Names) -> None:
        path = self._plant.tools_of(machine).objects
        if not path:
            return
        try:
            place = await resolver.find(await resolver.root(machine.id), path)
            tools = (await read_tool_list(self._services, names, place)).tools
        except Refusal as problem:
            text, server = str(problem), self._server.id
            self.result.findings.append(
                Finding("error", server, legible(text), refusal_advice(text), machine.id, "tools", path)
            )
            return
        lives = sum(tool.life is not None for tool in tools)
        told = f"{len(tools)} tools, {lives} with a life"
        self.result.signals.append(
            Shown(machine.id, "tools", path, told, "", told, "list", None, "good", None)
        )  # fmt: skip
        for tool in tools:
            if tool.refused:
                name = f"tools[{legible(tool.key)}]"
                advice = refusal_advice(tool.refused)
                self.result.findings.append(
                    Finding("error", self._server.id, legible(tool.refused), advice, machine.id, name, path)
                )


def _drop(_handles: list[int], _values: list[ua.DataValue], _now_us: int, _gap: bool) -> None:
    """Values are read, not awaited."""


def _security_of(uri: str, mode: ua.MessageSecurityMode) -> str:
    policy = legible(str(uri).rpartition("#")[2])
    return policy if policy == "None" else f"{policy} {ua.MessageSecurityMode(mode).name}"
