"""RFC 3339 at the edge. Vectors: RFC 3339 sections 5.6 to 5.8, and texts that it forbids."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from swarfline.serve.times import parse, parse_day, show

VALID = (
    ("1985-04-12T23:20:50.52Z", 482196050.52),
    ("1996-12-19T16:39:57-08:00", 851042397.0),
    ("1990-12-31T23:59:60Z", 662688000.0),
    ("1990-12-31T15:59:60-08:00", 662688000.0),
    ("1937-01-01T12:00:27.87+00:20", -1041337172.13),
    ("2026-11-25T08:00:00.1234567Z", 1795593600.123456),
    ("2026-03-29t02:30:00z", 1774751400.0),
    ("2024-02-29T00:00:00+00:00", 1709164800.0),
    ("2026-01-01T00:00:00-00:00", 1767225600.0),
    ("2026-01-01T01:00:00 01:00", 1767225600.0),  # a "+" that came as a space; own choice
)
INVALID = (
    "2026-11-25",
    "2026-11-25T08:00Z",
    "2026-11-25T08:00:00",
    "2026-11-25T24:00:00Z",
    "2026-02-29T00:00:00Z",
    "2026-11-25T08:00:00+0100",
    "2026-11-25T08:00:00,5Z",
    "2026-13-01T00:00:00Z",
    "2026-W48-3T08:00:00Z",
    "20261125T080000Z",
    "2026-11-25T08:60:00Z",
    "2026-11-25T08:00:00.Z",
    "2026-11-25T08:00:60Z",
    "0001-01-01T00:00:00+01:00",
    "\uff12026-11-25T08:00:00Z",
)


@pytest.mark.parametrize(("text", "unix_s"), VALID)
def test_what_the_grammar_allows(text, unix_s):
    assert parse(text) == round(unix_s * 1_000_000)


@pytest.mark.parametrize("text", INVALID)
def test_what_it_forbids(text):
    with pytest.raises(ValueError):
        parse(text)


def test_shown_with_the_offset_of_the_day():
    zone = ZoneInfo("Europe/Madrid")
    assert show(parse("2026-03-10T11:00:00Z"), zone) == "2026-03-10T12:00:00+01:00"
    assert show(parse("2026-07-10T11:00:00.25Z"), zone) == "2026-07-10T13:00:00.250000+02:00"


@pytest.mark.parametrize("text", ["2026-3-1", "20260301", "2026-W10-1", "today", "2026-02-30"])
def test_days_have_one_spelling(text):
    with pytest.raises(ValueError):
        parse_day(text)
