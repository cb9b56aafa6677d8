"""What one look at a server brings: what every mapped signal shows, and what has to be mended."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from swarfline.signals import Value

Weight = Literal["error", "note"]
LONGEST_REASON = 600
"""Characters of a reason that is ours, which may hold two fingerprints and a command."""
SHOWN = 80
"""Texts of a server are cut to this length."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found: where, what, and what to do. A note is no reason to hold back; an error is.

    ``machine``, ``signal`` and ``node`` are empty where a whole server is meant.
    """

    weight: Weight
    server: str
    found: str
    advice: str
    machine: str = ""
    signal: str = ""
    node: str = ""


@dataclass(frozen=True, slots=True)
class Shown:
    """One mapped signal as it was read. None: not known.

    ``value`` is in our terms (unit ``unit``, empty for none), ``raw`` the node's own as text of type ``type`` and
    unit ``node_unit``; ``age_s`` is the time since its source time stamp, the clock offset taken out;
    ``sampling_ms`` and ``queue_size`` are what the server granted for watching it.
    """

    machine: str
    signal: str
    node: str
    value: Value
    unit: str
    raw: str
    type: str
    node_unit: str | None
    quality: str
    age_s: float | None
    sampling_ms: float | None = None
    queue_size: int | None = None


@dataclass(slots=True)
class Inspection:
    """One server. ``clock_offset_us`` is its clock minus ours; ``limits`` are operations per call as used by us;
    ``security`` is that of our connection, ``offered`` that of all its endpoints; ``access`` is how values come.
    """

    server: str
    endpoint: str
    is_reached: bool = False
    security: str | None = None
    offered: tuple[str, ...] = ()
    clock_offset_us: int | None = None
    limits: Mapping[str, int] = field(default_factory=dict)
    access: str | None = None
    publishing_ms: float | None = None
    signals: list[Shown] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    @property
    def is_fine(self) -> bool:
        """True without an error; notes do not count."""
        return not any(finding.weight == "error" for finding in self.findings)


def legible(text: object, most: int = SHOWN) -> str:
    """A text of a server, safe for a terminal: at most so long, and without control characters."""
    whole = str(text)
    cut = whole[:most]
    return "".join(c if c.isprintable() else "�" for c in cut) + ("…" if len(whole) > most else "")
