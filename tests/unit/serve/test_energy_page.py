"""The page of energy holds the same figures as the API."""

from __future__ import annotations

from swarfline.serve.page import words

from .test_tool_pages import words_of


def test_the_figures_are_those_of_the_api(client, get):
    text = words_of(client.get("/energy").text)
    row = get("energy", by="plant")["items"][0]
    assert f"{words.number(row['energy']['value'], 1)} kWh" in text
    assert f"{words.number(row['energy_per_good_part']['value'], 3)} kWh" in text
    assert f"{words.number(row['demand_peak_kw'], 2)} kW" in text


def test_coverage_stands_beside_what_is_known_in_part(client, get):
    row = get("energy", by="plant")["items"][0]
    assert row["energy"]["coverage_pct"] < 100
    text = words_of(client.get("/energy").text)
    assert f"known for {words.percent(row['energy']['coverage_pct'] / 100)} of the time" in text


def test_no_price_is_told_and_no_cost_made_up(client):
    text = words_of(client.get("/energy").text)
    assert "no price per kWh in the plant file" in text and "Cost –" in text


def test_a_machine_without_energy_and_a_span_without(client):
    assert "None of these machines tells its energy" in words_of(client.get("/energy?machine=S1").text)
    text = words_of(client.get("/energy?span=day&at=2026-03-01").text)
    assert "Energy – kWh" in text and "Nothing to draw" in text and "No energy is told by: S1." in text


def test_a_share_that_is_not_whole_never_looks_so():
    assert words.share(0.99996) == "< 100 %"
    assert words.share(1) == "100.0 %" and words.share(0.5) == "50.0 %" and words.share(None) == words.UNKNOWN
