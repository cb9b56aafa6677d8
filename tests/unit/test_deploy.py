"""What is shipped beside the packages: container, unit, licence, chart library, and the demo plant file."""

import configparser
import os
import re
import subprocess
import tomllib
from datetime import datetime
from pathlib import Path

import pytest
import yaml

from swarfline.calendar import merge, to_us
from swarfline.plant import load
from swarfline.plant.checks import is_loopback
from swarfline.serve.planned import planned_on
from swarfline_sim.parts import PROGRAMS
from swarfline_sim.planning import ATTENDED, UNATTENDED
from swarfline_sim.program import cycle_seconds, plan_program
from swarfline_sim.scenario import MACHINES, plant
from swarfline_sim.shifts import WorksCalendar

TOP = Path(__file__).parents[2]
DEPLOY = TOP / "deploy"
PLANT_IN_CONTAINER = "/data/plant.toml"


def instructions() -> list[tuple[str, str]]:
    text = re.sub(r"\\\n\s*", " ", (DEPLOY / "Dockerfile").read_text(encoding="utf-8"))
    lines = [line.strip() for line in text.splitlines() if line.strip() and not line.startswith("#")]
    return [(head, rest) for head, _, rest in (line.partition(" ") for line in lines)]


def stages() -> list[list[tuple[str, str]]]:
    found: list[list[tuple[str, str]]] = []
    for head, rest in instructions():
        if head == "FROM":
            found.append([])
        found[-1].append((head, rest))
    return found


def compose() -> dict:
    return yaml.safe_load((TOP / "docker-compose.yml").read_text(encoding="utf-8"))


def unit() -> configparser.ConfigParser:
    parser = configparser.ConfigParser(interpolation=None, strict=False)
    parser.optionxform = str
    parser.read(DEPLOY / "swarfline.service", encoding="utf-8")
    return parser


def week_us() -> tuple[int, int]:
    monday = datetime.fromisoformat("2026-11-16T00:00+01:00")
    return to_us(monday), to_us(monday) + 7 * 24 * 3600 * 1_000_000


def test_the_image_is_built_in_stages_on_a_named_version():
    bases = [rest.split()[0] for head, rest in instructions() if head == "FROM"]
    assert len(bases) == 2
    for base in bases:
        assert re.fullmatch(r"python:3\.\d+-slim", base)
    (copied,) = [rest for head, rest in stages()[-1] if head == "COPY"]
    assert copied.startswith("--from=build ")


def test_the_image_does_not_run_as_root():
    last = stages()[-1]
    assert [rest for head, rest in last if head == "USER"] == ["swarfline"]
    user = [head for head, _ in last].index("USER")
    assert all(head not in ("RUN", "COPY", "ADD") for head, _ in last[user:])
    assert any("useradd" in rest and "--uid 8750" in rest for head, rest in last if head == "RUN")


def test_the_image_tells_its_health_and_keeps_its_data():
    last = dict(stages()[-1])
    listen = load(DEPLOY / "demo.toml").listen
    assert f"http://{listen.host}:{listen.port}/health/ready" in last["HEALTHCHECK"]
    assert last["VOLUME"] == '["/data"]'
    assert "EXPOSE" not in last, "a loopback listener cannot be published"


def test_what_the_build_copies_is_there_and_let_through():
    through = (TOP / ".dockerignore").read_text(encoding="utf-8").splitlines()
    for head, rest in stages()[0]:
        if head != "COPY":
            continue
        *sources, _ = rest.split()
        for source in sources:
            assert f"!{source}" in through
            assert (TOP / source).exists(), source


def test_the_program_that_the_image_starts_is_installed():
    scripts = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]["scripts"]
    last = dict(stages()[-1])
    assert yaml.safe_load(last["ENTRYPOINT"]) == ["swarfline"]
    for service in compose()["services"].values():
        for program in service.get("entrypoint", ["swarfline"]):
            assert program in scripts


def test_both_containers_share_the_loopback_of_the_host():
    for service in compose()["services"].values():
        assert service["network_mode"] == "host"
        assert "ports" not in service, "published ports and the host's network exclude one another"


def test_the_containers_have_no_rights_that_they_do_not_need():
    for service in compose()["services"].values():
        assert service["read_only"] is True
        assert service["cap_drop"] == ["ALL"]
        assert service["security_opt"] == ["no-new-privileges:true"]
        assert service["user"] == "8750"


def test_the_container_reads_the_demo_plant():
    volumes = compose()["services"]["service"]["volumes"]
    assert f"./service/swarfline/demo.toml:{PLANT_IN_CONTAINER}:ro" in volumes
    assert compose()["services"]["service"]["command"][-1] == PLANT_IN_CONTAINER
    assert yaml.safe_load(dict(stages()[-1])["CMD"])[-1] == PLANT_IN_CONTAINER
    (server,) = load(DEPLOY / "demo.toml").servers
    port = compose()["services"]["simulator"]["command"][-1]
    assert server.endpoint == f"opc.tcp://127.0.0.1:{port}/swarfline-sim"


def test_the_unit_runs_as_its_own_user_and_is_fenced_in():
    service = unit()["Service"]
    assert service["User"] == "swarfline"
    assert service["ExecStart"].split()[1:] == ["run", "/etc/swarfline/plant.toml"]
    assert service["CapabilityBoundingSet"] == ""
    assert service["ProtectSystem"] == "strict"
    assert service["StateDirectory"] == "swarfline"
    assert service["Restart"] == "on-failure"
    fences = ("NoNewPrivileges", "ProtectHome", "PrivateTmp", "PrivateDevices", "RestrictSUIDSGID")
    assert {service[name] for name in fences} == {"yes"}


@pytest.mark.parametrize("script", ["tests/run", ".ci/run"])
def test_scripts_stop_at_the_first_failure(script):
    text = (TOP / script).read_text(encoding="utf-8")
    assert text.startswith("#!/usr/bin/env bash\n")
    assert "\nset -euo pipefail\n" in text
    assert os.access(TOP / script, os.X_OK)
    subprocess.run(["bash", "-n", TOP / script], check=True)


def test_licence_and_notice():
    licence = (TOP / "LICENSE").read_text(encoding="utf-8")
    assert "Apache License" in licence
    assert "END OF TERMS AND CONDITIONS" in licence
    notice = (TOP / "NOTICE").read_text(encoding="utf-8")
    assert "plotly.js" in notice
    assert "Permission is hereby granted, free of charge" in notice


def test_the_changelog_has_a_place_for_what_comes():
    text = (TOP / "CHANGELOG.md").read_text(encoding="utf-8")
    sections = re.findall(r"^## \[(.+?)\]", text, re.MULTILINE)
    assert sections[0] == "Unreleased"
    kinds = set(re.findall(r"^### (.+)$", text, re.MULTILINE))
    assert kinds <= {"Added", "Changed", "Deprecated", "Removed", "Fixed", "Security"}


def test_the_chart_library_is_in_the_package_with_its_banner():
    import swarfline

    path = Path(swarfline.__file__).parent / "serve" / "page" / "lib" / "plotly.min.js"
    assert path.is_file(), "installing the checkout (pip install -e .) writes it"
    with path.open(encoding="utf-8") as stream:
        head = stream.read(500)
    assert "plotly.js v" in head
    assert "MIT license" in head


def test_the_chart_library_is_built_not_kept():
    settings = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))
    hatch = settings["tool"]["hatch"]["build"]
    (library,) = hatch["targets"]["wheel"]["artifacts"]
    assert Path(library).parent.as_posix() in hatch["targets"]["sdist"]["exclude"]
    assert f"{Path(library).parent.as_posix()}/" in (TOP / ".gitignore").read_text(encoding="utf-8").splitlines()
    assert f'"{library}"' in (TOP / hatch["hooks"]["custom"]["path"]).read_text(encoding="utf-8")
    assert any(need.startswith("plotly") for need in settings["build-system"]["requires"])
    assert not any(need.startswith("plotly") for need in settings["project"]["dependencies"])


@pytest.mark.parametrize("name", ["demo.toml", "vendor-sample.toml"])
def test_plant_files_that_are_shipped_are_accepted(name):
    assert is_loopback(load(DEPLOY / name).listen.host)


def test_the_demo_plant_has_the_machines_and_cells_of_the_simulator():
    shipped = load(DEPLOY / "demo.toml")
    assert tuple(machine.id for machine in shipped.machines) == MACHINES
    assert {m.id: m.cell for m in shipped.machines} == {spec.name: spec.cell for spec in plant()}
    for spec in plant():
        assert shipped.machine(spec.name).part in spec.programs


def test_the_demo_plant_has_the_parts_of_the_simulator():
    shipped = {part.id: part for part in load(DEPLOY / "demo.toml").parts}
    assert set(shipped) == set(PROGRAMS)
    for name, program in PROGRAMS.items():
        part = shipped[name]
        assert part.planned_cycle_time_s == program.planned_s
        assert part.parts_per_cycle == program.parts_per_cycle
        assert part.programs == (program.name,)


@pytest.mark.parametrize("machine", MACHINES)
def test_the_demo_plant_plans_the_cycles_that_the_simulator_runs(machine):
    shipped = load(DEPLOY / "demo.toml")
    parts = {part.id: part for part in shipped.parts}
    (spec,) = plant([machine])
    numbers = {tool.pot: str(tool.number) for tool in spec.magazine}
    for name, program in spec.programs.items():
        plan = plan_program(program, spec.kinematics)
        found = planned_on(shipped.machine(machine), parts[name])
        door_s = 0.15  # it takes 0 to 0.3 s longer to open than the undisturbed cycle has it
        assert found.all_us / 1e6 == pytest.approx(cycle_seconds(plan, spec.kinematics) + door_s, abs=0.2)
        cutting = {numbers[step.pot]: plan.cutting_s(step.pot) for step in plan.steps}
        assert {tool: us / 1e6 for tool, us in found.cutting_us.items()} == pytest.approx(cutting, abs=0.11)


@pytest.mark.parametrize("machine", MACHINES)
def test_the_demo_plant_plans_production_when_the_simulator_works(machine):
    start, end = week_us()
    works, at, spans = WorksCalendar(runs_alone=machine in ("N1", "N2")), start, []
    while at < end:
        span = works.at(at)
        if span.kind in (ATTENDED, UNATTENDED):
            spans.append((max(span.start_us, start), min(span.end_us, end)))
        at = span.end_us
    assert load(DEPLOY / "demo.toml").calendar().planned(machine, start, end) == merge(spans)
