"""Users, and what they are signed in by."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "users",
        sa.Column("key", sa.String(length=120), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("password", sa.Text(), nullable=True),
        sa.Column("made_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_users")),
    )
    op.create_table(
        "sign_ins",
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("user", sa.String(length=120), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("about", sa.Text(), nullable=False),
        sa.Column("made_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("used_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("ends_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.PrimaryKeyConstraint("digest", name=op.f("pk_sign_ins")),
    )
    op.create_index(op.f("ix_sign_ins_user"), "sign_ins", ["user"], unique=False)
