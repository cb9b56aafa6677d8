"""What interpretation needs to know of one machine beforehand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from swarfline.grounds import cycle_bounds

MAX_SKEW_US = 5_000_000
"""How far ahead of its receipt a source time is believed, unless the server's clock rules."""


@dataclass(frozen=True, slots=True)
class MachineSettings:
    """Settings of one machine; ``signals`` are the machine signals it offers.

    ``parts_per_cycle`` by part; ``widths`` in bits by counter signal (32 where missing).
    ``max_skew_us``: a source time that lies further ahead of its receipt, after correction, is taken for wrong
    and the receipt counts; one such time believed would make all true ones late until it is reached. None: the
    server's clock is taken as it is (no correction, no plausibility limit).
    """

    machine: str
    signals: frozenset[str]
    part_by_program: Mapping[str, str] = field(default_factory=dict)
    default_part: str = ""
    parts_per_cycle: Mapping[str, int] = field(default_factory=dict)
    widths: Mapping[str, int] = field(default_factory=dict)
    bounds: str | None = None
    reorder_us: int = 1_000_000
    clock_tolerance_us: int = 500_000
    max_skew_us: int | None = MAX_SKEW_US
    cutting_load_pct: float = 5.0

    @property
    def cycle_bounds(self) -> str:
        """What cuts this machine's cycles: as set, else the best signal offered."""
        return cycle_bounds(self.signals, self.bounds)
