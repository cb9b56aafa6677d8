"""What a rule sees has to last before it is raised: since when it has, by subject.

Kept in memory: after a restart such a wait begins anew. An alert that stands already goes on standing meanwhile.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from swarfline.alerts import Sighting


class Holding:
    """Since when each subject has been active without a break. Pure: times are handed in, µs."""

    def __init__(self) -> None:
        self._since: dict[tuple[str, str], dict[str, int]] = {}

    def settled(
        self, rule: str, machine: str, seen: Iterable[tuple[Sighting, float]], now_us: int
    ) -> list[Sighting]:
        """All that one rule sees now of a machine (or of what is no machine), each with its delay in seconds.

        What has not held for so long yet is neither active nor clear. Subjects that are no longer seen, or not
        active, begin anew.
        """
        before = self._since.get((rule, machine), {})
        since: dict[str, int] = {}
        found = [_settle(sighting, delay_s, before, since, now_us) for sighting, delay_s in seen]
        self._since[rule, machine] = since
        return found


def _settle(
    sighting: Sighting, delay_s: float, before: Mapping[str, int], since: dict[str, int], now_us: int
) -> Sighting:
    if not sighting.active:
        return sighting
    # a clock that was set back must not make the wait longer than the delay
    begun = since[sighting.subject] = min(before.get(sighting.subject, now_us), now_us)
    return sighting if now_us - begun >= delay_s * 1e6 else replace(sighting, active=False, clear=False)
