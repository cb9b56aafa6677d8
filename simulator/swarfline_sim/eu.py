"""Engineering units as OPC UA writes them: UNECE Recommendation 20 codes in EUInformation."""

from __future__ import annotations

from collections.abc import Mapping

from asyncua import ua

NAMESPACE = "http://www.opcfoundation.org/UA/units/un/cefact"

_UNITS: Mapping[str, tuple[str, str]] = {
    "P1": ("%", "percent"),
    "C94": ("1/min", "reciprocal minute"),
    "WTT": ("W", "watt"),
    "WHR": ("W·h", "watt hour"),
    "HUR": ("h", "hour"),
    "MTR": ("m", "metre"),
    "C62": ("1", "one"),
}


def unit_id(code: str) -> int:
    """The code's ASCII bytes as one big-endian number (OPC 10000-8, mapping of UNECE codes)."""
    return int.from_bytes(code.encode("ascii"), "big")


def unit(code: str) -> ua.EUInformation:
    """EUInformation of a UNECE code that the simulator uses; KeyError for others."""
    symbol, text = _UNITS[code]
    return ua.EUInformation(
        NamespaceUri=NAMESPACE,
        UnitId=unit_id(code),
        DisplayName=ua.LocalizedText(symbol),
        Description=ua.LocalizedText(text),
    )
