"""The pages of tools hold the same figures as the API, and say what is not known."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest

from swarfline.facts import ToolLife
from swarfline.serve.page import tools
from swarfline.store import Batch

from .client import Client
from .works import FAULT_AT, HOUR, MINUTE, NOW, START, works


def words_of(text: str) -> str:
    """The text of a page without its marks."""
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", text)))


def test_what_is_due_is_what_the_plan_says(client, get):
    text = words_of(client.get("/tools").text)
    (stop,) = get("tool-plan", machine="N1")["items"]
    assert "This shift: early, 06:00–14:00" in text
    assert stop["at"][11:16] in text and f"after {stop['after_cycles']} cycles" in text
    assert "T7 Face mill 50" in text and "new life: 100" in text


def test_the_interval_of_the_forecast_is_shown(client, get):
    (tool,) = get("machines/N1/tools")["items"]
    low, at, high = (tool[name][11:16] for name in ("limit_at_low", "limit_at", "limit_at_high"))
    assert f"{at} ({low} – {high})" in words_of(client.get("/tools").text)


def test_a_machine_without_tools_is_not_said_to_be_fine(client):
    assert "No machine tells anything of its tools." in words_of(client.get("/tools?machine=S1").text)
    assert "This machine tells nothing of its tools." in words_of(client.get("/machines/S1/tools").text)


@pytest.fixture
def more(tmp_path):
    """The works with a tool past its limit, one without a limit, and lives that ended."""
    app, store = works(tmp_path)

    def life(pot, number, used, limit, start=START, end=NOW, **told):
        return ToolLife("N1", pot, start, end, number, pot, f"tool <{number}>", used=used, limit=limit, **told)

    store.writer().commit(
        Batch(
            facts=[
                life("2", "8", 100.0, 90.0, open=True),
                life("3", "7", 5.0, None, open=True),
                life("4", "10", 40.0, 100.0, START, START + HOUR, reason="reset", whole=True),
                life("4", "10", 99.97, 100.0, START + HOUR, START + 2 * HOUR, reason="reset", whole=True),
                life("4", "10", 100.0, 100.0, START + 2 * HOUR, START + 3 * HOUR, reason="reset", whole=True),
                # one within ten minutes after an alarm, one within a stop that no alarm tells of
                life("5", "11", 30.0, 100.0, START, FAULT_AT[1] + 8 * MINUTE, reason="reset", whole=True),
                replace(
                    life("6", "12", 20.0, 100.0, START, FAULT_AT[0], reason="reset", whole=True), machine="S1"
                ),
            ]
        )
    )
    yield Client(app)
    store.close()


def test_past_its_limit_and_without_a_limit(more):
    text = words_of(more.get("/tools").text)
    assert "At their limit now N1 : T8 tool <8> , pot 2, 100 of 90 used" in text
    assert "T7, pot 3 (its limit is not known)" in text
    assert "<8>" not in more.get("/tools").text, "names from machines are text, never marks"


def test_early_ends_stand_out_and_lead_to_what_went_on_then(more):
    page = more.get("/machines/N1/tools").text
    text = words_of(page)
    assert "T10 tool <10> 4 40 / 100 40.0 % set back before its limit 08:00" not in text
    assert "T10 tool <10> 4 40 / 100 40.0 % set back before its limit" in text
    # 99.97 of 100 is not yet at the limit, and does not look so
    assert "T10 tool <10> 4 100 / 100 < 100 % near its limit" in text
    assert "T10 tool <10> 4 100 / 100 100.0 % at its limit" in text
    assert "T11 tool <11> 5 30 / 100 30.0 % set back before its limit alarm A1 Door switch, 10:00–10:30" in text
    south = words_of(more.get("/machines/S1/tools").text)
    assert "20.0 % set back before its limit stop since 09:00: waiting, no reason known" in south
    around = re.findall(r'<th scope="row"><a href="([^"]+)">', page)
    assert "/machines/N1?from=2026-03-10T06%3A30%3A00%2B01%3A00&to=2026-03-10T07%3A30%3A00%2B01%3A00#timeline" in (
        map(unescape, around)
    )
    assert all(more.get(unescape(address)).status_code == 200 for address in around)
    day_before = words_of(more.get("/machines/N1/tools?span=day&at=2026-03-09").text)
    assert "No tool life is known to have ended in this time." in day_before


def test_the_lives_of_a_type_add_up(more):
    text = words_of(more.get("/machines/N1/tools?span=day").text)
    assert "T10 tool <10> 3 3 ended 2 at or near the limit, 1 set back before it" in text
    # with no failure and one life seen to last so long, the lower end is 0.05 (survival_to)
    assert "100.0 % by 3 lives: 95 % interval 5 % to 100 %" in text
    assert "T8 tool <8> 1 1 whose beginning was not seen –" in text


@pytest.mark.parametrize("path", ["/tools?most_given_up_pct=101", "/tools?machine=X1", "/machines/X1/tools"])
def test_wrong_addresses_are_told(client, path):
    assert client.get(path).status_code in (404, 422)


def test_a_wrong_parameter_is_told_with_what_is_wrong(client):
    text = words_of(client.get("/tools?most_given_up_pct=much").text)
    assert "most_given_up_pct: is no number" in text


def test_boxes_to_tick_are_for_paper(client):
    css = (Path(tools.__file__).parent / "assets" / "tools.css").read_text(encoding="utf-8")
    screen, printed = css.split("@media print")
    assert ".due .tick { display: none; }" in screen and ".due .tick { display: table-cell" in printed
    assert 'class="tick"' in client.get("/tools").text


def test_a_load_chart_has_figures_at_its_axes(client):
    page = client.get("/machines/N1/tools").text
    for box in re.findall(r'<div class="load-box">.*?</div>', page, re.DOTALL):
        assert re.fullmatch(r" \d+ % 0 % new tool share of the life limit ", words_of(box)), box
    assert 'class="load-box"' in page
