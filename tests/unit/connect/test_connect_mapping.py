"""Values of nodes to values of readings: tables, scales, edges."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarfline.connect.codes import STANDARD
from swarfline.connect.mapping import TEXT_LIMIT, Recipe, Translator
from swarfline.signals import SIGNALS, TOOL_FIELDS, Quality

GOOD, UNCERTAIN, BAD = Quality.GOOD, Quality.UNCERTAIN, Quality.BAD


def translate(signal: str, raw: Any, quality: Quality = GOOD, **recipe: Any) -> tuple[Any, int, str | None]:
    return tuple(Translator(Recipe(SIGNALS.get(signal) or TOOL_FIELDS[signal], **recipe)).translate(raw, quality))


# Numbers and NodeIds: OPC 40001-1 (Machinery) and OPC 40501-1 (MachineTool) state machines and enumerations,
# as in the published node sets 1.04.1 and 1.02.0.
@pytest.mark.parametrize(
    ("signal", "raw", "value"),
    [
        ("state", 0, "not_available"), ("state", 1, "out_of_service"),
        ("state", 2, "not_executing"), ("state", 3, "executing"),
        ("state", "mch:5005", "not_available"), ("state", "mch:5004", "out_of_service"),
        ("state", "mch:5007", "not_executing"), ("state", "mch:5006", "executing"),
        ("mode", 0, "manual"), ("mode", 1, "automatic"), ("mode", 2, "setup"),
        ("mode", 4, "service"), ("mode", 5, "other"), ("mode", "mt:5061", "setup"),
        ("program_state", 0, "ready"), ("program_state", 1, "running"), ("program_state", 2, "ended"),
        ("program_state", 3, "interrupted"), ("program_state", 4, "aborted"),
        ("program_state", "mt:5041", "running"), ("program_state", "mt:139", "interrupted"),
        ("program_state", "mt:5014", "ended"), ("program_state", "mt:5018", "aborted"),
        ("life_basis", 0, "time"), ("life_basis", 1, "count"), ("life_basis", 2, "count"),
        ("life_basis", 3, "distance"), ("life_basis", 4, "distance"),
        ("state", "executing", "executing"),
    ],
)  # fmt: skip
def test_standard_codes(signal: str, raw: Any, value: str) -> None:
    assert translate(signal, raw) == (value, GOOD, None)


def test_every_standard_code_is_a_choice_of_its_signal() -> None:
    for name, table in STANDARD.items():
        signal = SIGNALS.get(name) or TOOL_FIELDS[name]
        assert set(table.values()) <= set(signal.choices)


@pytest.mark.parametrize(
    ("signal", "raw"),
    [
        ("state", 4),
        ("state", "gone"),
        ("mode", "mt:5059"),
        ("life_basis", 6),
        ("tool_changing", 2),
        ("state", True),
    ],
)
def test_unknown_codes_are_bad_and_named(signal: str, raw: Any) -> None:
    assert translate(signal, raw) == (None, BAD, str(raw))


def test_a_value_table_takes_the_place_of_the_standard_codes() -> None:
    table = {"7": "executing", "AUTO": "not_executing"}
    assert translate("state", 7, table=table)[0] == "executing"
    assert translate("state", 7.0, table=table)[0] == "executing"
    assert translate("state", "AUTO", table=table)[0] == "not_executing"
    assert translate("state", 3, table=table) == (None, BAD, "3")


def test_a_value_table_of_yes_and_no() -> None:
    table = {"6": True, "0": False}
    assert translate("tool_changing", 6, table=table)[0] is True
    assert translate("tool_changing", 0, table=table)[0] is False
    assert translate("state", True, table={"true": "executing", "false": "not_executing"})[0] == "executing"


@pytest.mark.parametrize(("raw", "value"), [(0, False), (1, True), (True, True), (False, False), ("true", True)])
def test_booleans(raw: Any, value: bool) -> None:
    result = translate("feed_hold", raw)
    assert result[0] is value
    assert result[1] == GOOD


def test_number_is_raw_times_unit_times_scale_plus_offset() -> None:
    # hand calculation: 2.5 kW × 1000 × 0.5 + 10
    assert translate("power", 2.5, unit_factor=1000.0, scale=0.5, offset=10.0)[0] == 1260.0
    assert isinstance(translate("power", 3)[0], float)


@pytest.mark.parametrize("raw", [math.nan, math.inf, -math.inf, None, "nothing", [1.0], 1e308])
def test_no_number_is_bad(raw: Any) -> None:
    assert translate("power", raw, unit_factor=1000.0) == (None, BAD, None)


@pytest.mark.parametrize(("raw", "value"), [(5, 5), (5.0, 5), (2**64 - 1, 2**64 - 1), ("12", 12), (True, 1)])
def test_counters_are_whole(raw: Any, value: int) -> None:
    result = translate("part_count", raw)
    assert result == (value, GOOD, None)
    assert type(result[0]) is int


@pytest.mark.parametrize("raw", [5.5, math.nan, math.inf, None, "x", -1])
def test_no_counter_is_bad(raw: Any) -> None:
    assert translate("part_count", raw) == (None, BAD, None)


def test_a_counter_served_as_signed_is_unsigned_again() -> None:
    # two's complement: −1 in 32 bits is 2³² − 1
    assert translate("part_count", -1, width=32)[0] == 4_294_967_295
    assert translate("part_count", -32_768, width=16)[0] == 32_768


def test_a_scaled_counter() -> None:
    assert translate("part_count", 7, scale=2.0)[0] == 14
    assert translate("part_count", 7, scale=0.5) == (None, BAD, None)


@pytest.mark.parametrize(
    ("signal", "raw", "value"),
    [
        ("program", "O1201", "O1201"), ("program", None, ""), ("active_tool", 12, "12"),
        ("active_tool", 12.0, "12"), ("active_tool", 0, ""), ("active_tool", "0", ""),
        ("active_tool", "", ""), ("active_tool", "D8", "D8"), ("number", 7.0, "7"), ("alarm_code", 0, "0"),
    ],
)  # fmt: skip
def test_texts(signal: str, raw: Any, value: str) -> None:
    assert translate(signal, raw) == (value, GOOD, None)


def test_long_texts_are_cut() -> None:
    assert translate("alarm_text", "x" * 1000)[0] == "x" * TEXT_LIMIT


def test_an_element_of_an_array() -> None:
    assert translate("power", [1.0, 2.0], index=1)[0] == 2.0
    assert translate("power", [1.0, 2.0], index=2) == (None, BAD, None)
    assert translate("power", 1.0, index=0) == (None, BAD, None)
    assert translate("program", ["a", "b"]) == (None, BAD, None)


def test_quality_is_kept_and_bad_has_no_value() -> None:
    assert translate("power", 1.0, UNCERTAIN) == (1.0, UNCERTAIN, None)
    assert translate("power", 1.0, BAD) == (None, BAD, None)


raws = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(), st.lists(st.integers()), st.binary()
)


@given(st.sampled_from(sorted(SIGNALS)), raws)
def test_anything_gives_a_value_of_the_kind_or_bad(name: str, raw: Any) -> None:
    value, quality, _ = translate(name, raw)
    signal = SIGNALS[name]
    if quality == BAD:
        assert value is None
        return
    kinds = {"enum": str, "bool": bool, "text": str, "number": float, "counter": int}
    assert type(value) is kinds[signal.kind.value]
    assert not signal.choices or value in signal.choices
