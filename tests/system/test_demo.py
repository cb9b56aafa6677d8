"""``swarfline demo``: a past that is true, a page that says what the API says, and nothing left behind."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from .accounts import Span, Told, true_account
from .api import Api
from .outages import assert_nothing_twice
from .processes import SWARFLINE, Process, moment, real_us
from .truth import Truth
from .waiting import until

pytestmark = pytest.mark.system

ADDRESS = re.compile(r"The simulated plant runs\. Open (http://\S+/)")
FOLDER = re.compile(r"Its files are in (\S+) and are deleted at the end")
CELL = re.compile(r'<span data-cell="([\w.]+)"[^>]*>([^<]*)</span>')
TERM = re.compile(r"<dt>([^<]+)</dt><dd>([^<]+)")
MACHINES = ["N1", "N2", "N3", "N4", "S1", "S2"]
FIGURES = {
    "oee": "OEE",
    "availability": "Availability",
    "effectiveness": "Effectiveness",
    "quality_ratio": "Quality",
}
ZONE = ZoneInfo("Europe/Madrid")
LAST_DIGIT = 0.051
"""Pages round to one decimal."""


class Demo(Process):
    """The demo, on a free port and without a browser; its temporary folder lies beside ``output``."""

    def __init__(self, output: Path, *options: str) -> None:
        command = ["env", f"TMPDIR={output.parent}", *SWARFLINE, "demo", "--port", "0", "--no-browser", *options]
        super().__init__(command, output)
        self.api: Api

    def shown(self) -> None:
        """Wait until the page can be asked for and every machine is in sight."""
        self.api = Api(self.find(ADDRESS))
        until("every machine in sight", lambda: all(now["linked"] for now in self.api.now()))

    @property
    def children(self) -> list[int]:
        """The processes that it started."""
        tasks = Path(f"/proc/{self.pid}/task/{self.pid}/children")
        return [int(child) for child in tasks.read_text().split()] if self.runs else []

    def stop(self) -> None:
        """Ctrl-C: it ends in order, its simulator with it."""
        children = self.children
        assert len(children) == 1
        assert self.end(signal.SIGINT) == 0
        assert "Traceback" not in self.text
        left = [child for child in children if Path(f"/proc/{child}").exists()]
        for child in left:
            os.kill(child, signal.SIGKILL)
        assert left == []

    def clear_away(self) -> None:
        """See Process."""
        for child in self.children:
            os.kill(child, signal.SIGKILL)
        super().clear_away()
        if hasattr(self, "api"):
            self.api.close()


@pytest.fixture
def start(tmp_path) -> Iterator[Callable[..., Demo]]:
    """Starts demos that end with the test."""
    started: list[Demo] = []

    def start_demo(*options: str) -> Demo:
        started.append(Demo(tmp_path / f"demo-{len(started)}.log", *options))
        started[-1].shown()
        return started[-1]

    yield start_demo
    for demo in started:
        demo.clear_away()


def true_past(folder: Path, start_us: int, until_us: int) -> Truth:
    """What the simulated plant really did in a time."""
    file = folder / "truth.jsonl"
    command = [sys.executable, "-m", "swarfline_sim", "history", "--start", moment(start_us)]
    command += ["--until", moment(until_us), "--truth", str(file)]
    subprocess.run(command, stdout=subprocess.DEVNULL, check=True)
    return Truth(file)


def number(text: str) -> float | None:
    """A number as a page writes it; None for a dash."""
    found = re.match(r"[\d\u202f]+(\.\d+)?", text)
    return float(found[0].replace("\u202f", "")) if found else None


def same(page: str, value: float | None) -> bool:
    """Whether a page says in percent what the API says as a ratio."""
    shown = number(page)
    if shown is None or value is None:
        return shown is value
    return abs(shown - 100 * value) < LAST_DIGIT


def figures_agree(texts: dict[str, str], row: dict) -> bool:
    """Whether OEE and its factors are the same; ``texts`` by figure."""
    return all(same(texts[name], row["figures"][name]["value"]) for name in FIGURES)


def plant_page_agrees(api: Api, machine: str) -> bool:
    """Whether the first page tells of a machine's shift what the API tells."""
    cells = dict(CELL.findall(api.text("/")))
    (row,) = api.rows("/oee", machine=machine, span="shift")
    (pace,) = api.rows("/pace", machine=machine)
    texts = {name: cells[f"{machine}.{name.removesuffix('_ratio')}"] for name in FIGURES}
    return figures_agree(texts, row) and number(cells[f"{machine}.made"]) == pace["made"]


def day_page_agrees(api: Api, machine: str, day: str | None) -> bool:
    """Whether a machine's page tells of a day what the API tells."""
    terms = dict(TERM.findall(api.text(f"/machines/{machine}", **({"day": day} if day else {}))))
    span = _day(day) if day else {"span": "day"}
    (row,) = api.rows("/oee", machine=machine, **span)
    texts = {name: terms[title] for name, title in FIGURES.items()}
    return figures_agree(texts, row) and number(terms["Parts made"]) == row["parts"]["produced"]


def _day(day: str) -> dict[str, str]:
    start = datetime.fromisoformat(day).replace(tzinfo=ZONE)
    return {"from": start.isoformat(), "to": (start + timedelta(days=1)).isoformat()}


def _yesterday(api: Api) -> str:
    today = datetime.fromisoformat(api.get("/plant")["now"]).date()
    return (today - timedelta(days=1)).isoformat()


def assert_past(told: dict[str, Told], truth: Truth, past: Span) -> None:
    """Everything taken in is true."""
    for machine, each in told.items():
        account, true = each.account(past), true_account(truth, machine, past)
        for name in ("cycles", "steps", "tools", "conditions", "parts", "lives", "alarms"):
            assert getattr(account, name) == getattr(true, name), (machine, name)
        assert account.cycle_energy == pytest.approx(true.cycle_energy, rel=1e-6)
        assert account.quarters == pytest.approx(true.quarters, rel=1e-6)
        assert len(true.quarters) >= 190
        assert len(true.conditions) >= 1


def test_past_present_and_a_second_start(start, tmp_path):
    folder = tmp_path / "kept"
    demo = start("--days", "2", "--dir", str(folder))
    assert "Taking in" in demo.text
    start_us = json.loads((folder / "demo.json").read_text())["start_us"]
    told = {machine: Told(demo.api, machine) for machine in demo.api.machines()}
    assert list(told) == MACHINES
    past = Span(start_us, min(each.gaps[0]["start_us"] for each in told.values()))
    truth = true_past(tmp_path, start_us, past.end_us)
    assert_past(told, truth, past)
    # N1 and N2 run day and night
    assert all(len(told[machine].account(past).cycles) > 500 for machine in ("N1", "N2"))

    until("the first page and the API to agree", lambda: plant_page_agrees(demo.api, "N1"))
    until("the page of today and the API to agree", lambda: day_page_agrees(demo.api, "N1", None))
    assert day_page_agrees(demo.api, "N1", _yesterday(demo.api))
    seen_us = {now["machine"]: now["at_us"] for now in demo.api.now()}
    demo.stop()

    plant = folder / "plant.toml"
    plant.write_text(plant.read_text("utf-8").replace("Irrigation works", "Irrigation works, edited", 1), "utf-8")
    stopped_us = real_us()
    again = start("--days", "2", "--dir", str(folder))
    back_us = real_us()
    assert "Taking in" not in again.text
    assert again.api.get("/plant")["name"] == "Irrigation works, edited"
    assert json.loads((folder / "demo.json").read_text())["start_us"] == start_us
    later = {machine: Told(again.api, machine) for machine in MACHINES}
    assert_past(later, truth, past)
    for machine in MACHINES:
        before, between = later[machine].gaps[0], later[machine].gaps[1:]
        assert before["start_us"] == told[machine].gaps[0]["start_us"]
        assert len(between) == 1
        assert seen_us[machine] <= between[0]["start_us"] <= stopped_us <= between[0]["end_us"] <= back_us
        assert_nothing_twice(later[machine])
    again.stop()
    assert (folder / "swarfline.db").exists()


def test_without_a_folder_nothing_is_left(start, tmp_path):
    demo = start("--days", "1")
    folder = Path(demo.find(FOLDER))
    assert (folder / "swarfline.db").exists()
    assert folder.parent == tmp_path
    demo.stop()
    assert not folder.exists()
