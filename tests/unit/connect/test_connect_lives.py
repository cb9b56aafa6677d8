"""Tool life arithmetic; formulas of OPC 40501-1 (value, start, warning, limit), values worked by hand."""

from __future__ import annotations

from swarfline.connect.lives import Life


def said(life: Life, **parts: float) -> dict[str, float | None]:
    return {name: value for part, raw in parts.items() for name, value in life.update(part, raw)}


def test_counting_up_in_hours() -> None:
    life = Life(True, 3600.0, {"start": 0.5, "warning": 1.5, "limit": 2.0})
    assert said(life, value=1.0, warning=1.5, limit=2.0, start=0.5) == {
        "used": 1800.0, "warning_level": 3600.0, "limit": 5400.0,
    }  # fmt: skip


def test_counting_down_in_parts() -> None:
    life = Life(False, 1.0, {"start": 100.0, "warning": 20.0, "limit": 5.0})
    assert said(life, value=40.0, start=100.0, warning=20.0, limit=5.0) == {
        "remaining": 35.0, "limit": 95.0, "warning_remaining": 15.0,
    }  # fmt: skip


def test_a_missing_start_or_limit_is_zero_where_the_standard_lets_it() -> None:
    assert said(Life(True, 1.0, {}), value=7.0) == {"used": 7.0}
    assert said(Life(False, 1.0, {}), value=7.0) == {"remaining": 7.0}


def test_an_overrun_is_not_clamped() -> None:
    assert said(Life(False, 1.0, {"limit": 0.0}), value=-3.0) == {"remaining": -3.0}


def test_a_start_edited_by_hand_moves_everything_that_was_said() -> None:
    life = Life(True, 1.0, {"start": 0.0, "limit": 10.0})
    said(life, value=4.0, limit=10.0)
    assert life.update("start", 1.0) == [("used", 3.0), ("limit", 9.0)]
    assert life.update("start", 1.0) == []


def test_a_value_that_went_bad_says_so() -> None:
    life = Life(True, 1.0, {})
    said(life, value=4.0)
    assert life.update("value", None) == [("used", None)]
