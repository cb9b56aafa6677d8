"""The nouns of a survey: what a server offers, the machines on it, and what is proposed for them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from swarfline.connect.sighting import Course, Proposal, Variable
from swarfline.connect.walk import Trouble

MachineKind = Literal["machine tool", "machine", "cnc", "folder"]
"""An OPC 40501-1 machine tool; another machine by OPC 40001-1; a control's CNC model; only variables together."""


@dataclass(frozen=True, slots=True)
class Door:
    """One endpoint: where, how messages are secured, who may come in, and whether a password would show."""

    url: str
    policy: str
    mode: str
    users: tuple[str, ...]
    is_password_in_clear: bool


@dataclass(frozen=True, slots=True)
class Namespace:
    """A namespace of the server, with the version of its model where it is told."""

    uri: str
    version: str | None = None


@dataclass(slots=True)
class FoundMachine:
    """A machine: the path to it, why it is taken for one, its variables, and what is proposed.

    ``tool_list`` is the browse path of an OPC 40501-1 tool list below it, as (namespace URI, name) steps.
    ``others`` are variables that no proposal of a standard names.
    """

    name: str
    kind: MachineKind
    reason: str
    node: str
    path: tuple[tuple[str, str], ...]
    proposals: list[Proposal] = field(default_factory=list)
    tool_list: tuple[tuple[str, str], ...] | None = None
    tools: int = 0
    others: list[Variable] = field(default_factory=list)


@dataclass(slots=True)
class Surveyed:
    """Everything seen. ``problem`` says why a survey ended early, ``cut`` which bound the walk met; else empty.

    ``limits`` are those that the server states, by name; ``clock_offset_us`` is its clock minus ours;
    ``loose`` are variables below no machine; ``courses`` how watched variables went, by node.
    """

    endpoint: str
    problem: str = ""
    cut: str = ""
    doors: list[Door] = field(default_factory=list)
    limits: Mapping[str, float] = field(default_factory=dict)
    clock_offset_us: int | None = None
    namespaces: list[Namespace] = field(default_factory=list)
    nodes: int = 0
    variables: int = 0
    troubles: list[Trouble] = field(default_factory=list)
    machines: list[FoundMachine] = field(default_factory=list)
    loose: list[Variable] = field(default_factory=list)
    courses: dict[str, Course] = field(default_factory=dict)

    @property
    def is_whole(self) -> bool:
        """True when all that the server shows was seen."""
        return not self.problem and not self.cut
