"""Cycles tell how much of them was out of sight; of older ones a rebuild finds it."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("cycles", sa.Column("unobserved_us", sa.BigInteger(), nullable=False, server_default="0"))
