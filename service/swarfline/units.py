"""Units: which are understood for which quantity, and the factor to the one used inside.

Standard library only. Factors are exact by definition (SI, minutes and hours); ``1`` for a percentage means a
ratio 0–1. UNECE Rec 20 common codes stand beside the symbol, as EUInformation carries them.
"""

from __future__ import annotations

_QUANTITIES: dict[str, dict[str, float]] = {
    "W": {"W": 1.0, "kW": 1e3, "MW": 1e6},
    "Wh": {"Wh": 1.0, "kWh": 1e3, "MWh": 1e6, "J": 1 / 3600, "kJ": 1 / 3.6, "MJ": 1e3 / 3.6},
    "s": {"s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0, "d": 86400.0},
    "m": {"m": 1.0, "mm": 1e-3, "km": 1e3, "µm": 1e-6},
    "%": {"%": 1.0, "1": 100.0},
    "1/min": {"1/min": 1.0, "1/s": 60.0},
    "mm/min": {"mm/min": 1.0, "m/min": 1e3, "mm/s": 60.0, "m/s": 6e4},
    "1": {"1": 1.0},
}

_SYMBOLS = {
    "r/min": "1/min", "rpm": "1/min", "min⁻¹": "1/min", "min-1": "1/min", "rev/min": "1/min",
    "W·h": "Wh", "W.h": "Wh", "kW·h": "kWh", "kW.h": "kWh", "MW·h": "MWh", "um": "µm", "μm": "µm",
    "one": "1", "pct": "%",
}  # fmt: skip

_UNECE = {
    "SEC": "s", "C26": "ms", "MIN": "min", "HUR": "h", "DAY": "d",
    "WTT": "W", "KWT": "kW", "MAW": "MW", "WHR": "Wh", "KWH": "kWh", "MWH": "MWh",
    "JOU": "J", "KJO": "kJ", "3B": "MJ",
    "MTR": "m", "MMT": "mm", "KMT": "km", "4H": "µm",
    "P1": "%", "C62": "1", "EA": "1", "H87": "1",
    "C94": "1/min", "RPM": "1/min", "M46": "1/min", "RPS": "1/s",
    "H81": "mm/min", "2X": "m/min", "C16": "mm/s", "MTS": "m/s",
}  # fmt: skip

LIFE_UNITS = {"count": "1", "time": "s", "distance": "m"}
"""Unit inside of a tool life, by its basis."""


def lasting(seconds: int) -> str:
    """How a length of whole seconds is written: 42 s, 12 min, 3 h 05 min, 2 d 4 h. Two units at most, cut off."""
    if seconds < 60:
        return f"{seconds} s"
    if seconds < 3600:
        return f"{seconds // 60} min"
    if seconds < 48 * 3600:
        return f"{seconds // 3600} h {seconds % 3600 // 60:02d} min"
    return f"{seconds // 86400} d {seconds % 86400 // 3600} h"


def canonical(symbol: str) -> str:
    """The one spelling used here for a unit symbol; unknown symbols come back as they are."""
    trimmed = symbol.strip()
    return _SYMBOLS.get(trimmed, trimmed)


def from_unit_id(unit_id: int) -> str | None:
    """Symbol for an EUInformation unitId (UNECE code as big-endian ASCII), None when not coded or unknown."""
    if unit_id <= 0:
        return None
    code = unit_id.to_bytes((unit_id.bit_length() + 7) // 8, "big").decode("ascii", "replace")
    return _UNECE.get(code)


def factor(unit: str, inside: str) -> float:
    """Factor from ``unit`` to the unit ``inside``; raises ValueError naming what is allowed."""
    known = _QUANTITIES.get(inside, {inside: 1.0})
    symbol = canonical(unit)
    if symbol not in known:
        raise ValueError(f"unit {unit!r} cannot be converted to {inside}; allowed: {', '.join(known)}")
    return known[symbol]


def inside_units(signal_unit: str) -> tuple[str, ...]:
    """The unit or units inside that a signal's unit may stand for (a tool life depends on its basis)."""
    return tuple(LIFE_UNITS.values()) if signal_unit == "basis" else (signal_unit,)
