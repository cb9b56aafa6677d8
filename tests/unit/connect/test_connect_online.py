"""A plant file held against servers on the loopback: what is shown, and each defect in a line of its own."""

from __future__ import annotations

import asyncio
import json
import sys
import time
import tomllib
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from asyncua import ua
from asyncua.common.utils import ServiceError
from click.testing import CliRunner

from swarfline import clock
from swarfline.cli import main
from swarfline.connect import Finding, Inspection
from swarfline.online import as_json_text, as_text, check_online, finding_line, is_fine
from swarfline.plant.load import check

from .plc import Plc
from .proxy import Proxy
from .watching import STATE_AND_COUNT, plant_file

UINT32 = ua.VariantType.UInt32


async def machine(plc: Plc, name: str = "N1", **values: Any) -> None:
    """A machine that lacks nothing, with more values, or with others in their place."""
    await plc.machine(name, **{"State": 3, "Count": ua.Variant(7, UINT32), **values})


async def look(url: str, signals: dict[str, Any], **server: Any) -> Inspection:
    plant = check(plant_file(url, {"N1": {"signals": {**STATE_AND_COUNT, **signals}}}, **server), "plant.toml")
    return (await check_online(plant))[0]


def told(inspection: Inspection, signal: str, weight: str = "error") -> Finding:
    found = [f for f in inspection.findings if f.signal == signal and f.weight == weight]
    assert len(found) == 1, inspection.findings
    return found[0]


async def test_a_sound_mapping_is_shown_with_all_that_is_known_of_it(
    free_port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with Plc(free_port) as plc:
        service, deleted = plc.server.iserver.subscription_service, []
        delete = service.delete_subscriptions

        async def noted(ids: list[int], *rest: Any, **more: Any) -> Any:
            deleted.append(list(ids))
            return await delete(ids, *rest, **more)

        monkeypatch.setattr(service, "delete_subscriptions", noted)
        await machine(plc)
        await plc.variable("N1", "Power", 2.5, unit="kW")
        await plc.write("N1/Power", 2.5, datetime.now(UTC) - timedelta(seconds=50))
        seen = await look(plc.url, {**STATE_AND_COUNT, "power": "t:Power"})
        power = next(s for s in seen.signals if s.signal == "power")
        assert (power.value, power.unit, power.raw, power.node_unit) == (2500.0, "W", "2.5", "kW")
        assert (power.type, power.quality, power.node) == ("Double", "good", "t:Power")
        assert power.age_s == pytest.approx(50, abs=5)
        # asked for 20 ms and 200: this server samples as often as it publishes, and grants the queue
        assert (power.sampling_ms, power.queue_size) == (100.0, 200)
        assert {s.signal: s.value for s in seen.signals} == {
            "state": "executing", "part_count": 7, "power": 2500.0,
        }  # fmt: skip
        assert (seen.is_fine, seen.findings) == (True, [])
        assert (seen.access, seen.publishing_ms) == ("subscribe", 100.0)
        assert (seen.security, seen.offered) == ("None", ("None",))
        assert seen.clock_offset_us is not None
        assert abs(seen.clock_offset_us) < 500_000
        assert set(seen.limits) == {"read", "browse", "translate", "history", "monitor"}
        assert not service.subscriptions
        # by us, and then nothing is left for the end of the session
        assert [len(ids) for ids in deleted if ids] == [1], deleted
        assert len(deleted) > 1


DEFECTS: list[tuple[str, Any, Any, dict[str, Any], str, str]] = [
    ("state", 9, None, {}, "code '9' has no meaning", 'values = { "9"'),
    ("part_count", 7.0, None, {}, "a counter of type Double", "map an integer node"),
    ("part_count", 7.5, None, {}, "'7.5' is no whole number", "map the node that counts"),
    ("power", "hot", None, {"unit": "W"}, "'hot' is no number", "map the node that shows the number"),
    ("power", float("nan"), None, {"unit": "W"}, "'nan' is no number", "map the node"),
    ("power", [1.0, 2.0], None, {"unit": "W"}, "is an array of 2", "index"),
    ("power", [1.0, 2.0], None, {"unit": "W", "index": 2}, "there is no element 2", "correct index"),
    ("power", 5.0, 0x8031_0000, {"unit": "W"}, "BadNoCommunication", "switched on"),
    ("power", 5.0, 0x803A_0000, {"unit": "W"}, "the node cannot be read", "allowed at the server"),
]


async def test_each_defect_of_a_value_is_an_error_with_its_place_and_what_to_do(free_port: int) -> None:
    async with Plc(free_port) as plc:
        machines = {}
        for number, (signal, value, status, ref, _, _) in enumerate(DEFECTS):
            name = f"D{number}"
            await machine(plc, name, Thing=value)
            await plc.write(f"{name}/Thing", value, status=status or 0)
            machines[name] = {"signals": {**STATE_AND_COUNT, signal: {"node": "t:Thing", **ref}}}
        seen = (await check_online(check(plant_file(plc.url, machines), "plant.toml")))[0]
        assert not seen.is_fine
        for number, (signal, _, _, _, found, advice) in enumerate(DEFECTS):
            errors = [f for f in seen.findings if f.machine == f"D{number}" and found in f.found]
            assert len(errors) == 1, (found, seen.findings)
            assert advice in errors[0].advice
            line = finding_line(errors[0])
            assert line.startswith(f"error: server line D{number} {signal} [t:Thing]: ")
            assert "\n" not in line
        # the counter with a fraction is wrong twice: by its value and by its type
        assert len(seen.findings) == len(DEFECTS) + 1


async def test_missing_nodes_wrong_units_and_namespaces_are_errors(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await machine(plc)
        await plc.variable("N1", "Pressure", 6.0, unit="bar")
        signals = {
            "state": "t:State",
            "lot": "t:Lot",
            "part": "nsu=urn:test:line;s=Nowhere",
            "power": "t:Pressure",
            "program": "nsu=urn:else;s=Program",
        }
        seen = await look(plc.url, signals)
        assert "no node at this browse path" in told(seen, "lot").found
        assert "does not know this node" in " ".join(f.found for f in seen.findings if f.signal == "part")
        assert "'bar'" in told(seen, "power").found
        assert "unit = " in told(seen, "power").advice
        assert "'urn:else'" in told(seen, "program").found
        assert "[namespaces]" in told(seen, "program").advice


async def test_what_is_only_doubtful_is_a_note(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await machine(plc, Count=ua.Variant(7, ua.VariantType.UInt16), Speed=100.0, Feed=3.0)
        await plc.variable("N1", "Power", 2.5, unit="kW")
        await plc.write("N1/Feed", 3.0, status=0x4090_0000)
        signals = {
            "part_count": "t:Count",
            "spindle_speed": "t:Speed",
            "power": {"node": "t:Power", "unit": "W"},
            "feed_rate": {"node": "t:Feed", "unit": "mm/min"},
        }
        seen = await look(plc.url, signals)
        assert told(seen, "part_count", "note").advice == "write width = 16"
        assert "taken as 1/min" in told(seen, "spindle_speed", "note").found
        assert "states 'kW'" in told(seen, "power", "note").found
        assert "status Uncertain" in told(seen, "feed_rate", "note").found
        assert seen.is_fine


async def test_a_server_that_refuses_subscriptions_is_read_and_said_to_be(
    free_port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with Plc(free_port) as plc:
        await machine(plc)

        async def refuse(*_: object, **__: object) -> None:
            raise ServiceError(ua.StatusCodes.BadServiceUnsupported)

        monkeypatch.setattr(plc.server.iserver.subscription_service, "create_subscription", refuse)
        seen = await look(plc.url, STATE_AND_COUNT)
        assert [f.found.partition(" (")[0] for f in seen.findings] == ["refuses subscriptions"]
        assert 'access = "read"' in seen.findings[0].advice
        assert {s.signal: s.value for s in seen.signals} == {"state": "executing", "part_count": 7}
        assert (seen.access, seen.signals[0].sampling_ms, seen.signals[0].queue_size) == ("read", 20.0, None)
        quiet = await look(plc.url, STATE_AND_COUNT, access="read")
        assert quiet.findings == []


async def test_a_dead_server_and_a_silent_one_are_a_line_each_and_the_third_goes_on(
    free_port: int, unused_tcp_port_factory: Any
) -> None:
    async with Plc(free_port) as plc, Proxy(free_port) as proxy:
        proxy.swallow = True
        await machine(plc)
        raw = plant_file(plc.url, {"N1": {"signals": STATE_AND_COUNT}})
        for name, port in (("dead", unused_tcp_port_factory()), ("silent", proxy.port)):
            other = {"id": name, "endpoint": f"opc.tcp://127.0.0.1:{port}/", "timeout_s": 1.0}
            table = {"id": name.upper(), "root": "t:N1", "signals": STATE_AND_COUNT}
            raw["servers"].append({**other, "machines": [table]})
        # without a limit of its own the silent one would keep all waiting for ever
        line, dead, silent = await asyncio.wait_for(check_online(check(raw, "plant.toml")), 60)
        assert [s.value for s in line.signals] == ["executing", 7]
        assert ["connection refused" in f.found for f in dead.findings] == [True]
        assert ["no answer within 1 s" in f.found for f in silent.findings] == [True]
        assert not is_fine([line, dead])
        text = as_text([line, dead, silent])
        assert sum(row.startswith("error: server dead: cannot connect") for row in text.splitlines()) == 1
        only = await check_online(check(raw, "plant.toml"), ["N1"])
        assert [s.server for s in only] == ["line"]


async def test_a_connection_that_breaks_half_way_is_one_more_line(free_port: int) -> None:
    async with Plc(free_port) as plc, Proxy(free_port) as proxy:
        await machine(plc)
        url = plc.url.replace(str(free_port), str(proxy.port))
        task = asyncio.create_task(look(url, {"state": "t:State"}, timeout_s=0.5))
        while not plc.server.iserver.subscription_service.subscriptions and not task.done():
            await asyncio.sleep(0)
        proxy.swallow = True
        seen = await asyncio.wait_for(task, 60)
        assert [f.found for f in seen.findings][-1].startswith("the rest could not be checked: no answer within")


async def test_texts_of_a_server_cannot_steer_the_terminal(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await machine(plc, Lot="\x1b[2J\nA" + "x" * 500)
        seen = await look(plc.url, {"lot": "t:Lot"})
        text = as_text([seen])
        assert "\x1b" not in text
        assert len(text.splitlines()) == 5
        assert max(map(len, text.splitlines())) < 400


async def test_a_tool_list_is_counted_and_a_missing_one_is_an_error(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await machine(plc)
        place = await plc.nodes["N1"].add_object(plc.index, "Tools")
        await plc.tool(place, 3, up=True, indication=1, unit=None, value=5, limit=40)
        raw = plant_file(plc.url, {"N1": {"signals": STATE_AND_COUNT, "tools": {"objects": "t:Tools"}}})
        seen = (await check_online(check(raw, "plant.toml")))[0]
        assert (seen.signals[-1].signal, seen.signals[-1].value) == ("tools", "1 tools, 1 with a life")
        assert " ".join(as_text([seen]).splitlines()[-2].split()) == "N1 tools 1 tools, 1 with a life"
        assert seen.is_fine
        raw["servers"][0]["machines"][0]["tools"]["objects"] = "t:Shelf"
        seen = (await check_online(check(raw, "plant.toml")))[0]
        assert "no node at this browse path" in told(seen, "tools").found
        assert told(seen, "tools").node == "t:Shelf"


async def test_a_clock_that_is_off_is_a_note_and_taken_out_of_the_ages(
    free_port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    ours = time.time_ns
    async with Plc(free_port) as plc:
        await machine(plc)
        monkeypatch.setattr(clock, "now_us", lambda: ours() // 1000 - 90_000_000)
        seen = await look(plc.url, {})
        assert [f.found for f in seen.findings] == ["its clock is 90.0 s ahead of ours"]
        assert seen.is_fine
        assert all(s.age_s == pytest.approx(0, abs=10) for s in seen.signals)
        assert (await look(plc.url, {}, clock="server")).findings == []


async def test_the_simulated_plant_has_nothing_to_mend(free_port: int) -> None:
    words = ("serve", "--port", str(free_port), "--machines", "N1", "--with-stdin")
    start = "import sys; from swarfline_sim.cli import main; sys.exit(main(sys.argv[1:]))"
    pipe = asyncio.subprocess.PIPE
    sim = await asyncio.create_subprocess_exec(sys.executable, "-c", start, *words, stdin=pipe, stdout=pipe)
    try:
        assert sim.stdout is not None
        assert b"ready" in await asyncio.wait_for(sim.stdout.readline(), 60)
        demo = Path(__file__).parents[3] / "deploy" / "demo.toml"
        raw = tomllib.loads(demo.read_text(encoding="utf-8").replace(":4840/", f":{free_port}/"))
        plant = check(raw, "demo.toml")
        seen = (await check_online(plant, ["N1"]))[0]
        assert seen.findings == []
        mapped = plant.nodes_of(plant.servers[0].machines[0])
        assert {s.signal for s in seen.signals} == {*mapped, "tools"}
        assert all(s.value is not None for s in seen.signals)
    finally:
        sim.kill()
        await sim.wait()


async def test_the_command_tells_it_with_exit_codes_and_as_json(free_port: int, tmp_path: Any) -> None:
    async with Plc(free_port) as plc:
        await machine(plc)
        file = tmp_path / "plant.toml"
        file.write_text(
            '[plant]\nname = "Works"\ntime_zone = "Europe/Madrid"\n[namespaces]\nt = "urn:test:line"\n'
            f'[[servers]]\nid = "line"\nendpoint = "{plc.url}"\n'
            '[[servers.machines]]\nid = "N1"\nroot = "t:N1"\n'
            'signals = { state = "t:State", part_count = "t:Count" }\n'
        )

        async def call(*words: str) -> Any:
            return await asyncio.to_thread(CliRunner().invoke, main, ["check", str(file), *words])

        fine = await call("--online", "--json")
        assert fine.exit_code == 0
        read = json.loads(fine.output)
        assert read["ok"] is True
        assert read["servers"][0]["signals"][0]["value"] == "executing"
        await plc.write("N1/State", 9)
        bad = await call("--online", "--machine", "N1")
        assert bad.exit_code == 1
        assert "error: server line N1 state [t:State]: code '9' has no meaning" in bad.output
        assert bad.output.splitlines()[-1] == "1 server(s), 2 signal(s) read: 1 error(s), 0 note(s)"
        assert (await call("--machine", "N1")).exit_code == 2
        assert (await call("--online", "--machine", "N9")).exit_code == 1


def test_the_text_for_programs_keeps_the_notes_of_the_file() -> None:
    assert json.loads(as_json_text([], ["slow"])) == {"ok": True, "notes": ["slow"], "servers": []}
