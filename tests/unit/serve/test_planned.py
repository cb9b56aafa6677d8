"""Planned against measured over HTTP, on the morning of works.py with a plan added.

Cycles of N1: cutting 120 s (tool 7), tool change 10 s, other 40 s; its signals tell no positioning.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from swarfline.plant import load
from swarfline.serve import create_app
from swarfline.store import Store

from .client import Client
from .works import NOW, PLANT, fill

STEPS = """
planned_steps = [
  { tool = "7", cutting_s = 110, other_s = 35 },
  { tool = "8", cutting_s = 5, angles_deg = { tilt = 90 } },
]
"""
MOTION = """
motion = { tool_to_tool_s = 4, chip_to_chip_s = 6, axes = [
  { name = "tilt", max_rpm = 60, acceleration_deg_s2 = 10 },
] }
"""
AXIS = MOTION.replace("tilt", "swivel")
PART = 'programs = ["O1201"]\n'
N1, S1 = 'id = "N1"\n', 'name = "South one"\n'


def answer(folder: Path, text: str, path: str = "planned-cycles") -> Client:
    """What the works with this plant file answer."""
    file = folder / "plant.toml"
    file.write_text(text, encoding="utf-8")
    store = Store.open(f"sqlite:///{folder / 'works.db'}")
    fill(store)
    found = Client(create_app(load(file), store, clock_us=lambda: NOW)).get(f"/api/v1/{path}")
    store.close()
    assert found.status_code == 200, found.text
    return found


def written(steps: str = "", north: str = "", south: str = "") -> str:
    """The plant file of works.py with more in it."""
    text = PLANT.replace(PART, PART + steps).replace(N1, N1 + north).replace(S1, S1 + south)
    assert text.count(steps) and text.count(north) and text.count(south)
    return text


def against(rows, name):
    return {row[name]: (row["planned_s"], row["measured_s"], row["difference_s"]) for row in rows}


@pytest.fixture(scope="module")
def row(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict]:
    (found,) = answer(tmp_path_factory.mktemp("planned"), written(STEPS, MOTION)).json()["items"]
    return found


def test_steps(row):
    """A turn by 90° takes 2·√(90/10) = 6 s, 4 of them within the tool change, and nothing of 6 is left."""
    assert (row["machine"], row["part"], row["count"]) == ("N1", "PH-12", 110)
    assert against(row["steps"], "step") == {
        "cutting": (115, 120, 5),
        "tool_change": (8, 10, 2),
        "positioning": (4, None, None),
        "other": (35, 40, None),
    }


def test_the_cycle(row):
    assert row["cycle"] == {"planned_s": 162, "measured_s": 170, "difference_s": 8}
    assert row["planned_cycle_time_s"] == 160


def test_tools_that_were_planned_and_did_not_cut(row):
    assert against(row["tools"], "tool") == {"7": (110, 120, 10), "8": (5, 0, -5)}


def test_a_plan_longer_than_the_planned_cycle_time_is_noted(row):
    assert row["notes"] == ["the planned steps add up to 162 s, more than planned_cycle_time_s = 160"]


def test_without_a_motion_the_moves_are_not_planned(tmp_path):
    (found,) = answer(tmp_path, written(STEPS)).json()["items"]
    assert against(found["steps"], "step") == {
        "cutting": (115, 120, 5),
        "tool_change": (None, 10, None),
        "positioning": (None, None, None),
        "other": (None, 40, None),
    }
    assert found["cycle"]["planned_s"] is None
    assert "no motion" in found["notes"][0]


def test_an_axis_that_this_machine_lacks_is_noted(tmp_path):
    (found,) = answer(tmp_path, written(STEPS, AXIS, MOTION)).json()["items"]
    assert found["steps"][1]["planned_s"] is None
    assert found["notes"] == ["this machine's motion has no axis 'tilt': its moves have no planned time"]


def test_without_planned_steps_what_is_measured_is_told(tmp_path):
    (found,) = answer(tmp_path, PLANT).json()["items"]
    assert against(found["steps"], "step")["cutting"] == (None, 120, None)
    assert against(found["tools"], "tool") == {"7": (None, 120, None)}
    assert found["notes"] == ["the plant file has no planned_steps of this part"]


def test_a_part_that_is_not_listed(tmp_path):
    text = PLANT.replace('id = "PH-12"', 'id = "VC-30"')
    (found,) = answer(tmp_path, text).json()["items"]
    assert (found["part"], found["planned_cycle_time_s"]) == ("PH-12", None)
    assert found["notes"] == ["the plant file does not list this part"]


def test_the_part_that_a_machine_is_to_make_is_told_before_it_is_made(tmp_path):
    text = written(STEPS, MOTION, 'part = "PH-12"\n')
    rows = {r["machine"]: r for r in answer(tmp_path, text).json()["items"]}
    south = rows["S1"]
    assert (south["count"], south["cycle"]["measured_s"]) == (0, None)
    assert against(south["steps"], "step")["cutting"] == (115, None, None)
    assert against(south["tools"], "tool") == {"7": (110, None, None), "8": (5, None, None)}


def test_cutting_told_by_the_spindle_s_speed_alone_is_noted(tmp_path):
    text = written(STEPS, MOTION).replace('spindle_load = "mch:Load"\n', "")
    (found,) = answer(tmp_path, text).json()["items"]
    assert against(found["steps"], "step")["cutting"] == (115, 120, 5)
    assert "the most that it can be" in found["notes"][-1]


def test_as_csv(tmp_path):
    header, line = answer(tmp_path, written(STEPS, MOTION), "planned-cycles.csv").text.splitlines()
    assert "cycle_planned_s,cycle_measured_s,cycle_difference_s" in header
    assert line.startswith("N1,PH-12,110,160.0,162.0,170.0,8.0,")
