"""The list of cycles of a page: which of them, in which order, one page of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from swarfline.facts import ABORTED, COMPLETE, PARTIAL, Cycle
from swarfline.measure.trend import steady_cycles
from swarfline.sentence import N_, Sentence
from swarfline.serve.page.choosing import page_number
from swarfline.serve.problems import wrong
from swarfline.serve.tongue import gettext as _

PER_PAGE = 25

ALL, STEADY, HELD, UNSEEN = "all", "steady", "held", "unobserved"
OUTCOMES: dict[str, Callable[[Cycle], bool]] = {
    ALL: lambda c: True,
    STEADY: lambda c: bool(steady_cycles([c])),
    HELD: lambda c: c.held_us > 0,
    ABORTED: lambda c: c.outcome == ABORTED,
    PARTIAL: lambda c: c.outcome == PARTIAL,
    UNSEEN: lambda c: c.unobserved_us > 0 and c.outcome == COMPLETE,
}
NEWEST, SLOWEST, FASTEST = "newest", "slowest", "fastest"
ORDERS: dict[str, Callable[[Cycle], tuple[int, int]]] = {
    NEWEST: lambda c: (-c.start_us, 0),
    SLOWEST: lambda c: (-c.duration_us, -c.start_us),
    FASTEST: lambda c: (c.duration_us, -c.start_us),
}


def outcome_words(name: str) -> str:
    """A choice of outcome in words."""
    return {
        ALL: _("all"),
        STEADY: _("steady cycles"),
        HELD: _("held"),
        ABORTED: _("aborted"),
        PARTIAL: _("partly seen"),
        UNSEEN: _("partly unobserved"),
    }[name]


def order_words(name: str) -> str:
    """An order in words."""
    return {NEWEST: _("newest first"), SLOWEST: _("slowest first"), FASTEST: _("fastest first")}[name]


@dataclass(frozen=True, slots=True)
class Leaf:
    """One page of the list. Of ``found`` cycles it holds those from the ``first`` on (counted from 1)."""

    outcome: str
    order: str
    page: int
    pages: int
    found: int
    cycles: Sequence[Cycle]

    @property
    def first(self) -> int:
        """Number of its first cycle."""
        return (self.page - 1) * PER_PAGE + 1

    @property
    def last(self) -> int:
        """Number of its last cycle."""
        return self.first + len(self.cycles) - 1


def leaf(cycles: Sequence[Cycle], asked: Mapping[str, str]) -> Leaf:
    """The page that ``outcome``, ``order`` and ``page`` mean; a page behind the last one is the last."""
    outcome = _one_of(asked, "outcome", OUTCOMES, ALL)
    order = _one_of(asked, "order", ORDERS, NEWEST)
    found = sorted(filter(OUTCOMES[outcome], cycles), key=ORDERS[order])
    pages = max(1, -(-len(found) // PER_PAGE))
    page = min(page_number(asked), pages)
    return Leaf(outcome, order, page, pages, len(found), found[(page - 1) * PER_PAGE : page * PER_PAGE])


def _one_of(asked: Mapping[str, str], name: str, known: Mapping[str, object], otherwise: str) -> str:
    told = asked.get(name) or otherwise
    if told not in known:
        raise wrong(name, Sentence(N_("{value} is none of them"), {"value": repr(told[:40])}), ", ".join(known))
    return told
