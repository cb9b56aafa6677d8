"""Delivered values to readings: times, qualities, order."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from asyncua import ua
from hypothesis import given
from hypothesis import strategies as st

from swarfline.connect.decode import Decoder
from swarfline.connect.mapping import Recipe, Translator
from swarfline.connect.names import Names
from swarfline.connect.stamps import EPOCH, stamp_us
from swarfline.connect.status import Tally
from swarfline.signals import SIGNALS, Quality

AT = datetime(2026, 11, 25, 10, 0, 0, 123_456, tzinfo=UTC)
# 2026-11-25T10:00:00Z is 1 795 600 800 s after 1970 (date -u -d … +%s)
AT_US = 1_795_600_800_123_456
RECEIVED, FALLBACK = AT_US + 7_000_000, AT_US + 8_000_000


@pytest.fixture
def tally() -> Tally:
    return Tally()


@pytest.fixture
def decoder(tally: Tally) -> Decoder:
    names = Names(
        {"mch": "http://opcfoundation.org/UA/Machinery/"}, ["ua", "x", "http://opcfoundation.org/UA/Machinery/"]
    )
    made = Decoder(names, tally)
    for handle, signal in enumerate(("state", "power", "alarm_text"), 1):
        made.route(handle, "N1", signal, Translator(Recipe(SIGNALS[signal])).convert)
    return made


def value(raw: Any, at: datetime | None = AT, status: int = 0, server: datetime | None = None) -> ua.DataValue:
    return ua.DataValue(
        ua.Variant(raw), StatusCode=ua.StatusCode(status), SourceTimestamp=at, ServerTimestamp=server
    )


def test_a_reading(decoder: Decoder) -> None:
    assert decoder.decode([(2, value(5.0))], RECEIVED, FALLBACK) == [
        ("N1", "power", AT_US, RECEIVED, 5.0, Quality.GOOD)
    ]


def test_sorted_by_source_time_and_stable(decoder: Decoder) -> None:
    later = AT + timedelta(microseconds=1)
    readings = decoder.decode([(2, value(1.0, later)), (2, value(2.0)), (2, value(3.0))], RECEIVED, FALLBACK)
    assert [reading.value for reading in readings] == [2.0, 3.0, 1.0]


def test_what_joins_is_not_older_than_the_present_and_keeps_its_order(decoder: Decoder) -> None:
    decoder.joining.add(2)
    late = AT + timedelta(microseconds=1)
    readings = decoder.decode([(2, value(1.0)), (2, value(2.0, late)), (3, value("x"))], RECEIVED, FALLBACK)
    assert [(r.value, r.source_us) for r in readings] == [("x", AT_US), (1.0, FALLBACK), (2.0, FALLBACK)]
    assert [r.source_us for r in decoder.decode([(2, value(3.0))], RECEIVED, FALLBACK)] == [AT_US]


@pytest.mark.parametrize("edge", [None, datetime(1601, 1, 1, tzinfo=UTC), datetime(9999, 12, 31, tzinfo=UTC)])
def test_missing_source_times(decoder: Decoder, edge: datetime | None) -> None:
    with_server = decoder.decode([(2, value(1.0, edge, server=AT))], RECEIVED, FALLBACK)
    without = decoder.decode([(2, value(1.0, edge, server=edge))], RECEIVED, FALLBACK)
    assert (with_server[0].source_us, without[0].source_us) == (AT_US, FALLBACK)


@given(st.datetimes(datetime(1700, 1, 1), datetime(9000, 1, 1)))  # noqa: DTZ001
def test_times_are_exact_to_the_microsecond(stamp: datetime) -> None:
    us = stamp_us(stamp)
    assert us is not None
    assert EPOCH + timedelta(microseconds=us) == stamp.replace(tzinfo=UTC)


@pytest.mark.parametrize(
    ("status", "quality", "shown"),
    [
        (0x0000_0000, Quality.GOOD, 1.0), (0x0096_0000, Quality.GOOD, 1.0), (0x4090_0000, Quality.UNCERTAIN, 1.0),
        (0x8031_0000, Quality.BAD, None), (0xC000_0000, Quality.BAD, None),
    ],
)  # fmt: skip
def test_top_bits_are_the_quality(decoder: Decoder, status: int, quality: Quality, shown: float | None) -> None:
    (reading,) = decoder.decode([(2, value(1.0, status=status))], RECEIVED, FALLBACK)
    assert (reading.value, reading.quality) == (shown, quality)


def test_overflow_bits_are_seen(decoder: Decoder, tally: Tally) -> None:
    # OPC 10000-4: InfoType DataValue 0x400 with Overflow 0x80
    (reading,) = decoder.decode([(2, value(1.0, status=0x480))], RECEIVED, FALLBACK)
    assert (reading.value, decoder.overflowed, tally.overflows) == (1.0, {"N1"}, 1)


def test_a_node_that_went_away_is_dead(decoder: Decoder) -> None:
    decoder.decode([(2, value(None, status=0x8034_0000))], RECEIVED, FALLBACK)
    assert decoder.dead == {2}


def test_unmapped_codes_are_counted(decoder: Decoder, tally: Tally) -> None:
    readings = decoder.decode([(1, value(17)), (1, value(17)), (1, value(3))], RECEIVED, FALLBACK)
    assert [(r.value, r.quality) for r in readings] == [(None, 2), (None, 2), ("executing", 0)]
    assert (tally.unmapped, tally.unmapped_counts) == ({"N1/state": "17"}, {"N1/state": 2})


def test_opc_types_are_made_plain(decoder: Decoder) -> None:
    pairs = [(1, value(ua.NodeId(5006, 2))), (3, value(ua.LocalizedText("Door open")))]
    assert [r.value for r in decoder.decode(pairs, RECEIVED, FALLBACK)] == ["executing", "Door open"]


def test_handles_that_were_forgotten_say_nothing(decoder: Decoder) -> None:
    decoder.forget(2)
    assert decoder.decode([(2, value(1.0))], RECEIVED, FALLBACK) == []
