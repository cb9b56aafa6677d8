"""Alerts tell what became of them: acknowledged, shelved, raised several times; and their history."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

_TIMES = ("again_us", "changed_us", "acknowledged_us", "shelved_us", "shelved_until_us")
_TEXTS = ("acknowledged_by", "acknowledged_note", "shelved_by", "shelved_note")
_KNOWN = (
    "INSERT INTO alert_events (alert, at_us, kind, severity, text, who, note) "
    "SELECT id, {0}_us, '{0}', severity, text, '', '' FROM alerts WHERE {0}_us IS NOT NULL ORDER BY id"
)


def upgrade() -> None:
    op.add_column("alerts", sa.Column("times", sa.BigInteger(), nullable=False, server_default="1"))
    for name in _TIMES:
        op.add_column("alerts", sa.Column(name, sa.BigInteger(), nullable=True))
    for name in _TEXTS:
        op.add_column("alerts", sa.Column(name, sa.Text(), nullable=True))
    op.create_index(op.f("ix_alerts_shelved_until_us"), "alerts", ["shelved_until_us"], unique=False)
    op.create_table(
        "alert_events",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("alert", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("at_us", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("severity", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("until_us", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_alert_events")),
    )
    op.create_index(op.f("ix_alert_events_alert"), "alert_events", ["alert"], unique=False)
    # of alerts from before no more is known than this
    op.execute(_KNOWN.format("raised"))
    op.execute(_KNOWN.format("cleared"))
