"""What is asked of the store. Everything here only reads."""

from __future__ import annotations

import json
from collections.abc import Collection
from typing import Any, NamedTuple, TypeVar

from sqlalchemy import ColumnElement, Engine, Select, Table, func, literal_column, select, true

from swarfline.alerts import Alert, AlertEvent
from swarfline.calendar import Interval, subtract
from swarfline.entries import LONGEST_US, Entry, Said
from swarfline.facts import COMPLETE, UNOBSERVED, Alarm, Condition, Cycle, Energy, Fact, Gap, ToolLife
from swarfline.store import alert_rows, tables
from swarfline.store.cycle_tools import CycleTools
from swarfline.store.entering import from_entry_row
from swarfline.store.rows import from_values, names
from swarfline.store.tallies import tallied
from swarfline.tallies import Tally

F = TypeVar("F", bound=Fact)

_EMPTY = {"energy_j": "NULL", "tools": "'[]'", "strip": "'[]'"}
"""What stands for a field of a cycle that is not read, as SQL."""

_SUCCESSIVE = (Condition, Cycle, Energy, Gap, Alarm)


class CycleStart(NamedTuple):
    """When a cycle began and the part that it makes."""

    start_us: int
    part: str


_UNDO = tables.entries.alias("undo")
_ENTRIES = select(
    tables.entries, _UNDO.c.who.label("by"), _UNDO.c.entered_us.label("at_us"), _UNDO.c.note.label("why")
).join_from(tables.entries, _UNDO, _UNDO.c.undoes == tables.entries.c.id, isouter=True)
"""Entries, each with its undoing if there is one; every figure asks for them."""


def _cycle_columns(without: Collection[str]) -> list[ColumnElement[Any]]:
    columns = tables.cycles.c
    return [literal_column(_EMPTY[name]) if name in without else columns[name] for name in names(Cycle)]


class Queries:
    """Read access; safe to use from several threads."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def facts(
        self,
        kind: type[F],
        machine: str,
        start_us: int,
        end_us: int,
        limit: int | None = None,
        after: int | None = None,
    ) -> list[F]:
        """Facts of one kind that overlap [start, end), in time order; ``after``: only those that start later.

        Facts with the same start are in the order of their keys; ``after`` passes all of them over.
        """
        table = tables.FACT_TABLES[kind]
        moment = tables.begun(kind)
        if start_us >= end_us:
            return []
        query = select(*(table.c[name] for name in names(kind))).where(table.c.machine == machine, moment < end_us)
        query = query.where(moment >= start_us if kind in tables.MOMENTS else table.c.end_us > start_us)
        if kind in _SUCCESSIVE:
            query = query.where(moment >= self._first_start(table, machine, start_us))
        if after is not None:
            query = query.where(moment > after)
        return self._facts(kind, query.order_by(moment, *table.primary_key.columns).limit(limit))

    def _first_start(self, table: Table, machine: str, start_us: int) -> ColumnElement[int]:
        """Facts of these kinds follow one another, so only the last one begun before the span reaches into it."""
        earlier = (
            select(func.max(table.c.start_us))
            .where(table.c.machine == machine, table.c.start_us <= start_us)
            .scalar_subquery()
        )
        return func.coalesce(earlier, start_us)

    def _facts(self, kind: type[F], query: Select[Any]) -> list[F]:
        with self._engine.connect() as connection:
            return [from_values(kind, row) for row in connection.execute(query).all()]

    def open_tool_lives(self, machine: str) -> list[ToolLife]:
        """The tools that are in the machine now."""
        table = tables.tool_lives
        query = select(*(table.c[name] for name in names(ToolLife))).where(
            table.c.machine == machine, table.c.open.is_(True)
        )
        return self._facts(ToolLife, query.order_by(table.c.pot_key))

    def last_cycles(self, machine: str, limit: int, before_us: int, program: str | None = None) -> list[Cycle]:
        """The newest ``limit`` complete cycles that ended by a moment, oldest first; without their strips."""
        table = tables.cycles
        query = select(*_cycle_columns(("strip",))).where(
            table.c.machine == machine,
            table.c.start_us < before_us,
            table.c.end_us <= before_us,
            table.c.outcome == COMPLETE,
        )
        if program is not None:
            query = query.where(table.c.program == program)
        return self._facts(Cycle, query.order_by(table.c.start_us.desc()).limit(limit))[::-1]

    def cycles(
        self, machine: str, start_us: int, end_us: int, without: Collection[str] = ("strip",)
    ) -> list[Cycle]:
        """Cycles that overlap [start, end), in time order, ``without`` the fields named, which are then empty.

        strip, tools and energy_j may be left out: the strip alone is half of what there is to read.
        """
        table = tables.cycles
        query = select(*_cycle_columns(without)).where(
            table.c.machine == machine,
            table.c.start_us >= self._first_start(table, machine, start_us),
            table.c.start_us < end_us,
            table.c.end_us > start_us,
        )
        return self._facts(Cycle, query.order_by(table.c.start_us)) if start_us < end_us else []

    def cycle_before(self, machine: str, start_us: int) -> Cycle | None:
        """The last cycle that began before a moment, None without any."""
        table = tables.cycles
        query = select(*(table.c[name] for name in names(Cycle))).where(
            table.c.machine == machine, table.c.start_us < start_us
        )
        found = self._facts(Cycle, query.order_by(table.c.start_us.desc()).limit(1))
        return found[0] if found else None

    def cycle_tools(self, machine: str, start_us: int, end_us: int, most: int) -> CycleTools:
        """What the complete cycles that began in [start, end) tell of tools; of more than ``most``, each n-th."""
        table = tables.cycles
        wanted = (
            table.c.machine == machine,
            table.c.start_us >= start_us,
            table.c.start_us < end_us,
            table.c.outcome == COMPLETE,
        )
        with self._engine.connect() as connection:
            found = connection.execute(select(func.count()).select_from(table).where(*wanted)).scalar() or 0
            every = max(1, -(-found // most))
            place = func.row_number().over(order_by=table.c.start_us).label("place")
            each = select(table.c.start_us, table.c.program, table.c.tools, place).where(*wanted).subquery()
            query = select(each.c.start_us, each.c.program, each.c.tools).where(each.c.place % every == 0)
            rows = connection.execute(query.order_by(each.c.start_us)).all()
        return CycleTools(every, [(start, program, tools) for start, program, tools in rows])

    def cycle_starts(self, machine: str, start_us: int, end_us: int) -> list[CycleStart]:
        """When the cycles that overlap [start, end) began, and their parts, in time order."""
        table = tables.cycles
        query = select(table.c.start_us, table.c.part).where(
            table.c.machine == machine,
            table.c.start_us >= self._first_start(table, machine, start_us),
            table.c.start_us < end_us,
            table.c.end_us > start_us,
        )
        with self._engine.connect() as connection:
            return [CycleStart(*row) for row in connection.execute(query.order_by(table.c.start_us)).all()]

    def bare_cycles(self, machine: str, limit: int, before_us: int) -> list[Cycle]:
        """Like ``last_cycles``, of many: without steps, energy, tools and strip, which are long to read."""
        table = tables.cycles
        columns = (table.c[n] for n in ("start_us", "end_us", "outcome", "program", "part", "lot", "parts"))
        query = select(*columns).where(
            table.c.machine == machine,
            table.c.start_us < before_us,
            table.c.end_us <= before_us,
            table.c.outcome == COMPLETE,
        )
        with self._engine.connect() as connection:
            rows = connection.execute(query.order_by(table.c.start_us.desc()).limit(limit)).all()
        return [Cycle(machine, *row) for row in reversed(rows)]

    def lot_counts(self, machine: str, lot: str, since_us: int) -> tuple[dict[str, int], int | None]:
        """Parts of a lot by kind of count, and when its first part was counted, None before that."""
        table = tables.counts
        query = (
            select(table.c.count_kind, func.sum(table.c.quantity), func.min(table.c.time_us))
            .where(table.c.machine == machine, table.c.time_us >= since_us, table.c.lot == lot)
            .group_by(table.c.count_kind)
        )
        with self._engine.connect() as connection:
            rows = connection.execute(query).all()
        return {kind: int(quantity) for kind, quantity, _ in rows}, min((row[2] for row in rows), default=None)

    def lot_of_cycles(self, machine: str, lot: str, since_us: int) -> tuple[int | None, int | None]:
        """Parts that the cycles of a lot made, and when the first one began; for machines that count no parts."""
        table = tables.cycles
        query = select(func.sum(table.c.parts), func.min(table.c.start_us)).where(
            table.c.machine == machine, table.c.start_us >= since_us, table.c.lot == lot
        )
        with self._engine.connect() as connection:
            made, first = connection.execute(query).one()
        return None if made is None else int(made), first

    def observed(self, machine: str, start_us: int, end_us: int) -> list[Interval]:
        """The parts of [start, end) in which the machine's condition is known, sorted and disjoint."""
        told = self.bounds(machine)
        if told is None:
            return []
        table = tables.conditions
        query = select(table.c.start_us, table.c.end_us).where(
            table.c.machine == machine,
            table.c.start_us < end_us,
            table.c.end_us > start_us,
            table.c.condition == UNOBSERVED,
        )
        with self._engine.connect() as connection:
            dark = [(row.start_us, row.end_us) for row in connection.execute(query.order_by(table.c.start_us))]
        start_us, end_us = max(start_us, told[0]), min(end_us, told[1])
        return subtract([(start_us, end_us)], dark) if start_us < end_us else []

    def cycle_energies(self, machine: str, start_us: int, end_us: int) -> list[tuple[str, str, int, float | None]]:
        """Program, part, parts and joules of the complete cycles that began in [start, end), in time order."""
        table = tables.cycles
        query = select(table.c.program, table.c.part, table.c.parts, table.c.energy_j).where(
            table.c.machine == machine,
            table.c.start_us >= start_us,
            table.c.start_us < end_us,
            table.c.outcome == COMPLETE,
        )
        with self._engine.connect() as connection:
            found = connection.execute(query.order_by(table.c.start_us))
            return [(row.program, row.part, row.parts, row.energy_j) for row in found]

    def last_end_us(self, machine: str, condition: str, before_us: int) -> int | None:
        """The end of the newest such condition that began before a moment; None where there is none."""
        table = tables.conditions
        query = select(table.c.end_us).where(
            table.c.machine == machine, table.c.start_us < before_us, table.c.condition == condition
        )
        with self._engine.connect() as connection:
            return connection.execute(query.order_by(table.c.start_us.desc()).limit(1)).scalar()

    def running_cycle(self, machine: str) -> Cycle | None:
        """The cycle that was going on at the last commit."""
        table = tables.cycles
        query = select(*(table.c[name] for name in names(Cycle))).where(table.c.machine == machine)
        newest = self._facts(Cycle, query.order_by(table.c.start_us.desc()).limit(1))
        return newest[0] if newest and newest[0].open else None

    def now(self, machine: str) -> dict[str, Any] | None:
        """The present picture of a machine as of the last commit; None when it was never heard of."""
        table = tables.machine_now
        with self._engine.connect() as connection:
            state = connection.execute(select(table.c.state).where(table.c.machine == machine)).scalar()
        return None if state is None else json.loads(state)

    def all_now(self) -> dict[str, dict[str, Any]]:
        """The present pictures of every machine that was ever heard of, all of one moment."""
        table = tables.machine_now
        with self._engine.connect() as connection:
            return {row.machine: json.loads(row.state) for row in connection.execute(select(table))}

    def latest_us(self, machine: str) -> int | None:
        """How far a machine's time has been told (observed or known to be unobserved)."""
        told = self.bounds(machine)
        return None if told is None else told[1]

    def bounds(self, machine: str) -> tuple[int, int] | None:
        """First and last moment that conditions tell of; None before the first."""
        table = tables.conditions
        begun = table.c.start_us
        told = select(begun, table.c.end_us).where(table.c.machine == machine).limit(1)
        with self._engine.connect() as connection:
            first = connection.execute(told.order_by(begun)).first()
            last = connection.execute(told.order_by(begun.desc())).first()
        return None if first is None or last is None else (first.start_us, last.end_us)

    def settled_us(self, machine: str) -> int | None:
        """Up to when no condition of a machine goes on any more; None before the first."""
        table = tables.conditions
        query = select(table.c.start_us, table.c.end_us, table.c.open).where(table.c.machine == machine)
        with self._engine.connect() as connection:
            last = connection.execute(query.order_by(table.c.start_us.desc()).limit(1)).first()
        return None if last is None else int(last.start_us if last.open else last.end_us)

    def tallies(self, machine: str, start_us: int, end_us: int, made_by: str) -> list[Tally]:
        """Tallies of whole days in [start, end), in time order."""
        return tallied(self._engine, machine, start_us, end_us, made_by)

    def alerts(
        self,
        standing: bool = False,
        machine: str | None = None,
        start_us: int | None = None,
        end_us: int | None = None,
        limit: int = 1000,
        *,
        unacknowledged: bool = False,
        shelved_at_us: int | None = None,
        rule: str | None = None,
        severity: str | None = None,
    ) -> list[Alert]:
        """Alerts, newest first: standing ones only, of one machine, or standing at some time in a span.

        ``unacknowledged``: only those that stand and nobody acknowledged; ``shelved_at_us``: only those that are
        shelved at that moment, standing or not. ``machine`` is empty for alerts of servers and of the plant.
        """
        table = tables.alerts
        wanted: list[ColumnElement[bool]] = []
        if standing or unacknowledged:
            wanted.append(table.c.cleared_us.is_(None))
        if unacknowledged:
            wanted.append(table.c.acknowledged_us.is_(None))
        if shelved_at_us is not None:
            wanted.append(table.c.shelved_until_us > shelved_at_us)
        equal = ((table.c.machine, machine), (table.c.rule, rule), (table.c.severity, severity))
        wanted += [column == value for column, value in equal if value is not None]
        return alert_rows.found(self._engine, [*wanted, *alert_rows.in_span(start_us, end_us)], limit)

    def known_alerts(self, now_us: int, again_within_us: int) -> list[Alert]:
        """What the judge has to know: alerts that stand, and those that would be the same when seen anew."""
        table = tables.alerts
        known = (
            table.c.cleared_us.is_(None)
            | (table.c.cleared_us >= now_us - again_within_us)
            | (table.c.shelved_until_us > now_us)
        )
        # sorted here: told to sort, SQLite would read every alert there ever was in the order of raising
        return sorted(alert_rows.found(self._engine, [known], sort=False), key=lambda a: (-a.raised_us, -a.number))

    def alert(self, number: int) -> Alert | None:
        """One alert; None where there is none of this number."""
        found = alert_rows.found(self._engine, [tables.alerts.c.id == number])
        return found[0] if found else None

    def alert_events(self, number: int) -> list[AlertEvent]:
        """What happened to an alert, oldest first; ``alerts.story`` adds what follows from it."""
        return alert_rows.events(self._engine, number)

    def entries(self, kind: type[Said], machine: str | None, start_us: int, end_us: int) -> list[Entry]:
        """Entries of one kind that overlap [start, end), by their start; undone ones too, marked so.

        ``machine`` None: of all machines.
        """
        table = tables.entries
        return self._entries(
            table.c.kind == kind.kind,
            true() if machine is None else table.c.machine == machine,
            table.c.start_us < end_us,
            table.c.end_us > start_us,
            # the index finds the last ones, no entry reaches further
            table.c.start_us > start_us - LONGEST_US,
        )

    def entry(self, number: int) -> Entry | None:
        """One entry; None where there is none of this number."""
        found = self._entries(tables.entries.c.id == number, tables.entries.c.undoes.is_(None))
        return found[0] if found else None

    def _entries(self, *wanted: ColumnElement[bool]) -> list[Entry]:
        said = tables.entries
        query = _ENTRIES.where(*wanted).order_by(said.c.start_us, said.c.id)
        with self._engine.connect() as connection:
            return [from_entry_row(row) for row in connection.execute(query).mappings()]

    def servers(self) -> list[dict[str, Any]]:
        """The last known state of every server's connection."""
        with self._engine.connect() as connection:
            rows = connection.execute(select(tables.servers).order_by(tables.servers.c.server))
            return [{**json.loads(row.status), "seen_us": row.seen_us} for row in rows]

    def reachable(self) -> bool:
        """Whether the database answers; raises its error when it does not."""
        with self._engine.connect() as connection:
            return connection.execute(select(1)).scalar() == 1
