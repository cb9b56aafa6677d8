"""A survey as a whole: against the simulator, and with texts of servers that mean harm."""

from __future__ import annotations

import asyncio
import json
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from asyncua import ua
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from swarfline.cli import main
from swarfline.connect.certificates import fingerprint
from swarfline.connect.sighting import Course, Proposal, Variable
from swarfline.connect.surveyed import Door, FoundMachine, Namespace, Surveyed
from swarfline.connect.walk import Bounds
from swarfline.online import check_online, is_fine
from swarfline.plant import Plant, load
from swarfline.plant.load import check
from swarfline.plant.model import Machine, SecurityTable, Server
from swarfline.plantfile import compose, key_of, machine_key, save, text_of
from swarfline.survey import as_json_text, as_text, complete, folders, missing, survey

from .plc import Plc
from .secured import PASSWORD, USER, OneUser, Secured, certificate

DEMO = Path(__file__).parents[3] / "deploy" / "demo.toml"
URI = "urn:swarfline:simulator"
NOT_THERE_BY_STANDARD = {
    "part", "good_count", "scrap_count", "tool_changing", "positioning", "alarm", "alarm_code", "alarm_text",
}  # fmt: skip
"""Mapped by hand in the demo's plant file, to nodes of the simulator's own."""


def server(url: str, **more: Any) -> Server:
    return Server(id="server", endpoint=url, machines=(Machine(id="survey"),), **more)


async def look(url: str, **more: Any) -> Surveyed:
    return await survey(server(url), "", more.pop("bounds", Bounds()), more.pop("watch_s", 0), _silent, **more)


def _silent(_what: str, _done: int, _total: int | None) -> None:
    pass


@pytest.fixture(scope="module")
def simulated() -> Iterator[str]:
    """The endpoint of a simulated plant of two machines that follow the specifications."""
    command = [
        sys.executable,
        "-m",
        "swarfline_sim",
        "serve",
        "--port",
        "0",
        "--with-stdin",
        "--machines",
        "N1,S2",
    ]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        yield process.stdout.readline().split()[-1]
        process.terminate()


@pytest.fixture(scope="module")
def seen(simulated: str) -> Surveyed:
    """What the specifications alone explain."""
    return asyncio.run(look(simulated, propose=lambda _variables, _courses: []))


def by_signal(machine: FoundMachine) -> dict[str, Proposal]:
    return {proposal.signal: proposal for proposal in machine.proposals}


async def resolved(plant: Plant, url: str, machine: str) -> dict[str, str]:
    """The node of each mapped signal, as a session of the service finds it."""
    from asyncua import Client

    from swarfline.connect.names import Names
    from swarfline.connect.resolve import Resolver, wanted_signals
    from swarfline.connect.services import Services
    from swarfline.plant.addresses import namespaces

    async with Client(url) as client:
        services = Services(client)
        names = Names(namespaces(plant), await services.learn())
        found, refused = await Resolver(services, names, plant.machines).resolve(
            wanted_signals(plant, plant.machine(machine))
        )
    assert not refused
    return {one.wanted.name: one.node.to_string() for one in found}


def test_the_simulated_machines_are_found_by_type_once_each(seen: Surveyed) -> None:
    assert [(m.name, m.kind) for m in seen.machines] == [("N1", "machine tool"), ("S2", "machine tool")]
    assert (seen.problem, seen.cut, seen.troubles) == ("", "", [])
    assert [door.policy for door in seen.doors] == ["None"]
    assert seen.limits["nodes per read"] > 0
    assert abs(seen.clock_offset_us or 0) < 500_000
    assert URI in [namespace.uri for namespace in seen.namespaces]


async def test_proposals_are_the_nodes_that_the_demo_maps_by_hand(
    seen: Surveyed, simulated: str, tmp_path: Path
) -> None:
    place = tmp_path / "plant.toml"
    save(place, compose(seen, server(simulated), {}), may_replace=False)
    for machine in ("N1", "S2"):
        ours = await resolved(load(place), simulated, machine)
        by_hand = await resolved(load(DEMO), simulated, machine)
        assert set(by_hand) - set(ours) == NOT_THERE_BY_STANDARD
        # one machine's energy is reckoned from its power by hand; the node is there all the same
        assert set(ours) - set(by_hand) <= {"energy"}
        assert {k: v for k, v in ours.items() if k in by_hand} == {k: v for k, v in by_hand.items() if k in ours}
    plant = load(place)
    assert plant.tools_of(plant.machine("N1")).objects == "mt:Equipment/mt:Tools"
    assert plant.nodes_of(plant.machine("N1"))["part_count"].width == 64
    assert is_fine(await check_online(plant))


async def test_names_give_what_the_specifications_do_not(simulated: str, tmp_path: Path) -> None:
    place = tmp_path / "plant.toml"
    save(place, compose(await look(simulated), server(simulated), {}), may_replace=False)
    ours, by_hand = await resolved(load(place), simulated, "N1"), await resolved(load(DEMO), simulated, "N1")
    found = NOT_THERE_BY_STANDARD & set(ours)
    assert found == NOT_THERE_BY_STANDARD
    assert {signal: ours[signal] for signal in found} == {signal: by_hand[signal] for signal in found}


def test_what_is_missing_is_told_with_what_it_costs(seen: Surveyed) -> None:
    families = {ability.family for ability in missing(seen.machines[0])}
    assert families == {"quality", "scrap", "steps", "faults"}
    text = as_text(seen)
    assert "missing: alarm → no faults" in text
    assert "machine N1 (machine tool): OPC 40501-1: its type is MachineToolType" in text
    told = json.loads(as_json_text(seen))
    assert told["ok"] is True
    assert told["machines"][0]["proposals"][0]["signal"] == "state"


def test_other_variables_of_a_machine_are_asked_for_by_names(seen: Surveyed) -> None:
    def by_name(variables: Any, courses: Any) -> list[Proposal]:
        return [Proposal("scrap_count", v, "likely", "its name") for v in variables if v.name == "ScrapCount"] + [
            Proposal("state", variables[0], "guess", "no reason")
        ]

    machine = FoundMachine("M", "folder", "", "", (), others=list(seen.machines[0].others))
    machine.proposals = [p for p in seen.machines[0].proposals if p.signal == "state"]
    complete(machine, {}, by_name)
    assert [(p.signal, p.sureness) for p in machine.proposals] == [("state", "sure"), ("scrap_count", "likely")]
    assert "ScrapCount" not in [v.name for v in machine.others]


def test_the_command_writes_a_file_that_check_accepts_and_replaces_none(simulated: str, tmp_path: Path) -> None:
    place = tmp_path / "new.toml"
    run = CliRunner().invoke
    arguments = ["survey", simulated, "--watch", "0", "-o", str(place)]
    assert run(main, arguments).exit_code == 0
    assert run(main, ["check", str(place)]).exit_code == 0
    written = place.read_text("utf-8")
    place.write_text("mine", "utf-8")
    again = run(main, arguments)
    assert (again.exit_code, "--force" in again.output, place.read_text("utf-8")) == (1, True, "mine")
    assert run(main, [*arguments, "--force"]).exit_code == 0
    assert tomllib.loads(place.read_text("utf-8")) == tomllib.loads(written)
    assert [p.name for p in tmp_path.iterdir()] == ["new.toml"]


def test_a_bound_that_cuts_is_said_and_fails(simulated: str) -> None:
    result = CliRunner().invoke(main, ["survey", simulated, "--watch", "0", "--nodes", "50"])
    assert result.exit_code == 1
    assert "the server has more than 50 nodes below Objects" in result.output


def test_a_server_that_is_not_there(free_port: int, tmp_path: Path) -> None:
    place = tmp_path / "new.toml"
    result = CliRunner().invoke(main, ["survey", f"opc.tcp://127.0.0.1:{free_port}", "-o", str(place)])
    assert result.exit_code == 1
    assert "ended early: connection refused: is the server running and the port right?" in result.output
    assert not place.exists()
    told = CliRunner().invoke(main, ["survey", f"opc.tcp://127.0.0.1:{free_port}", "--json"])
    assert json.loads(told.output)["ok"] is False


async def test_a_server_that_never_answers(free_port: int) -> None:
    async def mute(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read()
        writer.close()

    async with await asyncio.start_server(mute, "127.0.0.1", free_port):
        found = await survey(server(f"opc.tcp://127.0.0.1:{free_port}", timeout_s=0.3), "", Bounds(), 0, _silent)
    assert "no answer within 0.3 s" in found.problem


@pytest.mark.parametrize("endpoint", ["http://127.0.0.1:1", "opc.tcp://127.0.0.1", "opc.tcp://127.0.0.1:x"])
def test_wrong_use(endpoint: str) -> None:
    result = CliRunner().invoke(main, ["survey", endpoint])
    assert result.exit_code == 2
    assert "ENDPOINT" in result.output


async def test_folders_courses_and_enumerations_of_a_server_of_no_standard(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await plc.machine("Mill", Count=ua.Variant(0, ua.VariantType.UInt16), Word=3, Text="O1", Idle=False)
        await plc.variable("Mill", "Power", 2.5, unit="kW")
        texts = [ua.LocalizedText(text) for text in ("off", "idle", "cut")]
        await plc.nodes["Mill/Word"].add_property(0, "EnumStrings", texts)
        await plc.write("Mill/Idle", False, status=ua.StatusCodes.BadNoCommunication)

        async def count() -> None:
            for n in range(1, 100):
                await plc.write("Mill/Count", ua.Variant(n, ua.VariantType.UInt16))
                await asyncio.sleep(0.1)

        heard: list[dict[str, Course]] = []

        def hear(variables: Any, courses: Any) -> list[Proposal]:
            heard.append(dict(courses))
            return []

        counting = asyncio.create_task(count())
        found = await look(plc.url, watch_s=1.3, propose=hear)
        counting.cancel()
    assert [(m.name, m.kind) for m in found.machines] == [("Mill", "folder")]
    others = {v.name: v for v in found.machines[0].others}
    assert set(others) == {"Count", "Word", "Text", "Idle", "Power"}
    assert others["Power"].unit == "kW"
    assert others["Word"].texts == {"0": "off", "1": "idle", "2": "cut"}
    assert (others["Count"].type, others["Idle"].quality) == ("UInt16", "bad")
    course = heard[0][others["Count"].node]
    values = [value for _, value in course.samples]
    assert len(values) >= 2
    assert values == sorted(values)
    assert course.watched_s >= 1.3
    assert len(heard[0][others["Text"].node].samples) == 1
    assert others["Idle"].node not in heard[0]


async def test_machines_in_one_folder_are_told_apart_and_agree_on_codes(free_port: int) -> None:
    async with Plc(free_port) as plc:
        await plc.machine("Data")
        for prefix, state in (("M1", 2), ("M2", 7)):
            await plc.variable("Data", f"{prefix}_MachineState", ua.Variant(state, ua.VariantType.UInt16))
            await plc.variable("Data", f"{prefix}_PartCounter", ua.Variant(5, ua.VariantType.UInt16))
            await plc.variable("Data", f"{prefix}_Program", "O1")
            await plc.variable("Data", "Humidity", 40.0) if prefix == "M1" else None
            for pots in ("ToolLifeUsed", "ToolLifeLimit"):
                await plc.variable("Data", f"{prefix}_{pots}", [1.0, 2.0])
        found = await look(plc.url)
    assert [(m.name, m.kind) for m in found.machines] == [("M1", "folder"), ("M2", "folder")]
    assert [v.name for v in found.loose if v.name == "Humidity"] == ["Humidity"]
    for machine in found.machines:
        proposals = by_signal(machine)
        assert {"state", "part_count", "program", "tools[1].used", "tools[2].limit"} <= set(proposals)
        assert proposals["part_count"].width == 16
        assert "Seen on machines like this: 2, 7" in proposals["state"].question
    tables = [dict(by_signal(machine)["state"].values or {}) for machine in found.machines]
    assert tables[0] == tables[1]
    written = compose(found, server("opc.tcp://a:1"), {})
    plant = check(tomllib.loads(written), "plant.toml")
    assert plant.nodes_of(plant.machines[1])["part_count"].node.endswith(":M2_PartCounter")
    used = [line for line in written.splitlines() if line.startswith("used = ")]
    assert len(used) == 4
    assert all("YOUR DECISION" in line for line in used)
    assert sum(line.startswith("  tools.used ") for line in as_text(found).splitlines()) == 2


async def test_a_secured_server_is_surveyed_once_its_certificate_is_approved(
    free_port: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LINE_PASSWORD", PASSWORD)
    place, der = tmp_path / "plant.toml", certificate()
    async with Secured(free_port, tmp_path, der, user_manager=OneUser()) as secured:
        words = ["survey", secured.url, "--watch", "0", "-o", str(place), "--security", "Basic256Sha256"]
        words += ["--user", USER, "--password-env", "LINE_PASSWORD"]

        async def run(*more: str) -> Any:
            return await asyncio.to_thread(CliRunner().invoke, main, [*words, *more])

        first = await run()
        assert (first.exit_code, fingerprint(der) in first.output, place.exists()) == (1, True, False)
        wrong = await run("--fingerprint", "0" * 64)
        assert (wrong.exit_code, place.exists()) == (1, False)
        second = await run("--fingerprint", fingerprint(der))
    assert "variables that may be signals" in second.output
    assert "Basic256Sha256 SignAndEncrypt" in second.output
    written = place.read_text("utf-8")
    assert (
        f'security = {{ policy = "Basic256Sha256", user = "{USER}", password_env = "LINE_PASSWORD" }}' in written
    )
    assert PASSWORD not in first.output + wrong.output + second.output + written


def variable(name: str, *, uri: str = "urn:m", node: str = "nsu=urn:m;s=x", value: object = None) -> Variable:
    return Variable(node, (("urn:m", "Folder"), (uri, name)), type="Int32", value=value)


def surveyed(proposal: Proposal, name: str = "M1") -> Surveyed:
    state = Proposal("state", variable("State"), "guess", "a guess", "which codes are these?")
    count = Proposal("part_count", variable("Count"), "likely", "its name", width=16)
    machine = FoundMachine(
        name, "folder", "variables stand together", "", (("urn:m", "Folder"),), [state, count, proposal]
    )
    uris = dict.fromkeys(uri for p in (state, proposal) for uri, _ in p.variable.path)
    return Surveyed("opc.tcp://a:1", namespaces=[Namespace(uri) for uri in uris], machines=[machine])


HOSTILE = st.one_of(
    st.text(max_size=60),
    st.sampled_from([
        '"\n[[servers]]\nid = "x"', "a\r\nb", "\x1b[2J", "\u202egnp", "'''", '"""', "\\", "#", "<script>",
        "ns=2;s=1", "a/b:c", "\x00", "\x7f", "\u2028", "\ud800", "=", "k" * 500,
    ]),
)  # fmt: skip


@given(HOSTILE, HOSTILE, HOSTILE, HOSTILE)
def test_texts_of_a_server_never_break_the_file(name: str, text: str, uri: str, value: str) -> None:
    odd = variable(name or "x", uri=uri or "u", node=f"nsu={uri};s={name}", value=value)
    proposal = Proposal("program", odd, "guess", text, question=text, rivals=(f"nsu=urn:m;s={name}",), values=None)
    seen = surveyed(proposal, name)
    written = compose(seen, server("opc.tcp://a:1"), {machine_key(seen.machines[0]): [text]})
    plant = check(tomllib.loads(written), "plant.toml")
    assert len(plant.machines) == 1
    ref = plant.nodes_of(plant.machines[0]).get("program")
    if name and ref is not None and not ref.node.startswith("nsu="):
        assert ref.node.rpartition(":")[2] == name.rpartition(":")[2]
    told = "".join(c for c in as_text(seen) if not c.isprintable())
    assert set(told) <= {"\n"}
    if "\ud800" not in name + text + uri + value:
        json.loads(as_json_text(seen))


@given(st.text(max_size=80), st.text(max_size=80))
def test_strings_and_keys_come_back_as_they_were(key: str, value: str) -> None:
    assert tomllib.loads(f"{key_of(key)} = {text_of(value)}") == {key: value}


def test_what_a_person_must_decide_is_marked() -> None:
    proposal = Proposal(
        "mode", variable("Mode"), "guess", "one of two", "which codes are which?", ("nsu=urn:m;s=y",),
        values={"1": "automatic"},
    )  # fmt: skip
    lines = compose(surveyed(proposal), server("opc.tcp://a:1"), {}).splitlines()
    line = next(line for line in lines if line.startswith("mode = "))
    assert line.endswith("# YOUR DECISION: which codes are which?. guess; one of two; others: nsu=urn:m;s=y")
    assert 'values = { "1" = "automatic" }' in line
    assert any(line.startswith("part_count") and "YOUR DECISION" not in line for line in lines)
    assert sum("YOUR DECISION" in line for line in lines) >= 4


def test_tools_one_by_one_have_tables_of_their_own() -> None:
    used = Proposal("tools[12].used", variable("Life"), "likely", "its name", index=3, unit="min")
    written = compose(surveyed(used), server("opc.tcp://a:1"), {})
    plant = check(tomllib.loads(written), "plant.toml")
    ref = plant.tools_of(plant.machines[0]).each["12"]["used"]
    assert (ref.index, ref.unit) == (3, "min")


def test_security_stands_in_the_file_and_no_secret() -> None:
    table = SecurityTable(policy="Basic256Sha256", user="viewer", password_env="LINE_PASSWORD")
    proposal = Proposal("program", variable("P"), "likely", "its name")
    written = compose(surveyed(proposal), server("opc.tcp://a:1", security=table), {})
    assert check(tomllib.loads(written), "plant.toml").servers[0].security == table


def test_a_machine_that_lacks_too_much_is_left_for_a_person() -> None:
    seen = surveyed(Proposal("program", variable("P"), "likely", "its name"))
    seen.machines.append(FoundMachine("M2", "folder", "together", "", (("urn:m", "Other"),)))
    seen.machines[1].others = [variable("Known")]
    written = compose(seen, server("opc.tcp://a:1"), {})
    assert [m.id for m in check(tomllib.loads(written), "plant.toml").machines] == ["M1"]
    assert '# id = "M2"' in written


def test_machines_with_one_name_get_ids_of_their_own() -> None:
    seen = surveyed(Proposal("program", variable("P"), "likely", "its name"), "機械 1")
    second = FoundMachine("機械 1", "folder", "together", "", (("urn:m", "Folder"),))
    second.proposals = [
        Proposal("state", variable("Second"), "likely", "its name"),
        Proposal("part_count", variable("Third"), "likely", "its name"),
    ]
    seen.machines.append(second)
    plant = check(tomllib.loads(compose(seen, server("opc.tcp://a:1"), {})), "plant.toml")
    assert [m.id for m in plant.machines] == ["1", "1-2"]


def test_variables_below_a_folder_are_one_machine() -> None:
    def at(*names: str) -> Variable:
        return Variable("/".join(names), tuple(("urn:m", name) for name in names))

    seen = Surveyed("opc.tcp://a:1")
    seen.loose = [at("A", "a"), at("A", "b"), at("A", "Sub", "c"), at("B", "d")]
    found = folders(seen)
    assert [(m.name, len(m.others)) for m in found] == [("A", 3)]
    assert [v.node for v in seen.loose] == ["B/d"]


def test_a_password_in_clear_is_warned_of() -> None:
    door = Door("opc.tcp://a:1", "None", "None", ("UserName",), is_password_in_clear=True)
    assert "a password would go over the network in clear" in as_text(Surveyed("e", doors=[door]))


def test_saving_leaves_nothing_half(tmp_path: Path) -> None:
    place = tmp_path / "a.toml"
    place.write_text("old", "utf-8")
    with pytest.raises(FileExistsError):
        save(place, "new", may_replace=False)
    with pytest.raises(UnicodeEncodeError):
        save(place, "\ud800", may_replace=True)
    assert (place.read_text("utf-8"), [p.name for p in tmp_path.iterdir()]) == ("old", ["a.toml"])
    save(place, "new", may_replace=True)
    assert place.read_text("utf-8") == "new"
