"""Figures over HTTP against the morning reckoned by hand (tests/unit/serve/works.py).

N1 until 12:00: planned 6 h less a break of 20 min = 20 400 s, all observed. 110 cycles of 170 s = 18 700 s
producing; of these 09:30 to 09:50 lie in the break: 6 whole cycles and 120 s of the next = 1 140 s. Planned busy
time 20 400 + 1 140 = 21 540 s. 110 parts of 160 s, 2 of them scrap.
S1: 20 400 s planned, an hour of it not observed; nothing made.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

N1_BUSY, N1_RUN = 21_540, 18_700
S1_BUSY = 20_400 - 3_600
GOOD_S = 160 * 108


def rows(answer):
    return {row["key"]: row for row in answer["items"]}


def test_oee_of_a_machine(get):
    found = rows(get("oee"))["N1"]["figures"]
    assert found["availability"]["value"] == pytest.approx(N1_RUN / N1_BUSY, rel=1e-12)
    assert found["effectiveness"]["value"] == pytest.approx(160 * 110 / N1_RUN, rel=1e-12)
    assert found["quality_ratio"]["value"] == pytest.approx(108 / 110, rel=1e-12)
    assert found["oee"]["value"] == pytest.approx(GOOD_S / N1_BUSY, rel=1e-12)
    assert (found["oee"]["numerator"], found["oee"]["denominator"]) == (GOOD_S, N1_BUSY)
    assert found["oee"]["terms_unit"] == "s" and found["oee"]["estimate"] is False


def test_parts_and_times(get):
    found = rows(get("oee"))["N1"]
    assert found["parts"] == {
        "produced": 110,
        "good": 108,
        "scrap": 2,
        "unjudged": 108,
        "across_gap": 0,
        "rework": 0,
    }
    assert found["times"]["producing_outside_time_s"] == 1140
    assert found["coverage_pct"] == 100


def test_a_group_is_the_sum_of_its_machines(get):
    answer = get("oee", by="plant")
    found = answer["items"][0]["figures"]
    assert found["oee"]["value"] == pytest.approx(GOOD_S / (N1_BUSY + S1_BUSY), rel=1e-12)
    assert answer["coverage_pct"] == pytest.approx(100 * (40_800 - 3_600) / 40_800)


def test_nothing_made_is_not_zero_quality(get):
    found = rows(get("oee"))["S1"]["figures"]
    assert found["availability"]["value"] == 0
    assert found["effectiveness"]["value"] is None and found["quality_ratio"]["value"] is None


@pytest.mark.parametrize("by", ["machine", "cell", "plant", "shift", "day", "week", "month", "part"])
def test_every_cut_adds_up(get, by):
    found = get("oee", by=by)["items"]
    busy = sum(r["times"]["planned_busy_time_s"] for r in found)
    assert busy == N1_BUSY + S1_BUSY
    assert sum(r["parts"]["good"] for r in found) == 108


CUTS = ("cell", "shift", "day", "week", "month", "part")


def test_the_keys_of_the_cuts(get):
    keys = {by: [r["key"] for r in get("oee", by=by)["items"]] for by in CUTS}
    assert keys == {
        "cell": ["north", "south"],
        "shift": ["2026-03-10 early"],
        "day": ["2026-03-10"],
        "week": ["2026-W11"],
        "month": ["2026-03"],
        "part": ["", "PH-12"],
    }


def test_kpis(get):
    """Of N1: 1800 s fault, 10 s wait before it and 10 s after each other cycle; one long stop, one failure."""
    row = rows(get("kpis"))["N1"]
    found = {name: f["value"] for name, f in row["figures"].items()}
    waits = N1_BUSY - N1_RUN - 1800
    assert found["technical_efficiency"] == pytest.approx(N1_RUN / (N1_RUN + 1800), rel=1e-12)
    assert found["allocation_efficiency"] == pytest.approx((N1_BUSY - waits) / N1_BUSY, rel=1e-12)
    assert found["net_equipment_effectiveness"] == pytest.approx(GOOD_S / N1_BUSY, rel=1e-12)
    assert found["parts_per_busy_hour"] == pytest.approx(110 / (N1_BUSY / 3600), rel=1e-12)
    assert found["scrap_ratio"] == 2 / 110 and found["setup_ratio"] == 0
    assert (found["mean_time_between_failures"], found["mean_time_to_restore"]) == (N1_RUN, 1800)
    assert found["mean_time_between_long_stops"] == N1_RUN
    assert found["energy_per_part"] == pytest.approx(24 / 110)
    assert (row["times"]["actual_delay_time_s"], row["times"]["actual_down_time_s"]) == (1800, waits)
    assert row["figures"]["mean_time_to_restore"]["terms_unit"] == "s, 1"
    assert row["figures"]["setup_ratio"]["denominator"] == N1_RUN


def test_kpis_that_a_machine_cannot_tell(get):
    found = rows(get("kpis"))["S1"]["figures"]
    for name in ("scrap_ratio", "setup_ratio", "technical_efficiency", "energy_per_part"):
        assert found[name]["value"] is None, name
    assert "alarm" in found["mean_time_to_restore"]["hint"] and "scrap" in found["scrap_ratio"]["hint"]


@pytest.mark.parametrize("by", ["cell", "plant", "shift", "day", "month", "part"])
def test_kpis_of_every_cut_add_up(get, by):
    def total(cut, *path):
        found = get("kpis", by=cut)["items"]
        return sum(r[path[0]][path[1]] if len(path) == 2 else r["figures"][path[1]][path[2]] or 0 for r in found)

    for path in (
        ("times", "actual_down_time_s"),
        ("parts", "scrap"),
        ("figures", "mean_time_to_restore", "numerator"),
        ("figures", "mean_time_between_long_stops", "denominator"),
        ("figures", "energy_per_part", "numerator"),
    ):
        assert total(by, *path) == pytest.approx(total("machine", *path), rel=1e-12), path


@pytest.mark.parametrize("by", ["machine", "plant", "part", "day", "month"])
@pytest.mark.parametrize("split", ["condition", "reason"])
def test_losses_leave_no_remainder(get, by, split):
    sums: dict[str, Fraction] = {}
    busy: dict[str, float] = {}
    for row in get("losses", by=by, split=split)["items"]:
        sums[row["key"]] = sums.get(row["key"], Fraction(0)) + Fraction(row["time_s"]).limit_denominator(10**6)
        busy[row["key"]] = row["planned_busy_time_s"]
    assert sums == busy


def test_losses_of_the_fault(get):
    found = {(r["loss"], r["length"]): r["time_s"] for r in get("losses", machine="N1")["items"]}
    # the fault is 1800 s; the 10 s wait before it belongs to the same stop, so it counts as long
    assert found["fault", "long"] == 1800 and found["waiting", "long"] == 10
    reasons = {r["reason"]: r["time_s"] for r in get("losses", machine="N1", split="reason")["items"]}
    assert reasons["Door switch"] == 1810


def test_losses_in_parts(get):
    found = [r for r in get("losses", by="part")["items"] if r["key"] == "PH-12" and r["loss"] == "good_parts"]
    assert found[0]["parts"] == 108


def test_cycle_trend(get):
    (row,) = get("cycle-trends", machine="N1")["items"]
    assert (row["count"], row["left_out"], row["median_s"], row["lcl_s"], row["ucl_s"]) == (110, 0, 170, 170, 170)
    assert row["planned_cycle_time_s"] == 160 and row["beyond"] == []


def test_pace_of_the_shift(get):
    row = next(r for r in get("pace")["items"] if r["machine"] == "N1")
    assert (row["made"], row["elapsed_s"], row["planned_time_s"]) == (110, 20_400, 8 * 3600 - 1200)
    assert row["expected"] == pytest.approx(20_400 / 160)
    assert row["ahead"] == pytest.approx(110 - 20_400 / 160)
    assert row["until"] == "2026-03-10T14:00:00+01:00"


def test_tool_forecast(get):
    (row,) = get("tool-forecasts")["items"]
    assert (row["state"], row["cycles_left"], row["remaining"], row["consumption_per_cycle"]) == (
        "warning",
        5,
        5,
        1,
    )
    assert row["limit_at"] is not None and row["warning_at"] is None
    assert (row["cycles_left_low"], row["cycles_left_high"]) == (5, 5), "every cycle uses one"
    assert row["limit_at_low"] < row["limit_at"] < row["limit_at_high"]
    assert row["warning_at_low"] is row["warning_at_high"] is None
    assert get("machines/N1/tools")["items"] == [row]


def test_energy(get):
    (row,) = get("energy", span="shift")["items"]  # S1 tells no energy
    assert row["key"] == "N1" and row["energy"]["value"] == pytest.approx(24)
    assert row["energy_per_good_part"]["value"] == pytest.approx(24 / 108)
    assert row["demand_peak_kw"] == pytest.approx(4)
    assert row["by_condition"]["fault_kwh"] is None


def test_power_and_base_load_of_the_energy(get):
    """24 quarters of an hour of 1 kWh, all of them producing: 4 kW, and no base load."""
    (row,) = get("energy", span="shift")["items"]
    assert row["mean_power"]["producing_kw"] == pytest.approx(4) and row["mean_power"]["fault_kw"] is None
    assert (row["base_load_kw"], row["base_load_quarters"]) == (None, 0)
    assert (row["cost"], row["currency"], row["co2_kg"]) == (None, None, None)
    assert row["energy_per_part"]["value"] == pytest.approx(24 / 110)


@pytest.mark.parametrize("by", ["plant", "cell", "machine"])
def test_energy_demand(get, by):
    """From midnight on; energy is known from 06:00, of N1 alone."""
    found = get("energy-demand", by=by)
    assert len(found["items"]) == 12 * 4 and found["coverage_pct"] == 50
    assert {r["key"] for r in found["items"]} == {{"plant": "plant", "cell": "north", "machine": "N1"}[by]}
    before, after = found["items"][23], found["items"][24]
    assert (before["start"], before["demand_kw"], before["coverage_pct"]) == ("2026-03-10T05:45:00+01:00", None, 0)
    assert (after["demand_kw"], after["coverage_pct"]) == (4, 100)


def test_energy_per_cycle(get):
    (row,) = get("energy-per-cycle")["items"]
    assert (row["machine"], row["program"], row["part"], row["cycles"]) == ("N1", "O1201", "PH-12", 110)
    assert row["median_kwh"] == pytest.approx(0.2) and row["energy_per_cycle_part"]["value"] == pytest.approx(0.2)


def test_series(get):
    found = get("machines/N1/cycles/series")
    assert (len(found["t_s"]), len(found["y_s"]), found["count"]) == (110, 110, 110)
    assert found["median_s"] == 170 and found["part"] == "PH-12"
    empty = get("machines/S1/cycles/series")
    assert (empty["program"], empty["t_s"], empty["median_s"]) == (None, [], None)


def test_definitions_name_every_figure(get):
    from swarfline.measure import FIGURES

    found = get("definitions")
    assert "rework_ratio" in {m["name"] for m in found["missing"]}
    assert [f["name"] for f in found["figures"]] == [f.name for f in FIGURES]
    assert {s["name"] for s in found["spans"]} == {"shift", "day", "week", "month"}
