"""Variables that stand together in one folder, told apart by machine."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from swarfline.connect.sighting import Variable

LEAST_EACH = 3
ALIKE = 0.5
"""This share of the names without prefix has to come with another prefix too."""
_PREFIX = re.compile(
    r"^([^\W_]{1,20}?)[_.\-/: ]+(.+)$"  # N1_Count, Mill-2.Count
    r"|^([^\W\d_]{1,20}\d{1,3})(?=[^\W\d_])(.+)$"  # Mill2Count, 機械1生産個数
)


@dataclass(frozen=True, slots=True)
class Group:
    """Variables of one machine; ``name`` is their prefix, empty where they are all of one."""

    name: str
    variables: tuple[Variable, ...]


def group_machines(variables: Sequence[Variable]) -> list[Group]:
    """By a prefix of the names, where several prefixes are followed by the same names; else all together."""
    by_prefix: dict[str, dict[str, Variable]] = defaultdict(dict)
    for variable in variables:
        prefix, rest = _cut(variable.name)
        by_prefix[prefix][rest] = variable
    large = {prefix: rests for prefix, rests in by_prefix.items() if prefix and len(rests) >= LEAST_EACH}
    alike = [prefix for prefix, rests in large.items() if _is_shared(prefix, rests, large)]
    if len(alike) < 2:
        return [Group("", tuple(variables))]
    return [Group(prefix, tuple(large[prefix].values())) for prefix in alike]


def _cut(name: str) -> tuple[str, str]:
    found = _PREFIX.match(name)
    if found is None:
        return "", name
    parts = [part for part in found.groups() if part is not None]
    return parts[0], parts[1]


def _is_shared(prefix: str, rests: dict[str, Variable], large: dict[str, dict[str, Variable]]) -> bool:
    others = {rest for other, theirs in large.items() if other != prefix for rest in theirs}
    return len(rests.keys() & others) >= ALIKE * len(rests)
