"""What cannot be used is counted by kind, with a last example, and never ends or outgrows anything."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from asyncua import ua
from hypothesis import given
from hypothesis import strategies as st

from swarfline.connect import tools, unusable
from swarfline.connect.decode import Decoder
from swarfline.connect.mapping import TEXT_LIMIT, Recipe, Translator
from swarfline.connect.names import Names
from swarfline.connect.status import Tally
from swarfline.connect.unusable import KINDS, MOST_EXAMPLES, Ignored, clean, shown
from swarfline.signals import SIGNALS, Quality, Reading, split_tool_signal, tool_signal

NOW = datetime(2026, 11, 25, 10, tzinfo=UTC)
NOW_US = 1_795_600_800_000_000
ROUTED = ("state", "power", "alarm_text", "part_count", "alarm", "energy", "active_tool")


def decoder_of(tally: Tally, server_clock: bool = False, **recipe: Any) -> Decoder:
    made = Decoder(Names({}, ["ua"]), tally, server_clock)
    for handle, signal in enumerate(ROUTED, 1):
        made.route(handle, "N1", signal, Translator(Recipe(SIGNALS[signal], **recipe)).convert)
    return made


def said(signal: str, raw: Any, at: datetime | None = NOW, **recipe: Any) -> tuple[Reading, Tally]:
    tally = Tally()
    data = ua.DataValue(raw if isinstance(raw, ua.Variant) else ua.Variant(raw), SourceTimestamp=at)
    (reading,) = decoder_of(tally, **recipe).decode([(ROUTED.index(signal) + 1, data)], NOW_US, NOW_US)
    return reading, tally


UNKNOWN_STRUCTURE = ua.ExtensionObject(TypeId=ua.NodeId(4711, 3), Body=b"\x00" * 40)


@pytest.mark.parametrize(
    ("signal", "raw", "recipe", "kind", "example"),
    [
        ("power", None, {}, "no_value", "null"),
        ("part_count", None, {}, "no_value", "null"),
        ("state", None, {}, "no_value", "null"),
        ("alarm", None, {}, "no_value", "null"),
        ("power", None, {"index": 0}, "no_value", "null"),
        ("power", "twelve", {}, "wrong_type", "twelve"),
        ("power", [1.0, 2.0], {}, "wrong_type", "an array of 2"),
        ("part_count", b"\x01\x02", {}, "wrong_type", "2 bytes"),
        ("state", [3], {}, "wrong_type", "an array of 1"),
        ("alarm_text", b"door", {}, "wrong_type", "4 bytes"),
        ("power", float("nan"), {}, "not_finite", "nan"),
        ("power", float("-inf"), {}, "not_finite", "-inf"),
        ("part_count", float("inf"), {}, "not_finite", "inf"),
        ("part_count", float("nan"), {"scale": 2.0}, "not_finite", "nan"),
        ("alarm_text", float("nan"), {}, "not_finite", "nan"),
        ("power", 1.1e10, {}, "out_of_range", "11000000000.0"),
        ("power", 5.0e9, {"scale": 3.0}, "out_of_range", "5000000000.0"),
        ("energy", 2e19, {}, "out_of_range", "2e+19"),
        ("part_count", 2e19, {}, "out_of_range", "2e+19"),
        ("part_count", -1, {}, "negative_counter", "-1"),
        ("part_count", 1.5, {}, "fraction_in_counter", "1.5"),
        ("power", [1.0], {"index": 1}, "no_element", "an array of 1"),
        ("power", 1.0, {"index": 0}, "no_element", "1.0"),
        ("state", 17, {}, "unmapped_code", "17"),
        ("alarm", "ajar", {}, "unmapped_code", "ajar"),
        ("power", UNKNOWN_STRUCTURE, {}, "not_decoded", "ExtensionObject"),
        ("alarm_text", UNKNOWN_STRUCTURE, {}, "not_decoded", "ExtensionObject"),
    ],
)  # fmt: skip
def test_each_kind(signal: str, raw: Any, recipe: dict[str, Any], kind: str, example: str) -> None:
    reading, tally = said(signal, raw, **recipe)
    assert (reading.value, reading.quality) == (None, Quality.BAD)
    assert (tally.ignored.counts, tally.ignored.examples) == ({kind: 1}, {f"N1/{signal}": (kind, example)})


@pytest.mark.parametrize(
    ("signal", "raw"),
    [("power", 1e10), ("energy", 1.8e19), ("part_count", 2**64 - 1), ("alarm_text", "Tür offen"),
     ("alarm", "TRUE "), ("alarm_text", "冷却液"), ("alarm_text", "")],
)  # fmt: skip
def test_what_can_be_used_is_not_counted(signal: str, raw: Any) -> None:
    reading, tally = said(signal, raw)
    assert reading.quality == Quality.GOOD
    assert tally.ignored.counts == {}


@pytest.mark.parametrize(
    ("raw", "used"),
    [
        ("x" * 1_000_000, "x" * TEXT_LIMIT),
        ("<b>Door</b>\x1b[2J\x00", "<b>Door</b>\ufffd[2J\ufffd"),
        ("T\udcfcr", "T\ufffdr"),  # as asyncua hands on bytes that are no UTF-8
        ("door\r\nopen", "door  open"),
        ("abc\u202egnp.exe", "abc\ufffdgnp.exe"),
    ],
)
def test_texts_are_cut_and_cleaned_and_used(raw: str, used: str) -> None:
    reading, tally = said("alarm_text", raw)
    assert (reading.value, reading.quality) == (used, Quality.GOOD)
    assert tally.ignored.counts == {"text_altered": 1}
    assert len(tally.ignored.examples["N1/alarm_text"][1]) <= 81


@pytest.mark.parametrize(
    ("off", "server_clock", "is_believed"),
    [
        (timedelta(days=-3 * 365), False, True),
        (timedelta(days=-25 * 365), False, False),
        (timedelta(minutes=59), False, True),
        (timedelta(minutes=61), False, False),
        (timedelta(days=300), True, True),
        (timedelta(days=74 * 365), True, False),
    ],
)
def test_which_times_are_believed(off: timedelta, server_clock: bool, is_believed: bool) -> None:
    """House rule, no source."""
    tally = Tally()
    data = ua.DataValue(ua.Variant(1.0), SourceTimestamp=NOW + off)
    (reading,) = decoder_of(tally, server_clock).decode([(2, data)], NOW_US, NOW_US)
    off_us = off // timedelta(microseconds=1)
    assert reading.source_us == NOW_US + (off_us if is_believed else 0)
    assert tally.ignored.counts == ({} if is_believed else {"time_not_believed": 1})
    assert (reading.value, reading.quality) == (1.0, Quality.GOOD)


def test_the_server_time_takes_the_place_of_a_source_time_that_is_not_believed() -> None:
    server = NOW - timedelta(seconds=3)
    for source in (datetime(1601, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)):
        data = ua.DataValue(ua.Variant(1.0), SourceTimestamp=source, ServerTimestamp=server)
        (reading,) = decoder_of(Tally()).decode([(2, data)], NOW_US, NOW_US)
        assert reading.source_us == NOW_US - 3_000_000


def test_a_clock_that_was_never_set_is_believed_against_itself() -> None:
    """Times near 1970 of a server whose own clock shows 1970."""
    start = datetime(1970, 1, 1, 5, tzinfo=UTC)
    data = ua.DataValue(ua.Variant(1.0), SourceTimestamp=start)
    (reading,) = decoder_of(Tally()).decode([(2, data)], NOW_US, 5 * 3_600_000_000 + 7)
    assert reading.source_us == 5 * 3_600_000_000


def test_memory_does_not_grow_by_ever_new_keys() -> None:
    tally = Tally()
    for n in range(3 * MOST_EXAMPLES):
        tally.note_unmapped("N1", f"tools[{n}].life_basis", "9" * 500)
    newest = f"N1/tools[{3 * MOST_EXAMPLES - 1}].life_basis"
    for kept in (tally.unmapped, tally.unmapped_counts, tally.ignored.examples):
        assert len(kept) == MOST_EXAMPLES
        assert newest in kept
    assert tally.ignored.counts == {"unmapped_code": 3 * MOST_EXAMPLES}


def test_the_newest_example_of_a_signal_stays() -> None:
    ignored = Ignored()
    ignored.note("N1", "power", "not_finite", float("nan"))
    ignored.note("N1", "power", "wrong_type", "x" * 100)
    assert ignored.examples == {"N1/power": ("wrong_type", "x" * 80 + "…")}


@given(st.text())
def test_a_cleaned_text_can_be_stored_and_shown(text: str) -> None:
    cleaned = clean(text)
    cleaned.encode("utf-8")
    assert len(cleaned) == len(text)
    assert not re.search("[\x00-\x1f\x7f-\x9f\u202e]", cleaned)


PLAIN = (
    st.none()
    | st.booleans()
    | st.integers(-(2**63), 2**64 - 1)
    | st.floats()
    | st.text(max_size=300)
    | st.binary()
)
RAW = st.recursive(
    PLAIN
    | st.text(max_size=300)
    | st.builds(ua.LocalizedText, st.text(max_size=300) | st.none())
    | st.builds(ua.NodeId, st.integers(0, 2**32 - 1), st.integers(0, 9))
    | st.builds(ua.QualifiedName, st.text())
    | st.just(UNKNOWN_STRUCTURE)
    | st.datetimes()
    | st.just(UUID(int=5))
    | st.just(ua.EUInformation()),
    lambda some: st.lists(some, max_size=4),
    max_leaves=6,
)
STAMPS = st.none() | st.datetimes(timezones=st.just(UTC)) | st.datetimes()
DATA = st.builds(
    lambda raw, status, source, server: ua.DataValue(
        ua.Variant(raw, ua.VariantType.String), ua.StatusCode(status), source, server
    ),
    RAW, st.just(0) | st.integers(0, 2**32 - 1), STAMPS, STAMPS,
)  # fmt: skip


@given(st.lists(st.tuples(st.integers(0, len(ROUTED) + 1), DATA), max_size=8), st.booleans())
def test_any_value_gives_a_usable_reading_or_is_counted(
    pairs: list[tuple[int, ua.DataValue]], server_clock: bool
) -> None:
    tally = Tally()
    decoder = decoder_of(tally, server_clock)
    before = 0
    for pair in pairs:
        for reading in decoder.decode([pair], NOW_US, NOW_US):
            status_is_bad = pair[1].StatusCode.value >> 31
            counted = sum(tally.ignored.counts.values()) > before
            assert (reading.value is None) == (reading.quality == Quality.BAD)
            assert reading.value is not None or status_is_bad or counted
            assert NOW_US - 21 * 31_557_600_000_000 < reading.source_us < NOW_US + 11 * 31_557_600_000_000
            if isinstance(reading.value, str):
                reading.value.encode("utf-8")
                assert len(reading.value) <= TEXT_LIMIT
        before = sum(tally.ignored.counts.values())
    assert set(tally.ignored.counts) <= set(KINDS)
    assert all(len(text) <= 81 for _, text in tally.ignored.examples.values())


LIFE = dict.fromkeys(("value", "life_basis", "counting_up", "unit", "limit"))


@given(st.lists(RAW, min_size=len(LIFE), max_size=len(LIFE)), RAW)
def test_a_tool_list_of_anything_names_its_tools_and_refuses_what_is_no_life(raw: list[Any], place: Any) -> None:
    nodes = {part: ua.NodeId(n, 1) for n, part in enumerate(LIFE, 1)}
    values = dict(zip(nodes.values(), raw, strict=True))
    (key,) = tools._keys([("Tool", place)])
    assert split_tool_signal(tool_signal(key, "number")) == (key, "number")
    tool = tools._tool(key, {"object": ua.NodeId(99, 1), "number": ua.NodeId(98, 1)}, nodes, values)
    assert bool(tool.refused) == (tool.life is None)


def test_structures_are_not_unrolled() -> None:
    assert shown(ua.EUInformation()) == "EUInformation"


def test_the_page_of_connections_explains_every_kind() -> None:
    text = (Path(unusable.__file__).parents[3] / "docs" / "connections.md").read_text(encoding="utf-8")
    listed = re.findall(r"^\| `([a-z_]+)` \|", text[text.index("## What cannot be used") :], re.MULTILINE)
    assert listed == list(KINDS)
