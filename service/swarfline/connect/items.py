"""One node being watched."""

from __future__ import annotations

from dataclasses import dataclass

from asyncua import ua


@dataclass(frozen=True, slots=True)
class Item:
    """A node under a client handle. ``state_like`` nodes are sampled faster than those that only wiggle."""

    handle: int
    node: ua.NodeId
    machine: str
    name: str
    state_like: bool = True

    @property
    def key(self) -> str:
        """``machine/signal``."""
        return f"{self.machine}/{self.name}"
