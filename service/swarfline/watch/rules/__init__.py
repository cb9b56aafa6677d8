"""The rules that can raise an alert; each is one pure function in a file of its own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from swarfline.alerts import Sighting
from swarfline.watch.rules import tool_near_limit


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule: its name (also its file's), what it watches for, and the function that sees."""

    name: str
    about: str
    see: Callable[..., list[Sighting]]


RULES = (Rule(tool_near_limit.NAME, tool_near_limit.ABOUT, tool_near_limit.see),)
"""Every rule; a test compares them with the files beside this one."""
