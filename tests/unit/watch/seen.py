"""What the tests of the rules need of every rule: settings as the plant file has them, and the answer in short."""

from __future__ import annotations

from swarfline.alerts import Sighting

MINUTE = 60_000_000
HOUR = 60 * MINUTE
NOW = 1_780_000_000_000_000
"""2026-05-28T20:26:40Z"""


def state(sighting: Sighting) -> str:
    """``raised``, ``cleared``, or ``kept`` between the two; never both."""
    assert not (sighting.active and sighting.clear)
    return "raised" if sighting.active else "cleared" if sighting.clear else "kept"
