"""The first tables."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "alarms",
        sa.Column("machine", sa.String(length=40), nullable=False),
        sa.Column("start_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("end_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("open", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("machine", "start_us", name=op.f("pk_alarms")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "alerts",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("rule", sa.Text(), nullable=False),
        sa.Column("machine", sa.String(length=40), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("severity", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("raised_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("cleared_us", sa.BigInteger(), nullable=True),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_alerts")),
    )
    op.create_index(op.f("ix_alerts_cleared_us"), "alerts", ["cleared_us"], unique=False)
    op.create_index(op.f("ix_alerts_raised_us"), "alerts", ["raised_us"], unique=False)
    op.create_table(
        "checkpoints",
        sa.Column("machine", sa.String(length=40), nullable=False),
        sa.Column("next_number", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("machine", name=op.f("pk_checkpoints")),
    )
    op.create_table(
        "conditions",
        sa.Column("machine", sa.String(length=40), nullable=False),
        sa.Column("start_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("end_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("condition", sa.Text(), nullable=False),
        sa.Column("alarm_code", sa.Text(), nullable=False),
        sa.Column("alarm_text", sa.Text(), nullable=False),
        sa.Column("open", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("machine", "start_us", name=op.f("pk_conditions")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "counts",
        sa.Column("machine", sa.String(length=40), nullable=False),
        sa.Column("time_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("count_kind", sa.Text(), nullable=False),
        sa.Column("quantity", sa.BigInteger(), nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.Column("lot", sa.Text(), nullable=False),
        sa.Column("across_gap", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("machine", "time_us", "count_kind", name=op.f("pk_counts")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "cycles",
        sa.Column("machine", sa.String(length=40), nullable=False),
        sa.Column("start_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("end_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.Column("program", sa.Text(), nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.Column("lot", sa.Text(), nullable=False),
        sa.Column("parts", sa.BigInteger(), nullable=False),
        sa.Column("step_us", sa.Text(), nullable=False),
        sa.Column("energy_j", sa.Float(), nullable=True),
        sa.Column("tools", sa.Text(), nullable=False),
        sa.Column("strip", sa.Text(), nullable=False),
        sa.Column("open", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("machine", "start_us", name=op.f("pk_cycles")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "energies",
        sa.Column("machine", sa.String(length=40), nullable=False),
        sa.Column("start_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("end_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("condition", sa.Text(), nullable=False),
        sa.Column("energy_j", sa.Float(), nullable=False),
        sa.Column("basis", sa.Text(), nullable=False),
        sa.Column("open", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("machine", "start_us", name=op.f("pk_energies")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "gaps",
        sa.Column("machine", sa.String(length=40), nullable=False),
        sa.Column("start_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("end_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("open", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("machine", "start_us", name=op.f("pk_gaps")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "journal",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("state_like", sa.Boolean(), nullable=False),
        sa.Column("from_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("to_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("first_number", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("readings", sa.Integer(), nullable=False),
        sa.Column("payload", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_journal")),
    )
    op.create_index(
        op.f("ix_journal_first_number_state_like"), "journal", ["first_number", "state_like"], unique=True
    )
    op.create_index(op.f("ix_journal_to_us"), "journal", ["to_us"], unique=False)
    op.create_table(
        "limit_changes",
        sa.Column("machine", sa.String(length=40), nullable=False),
        sa.Column("pot_key", sa.Text(), nullable=False),
        sa.Column("time_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("tool", sa.Text(), nullable=False),
        sa.Column("field", sa.Text(), nullable=False),
        sa.Column("old", sa.Float(), nullable=True),
        sa.Column("new", sa.Float(), nullable=True),
        sa.PrimaryKeyConstraint("machine", "pot_key", "time_us", "field", name=op.f("pk_limit_changes")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "machine_now",
        sa.Column("machine", sa.String(length=40), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("machine", name=op.f("pk_machine_now")),
    )
    op.create_table(
        "servers",
        sa.Column("server", sa.String(length=40), nullable=False),
        sa.Column("status", sa.Text(), nullable=False),
        sa.Column("seen_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.PrimaryKeyConstraint("server", name=op.f("pk_servers")),
    )
    op.create_table(
        "tool_lives",
        sa.Column("machine", sa.String(length=40), nullable=False),
        sa.Column("pot_key", sa.Text(), nullable=False),
        sa.Column("start_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("end_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("tool", sa.Text(), nullable=False),
        sa.Column("pot", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("basis", sa.Text(), nullable=False),
        sa.Column("used", sa.Float(), nullable=False),
        sa.Column("limit", sa.Float(), nullable=True),
        sa.Column("warning_level", sa.Float(), nullable=True),
        sa.Column("locked", sa.Boolean(), nullable=False),
        sa.Column("whole", sa.Boolean(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("open", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("machine", "pot_key", "start_us", name=op.f("pk_tool_lives")),
        sqlite_with_rowid=False,
    )
