"""Entries of people: reasons of stops, parts judged later."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "entries",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("machine", sa.String(length=40), nullable=False),
        sa.Column("start_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("end_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("entered_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("undoes", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_entries")),
    )
    op.create_index(op.f("ix_entries_machine_start_us"), "entries", ["machine", "start_us"], unique=False)
    op.create_index(op.f("ix_entries_undoes"), "entries", ["undoes"], unique=True)
