"""Tallies: sums by machine and day."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "tallies",
        sa.Column("machine", sa.String(length=40), nullable=False),
        sa.Column("start_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("end_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("sums", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("machine", "start_us", name=op.f("pk_tallies")),
    )
