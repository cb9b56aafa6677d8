"""Good plant files: what is read, how mappings and machines overlay, what the calendar becomes."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from pydantic import ValidationError

from swarfline.calendar import to_us
from swarfline.plant import load
from swarfline.plant.checks import is_loopback, namespaces
from swarfline.plant.load import check

TOP = Path(__file__).parents[3]
DEMO = TOP / "deploy" / "demo.toml"
SAMPLE = TOP / "deploy" / "vendor-sample.toml"


def us(text: str) -> int:
    return to_us(datetime.fromisoformat(text))


def small(**tables):
    machine = {"id": "N1", "signals": {"state": "mch:State", "part_count": "mch:Count"}}
    return {
        "plant": {"name": "Irrigation works", "time_zone": "Europe/Madrid"},
        "servers": [{"id": "line", "endpoint": "opc.tcp://127.0.0.1:4840", "machines": [machine]}],
        **tables,
    }


def test_the_smallest_file_has_all_defaults(write_plant):
    path = write_plant()
    plant = load(path)
    assert plant.path == str(path)
    assert (plant.listen.host, plant.listen.port) == ("127.0.0.1", 8750)
    assert plant.store.url == "sqlite:///swarfline.db"
    assert plant.servers[0].clock == "ours"
    assert plant.nodes_of(plant.machine("N1"))["state"].node == "mch:State"
    assert plant.calendar().planned("N1", us("2026-11-16T00:00Z"), us("2026-11-17T00:00Z")) == []


def test_a_plant_cannot_be_altered(write_plant):
    plant = load(write_plant())
    with pytest.raises(ValidationError):
        plant.plant.name = "another"


def test_the_path_is_not_part_of_what_is_written_out(write_plant):
    assert "path" not in load(write_plant()).model_dump()


def test_a_machine_overlays_its_mapping():
    plant = load(DEMO)
    north, south = plant.machine("N1"), plant.machine("S1")
    assert "energy" not in plant.nodes_of(north)
    assert "energy" in plant.nodes_of(south)
    assert plant.nodes_of(north)["power"] == plant.nodes_of(south)["power"]
    assert plant.tools_of(south).objects == "mt:Equipment/mt:Tools"
    assert plant.server_of("S1").id == "line"


def test_machines_that_do_not_exist_are_key_errors():
    plant = load(DEMO)
    for ask in (plant.machine, plant.server_of):
        with pytest.raises(KeyError):
            ask("N9")


def test_own_namespaces_are_added_to_the_known_ones():
    found = namespaces(load(DEMO))
    assert found["sim"] == "urn:swarfline:simulator"
    assert found["mt"] == "http://opcfoundation.org/UA/MachineTool/"


def test_programs_name_the_part():
    assert load(DEMO).part_by_program() == {"O1201": "PH-12", "O3002": "VC-30", "O0507": "MB-05"}


def test_the_sample_for_flat_servers():
    plant = load(SAMPLE)
    machine = plant.machine("L1")
    nodes, tools = plant.nodes_of(machine), plant.tools_of(machine)
    assert nodes["state"].values["9"] == "out_of_service"
    assert nodes["alarm"].values == {"0": False, "1": False, "2": True, "3": True}
    assert nodes["cycle_count"].width == 16
    assert {pot: fields["number"].index for pot, fields in tools.each.items()} == {"1": 0, "2": 1}
    assert plant.machine("L2").cycle_bounds == "part_count"


def test_planned_stops_without_offset_are_local_time():
    calendar = load(SAMPLE).calendar()
    # Madrid is one hour ahead of UTC in January (IANA tzdata)
    day = (us("2027-01-12T00:00+01:00"), us("2027-01-13T00:00+01:00"))
    shift_end = us("2027-01-12T14:30Z")
    assert calendar.planned("L1", *day)[-1][1] == shift_end
    assert calendar.planned("L2", *day)[-1][1] == us("2027-01-12T12:00Z")
    assert calendar.planned("L1", us("2027-01-06T00:00+01:00"), us("2027-01-07T00:00+01:00")) == []


def test_times_of_day_may_be_toml_times_or_texts():
    shift = {"name": "early", "start": "06:00", "end": "14:00"}
    native = {"name": "early", "start": datetime(2026, 1, 1, 6, tzinfo=UTC).time(), "end": "14:00"}
    assert check(small(shifts=[shift]), "a").shifts == check(small(shifts=[native]), "a").shifts


def test_shifts_of_other_machines_or_days_do_not_overlap():
    early = {"name": "early", "start": "06:00", "end": "14:00"}
    weekend = {"name": "weekend", "start": "06:00", "end": "14:00", "days": ["sat", "sun"]}
    after = {"name": "late", "start": "14:00", "end": "22:00"}
    night = {"name": "night", "start": "22:00", "end": "06:00"}
    assert len(check(small(shifts=[early, weekend, after, night]), "a").shifts) == 4


def test_a_break_may_lie_after_midnight_and_end_with_the_shift():
    night = {"name": "night", "start": "22:00", "end": "06:00", "breaks": [{"start": "05:30", "end": "06:00"}]}
    assert check(small(shifts=[night]), "a").shifts[0].breaks[0].start.hour == 5


def test_one_node_may_tell_different_things():
    word = "nsu=urn:example:controls;s=Word"
    names = "nsu=urn:example:controls;s=Names"
    order = {"part": "mch:Part", "lot": "mch:Lot", "lot_size": "mch:Size"}
    first = {
        "state": {"node": word, "values": {"0": "not_executing", "1": "executing"}},
        "alarm": {"node": word, "values": {"2": True, "1": False}},
        "alarm_code": word,
        "part_count": {"node": "nsu=urn:example:controls;s=Counts", "index": 0},
        "good_count": {"node": "nsu=urn:example:controls;s=Counts", "index": 1},
        "program": {"node": names, "index": 0},
        **order,
    }
    second = {
        "state": {"node": word, "values": {"16": "not_executing", "17": "executing"}},
        "part_count": {"node": "nsu=urn:example:controls;s=Counts", "index": 2},
        "program": {"node": names, "index": 1},
        **order,
    }
    tables = small()
    (server,) = tables["servers"]
    server["machines"] = [{"id": "N1", "signals": first}, {"id": "N2", "signals": second}]
    # another server may well use the same names
    other = {**server, "id": "other", "endpoint": "opc.tcp://127.0.0.1:4841"}
    other["machines"] = [{"id": "N3", "signals": first}]
    assert len(check({**tables, "servers": [server, other]}, "a").machines) == 3


@pytest.mark.parametrize(
    "endpoint",
    ["opc.tcp://n1.works:4840", "opc.tcp://192.0.2.10:1/a:b/c", "opc.tcp://[::1]:65535/line", "opc.tcp://h:4840/"],
)
def test_endpoints_with_a_port_stay_as_they_are(write_plant, small_plant, endpoint):
    plant = load(write_plant(small_plant.replace("opc.tcp://127.0.0.1:4840", endpoint)))
    assert plant.servers[0].endpoint == endpoint


@pytest.mark.parametrize("host", ["127.0.0.1", "127.9.9.9", "::1", "localhost"])
def test_loopback_hosts(host):
    assert is_loopback(host)


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.4", "localhost.example", "", "127.0.0.1.example"])
def test_other_hosts(host):
    assert not is_loopback(host)
