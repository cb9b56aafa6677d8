"""The tables. Times are integer microseconds UTC; a fact's primary key is its ``key``.

Facts of one machine lie together (clustered on SQLite), since every question asks for a machine and a span.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Float,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
)

from swarfline import facts

metadata = MetaData(naming_convention={"ix": "ix_%(table_name)s_%(column_0_N_name)s", "pk": "pk_%(table_name)s"})


def _machine() -> Column[Any]:
    return Column("machine", String(40), primary_key=True)


def _us(name: str, key: bool = False) -> Column[Any]:
    return Column(name, BigInteger, primary_key=key, nullable=False, autoincrement=False)


def _text(name: str, key: bool = False) -> Column[Any]:
    return Column(name, Text, primary_key=key, nullable=False)


def _open() -> Column[Any]:
    return Column("open", Boolean, nullable=False)


def _fact_table(name: str, *columns: Column[Any]) -> Table:
    return Table(name, metadata, _machine(), *columns, sqlite_with_rowid=False)


conditions = _fact_table(
    "conditions", _us("start_us", True), _us("end_us"), _text("condition"), _text("alarm_code"),
    _text("alarm_text"), _open(),
)  # fmt: skip
cycles = _fact_table(
    "cycles", _us("start_us", True), _us("end_us"), _text("outcome"), _text("program"), _text("part"),
    _text("lot"), Column("parts", BigInteger, nullable=False), _text("step_us"), Column("energy_j", Float),
    _text("tools"), _text("strip"),
    Column("unobserved_us", BigInteger, nullable=False, server_default="0"), _open(),
)  # fmt: skip
counts = _fact_table(
    "counts", _us("time_us", True), _text("count_kind", True), Column("quantity", BigInteger, nullable=False),
    _text("part"), _text("lot"), Column("across_gap", Boolean, nullable=False),
)  # fmt: skip
tool_lives = _fact_table(
    "tool_lives", _text("pot_key", True), _us("start_us", True), _us("end_us"), _text("tool"), _text("pot"),
    _text("name"), _text("basis"), Column("used", Float, nullable=False), Column("limit", Float),
    Column("warning_level", Float), Column("locked", Boolean, nullable=False),
    Column("whole", Boolean, nullable=False), _text("reason"), _open(),
)  # fmt: skip
limit_changes = _fact_table(
    "limit_changes", _text("pot_key", True), _us("time_us", True), _text("tool"), _text("field", True),
    Column("old", Float), Column("new", Float),
)  # fmt: skip
energies = _fact_table(
    "energies", _us("start_us", True), _us("end_us"), _text("condition"),
    Column("energy_j", Float, nullable=False), _text("basis"), _open(),
)  # fmt: skip
gaps = _fact_table("gaps", _us("start_us", True), _us("end_us"), _text("reason"), _open())
alarms = _fact_table("alarms", _us("start_us", True), _us("end_us"), _text("code"), _text("text"), _open())

tallies = Table(
    "tallies", metadata, _machine(), _us("start_us", True), _us("end_us"), _text("made_by"), _text("sums"),
)  # fmt: skip

FACT_TABLES: dict[type[Any], Table] = {
    facts.Condition: conditions,
    facts.Cycle: cycles,
    facts.Count: counts,
    facts.ToolLife: tool_lives,
    facts.LimitChange: limit_changes,
    facts.Energy: energies,
    facts.Gap: gaps,
    facts.Alarm: alarms,
}
"""The table of each kind of fact."""

MOMENTS = (facts.Count, facts.LimitChange)
"""Kinds of fact that happen at one time; the others last."""


def begun(kind: type[Any]) -> Column[Any]:
    """The column that tells when a fact of this kind happened or began."""
    table = FACT_TABLES[kind]
    column: Column[Any] = table.c.time_us if kind in MOMENTS else table.c.start_us
    return column


journal = Table(
    "journal", metadata,
    Column("id", BigInteger().with_variant(Integer, "sqlite"), primary_key=True),
    Column("state_like", Boolean, nullable=False),
    _us("from_us"), _us("to_us"), _us("first_number"),
    Column("readings", Integer, nullable=False),
    Column("payload", LargeBinary, nullable=False),
    Index(None, "to_us"),
    # also keeps out a second writer, whose numbers would be the same
    Index(None, "first_number", "state_like", unique=True),
)  # fmt: skip

checkpoints = Table("checkpoints", metadata, _machine(), _us("next_number"), _text("state"))

machine_now = Table("machine_now", metadata, _machine(), _text("state"))

servers = Table(
    "servers", metadata, Column("server", String(40), primary_key=True), _text("status"), _us("seen_us")
)

users = Table(
    "users", metadata, Column("key", String(120), primary_key=True), _text("name"), _text("role"),
    Column("password", Text), _us("made_us"),
)  # fmt: skip

sign_ins = Table(
    "sign_ins", metadata, Column("digest", String(64), primary_key=True),
    Column("user", String(120), nullable=False), _text("role"), _text("kind"), _text("about"),
    _us("made_us"), _us("used_us"), _us("ends_us"),
    Index(None, "user"),
)  # fmt: skip
"""Sessions and tokens, by the SHA-256 of their secret; rows go when they end."""

alerts = Table(
    "alerts", metadata,
    Column("id", BigInteger().with_variant(Integer, "sqlite"), primary_key=True),
    _text("rule"), Column("machine", String(40), nullable=False), _text("subject"), _text("severity"),
    _text("text"), _us("raised_us"), Column("cleared_us", BigInteger), _text("detail"),
    Column("times", BigInteger, nullable=False, server_default="1"),
    Column("again_us", BigInteger), Column("changed_us", BigInteger),
    Column("acknowledged_us", BigInteger), Column("acknowledged_by", Text), Column("acknowledged_note", Text),
    Column("shelved_us", BigInteger), Column("shelved_until_us", BigInteger),
    Column("shelved_by", Text), Column("shelved_note", Text),
    Index(None, "cleared_us"), Index(None, "raised_us"),
    # the judge asks each second for what stands, was cleared a short while ago, or is shelved
    Index(None, "shelved_until_us"),
)  # fmt: skip
"""The collector writes the columns up to ``changed_us``; people's acknowledging and shelving the others."""

alert_events = Table(
    "alert_events", metadata,
    Column("id", BigInteger().with_variant(Integer, "sqlite"), primary_key=True),
    _us("alert"), _us("at_us"), _text("kind"), _text("severity"), _text("text"), _text("who"), _text("note"),
    Column("until_us", BigInteger), Column("detail", Text),
    Index(None, "alert"),
)  # fmt: skip
"""What happened to each alert, in the order of happening."""

entries = Table(
    "entries", metadata,
    Column("id", BigInteger().with_variant(Integer, "sqlite"), primary_key=True),
    Column("machine", String(40), nullable=False), _us("start_us"), _us("end_us"), _text("kind"), _text("content"),
    _text("who"), _text("note"), _us("entered_us"), Column("undoes", BigInteger),
    Index(None, "machine", "start_us"),
    # an entry can be undone once
    Index(None, "undoes", unique=True),
)  # fmt: skip
"""Rows are only ever added. One of the kind ``undo`` takes back the row that it names in ``undoes``."""

outbox = Table(
    "outbox", metadata,
    Column("id", BigInteger().with_variant(Integer, "sqlite"), primary_key=True),
    Column("channel", String(40), nullable=False), Column("key", String(80), nullable=False), _text("kind"),
    _text("subject"), _text("text"), Column("html", Text), _text("data"), _us("created_us"), _us("not_before_us"),
    _text("state"), Column("attempts", Integer, nullable=False), Column("tried_us", BigInteger),
    Column("next_us", BigInteger), Column("settled_us", BigInteger), _text("problem"),
    Column("inside", BigInteger),
    # what was queued for a channel once is not queued again
    Index(None, "channel", "key", unique=True),
    Index(None, "state", "next_us"),
)  # fmt: skip
"""Messages; ``next_us`` is when the next attempt is due, of those that wait."""

outbox_files = Table(
    "outbox_files", metadata,
    Column("message", BigInteger, primary_key=True, autoincrement=False),
    Column("place", Integer, primary_key=True, autoincrement=False),
    _text("name"), _text("media_type"), Column("content", LargeBinary, nullable=False),
)  # fmt: skip
