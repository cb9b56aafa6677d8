"""The outbox: messages to be delivered, and their files."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "outbox",
        sa.Column("id", NUMBER, nullable=False),
        sa.Column("channel", sa.String(length=40), nullable=False),
        sa.Column("key", sa.String(length=80), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("html", sa.Text(), nullable=True),
        sa.Column("data", sa.Text(), nullable=False),
        sa.Column("created_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("not_before_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("tried_us", sa.BigInteger(), nullable=True),
        sa.Column("next_us", sa.BigInteger(), nullable=True),
        sa.Column("settled_us", sa.BigInteger(), nullable=True),
        sa.Column("problem", sa.Text(), nullable=False),
        sa.Column("inside", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outbox")),
    )
    op.create_index(op.f("ix_outbox_channel_key"), "outbox", ["channel", "key"], unique=True)
    op.create_index(op.f("ix_outbox_state_next_us"), "outbox", ["state", "next_us"])
    op.create_table(
        "outbox_files",
        sa.Column("message", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("place", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("media_type", sa.Text(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("message", "place", name=op.f("pk_outbox_files")),
    )
