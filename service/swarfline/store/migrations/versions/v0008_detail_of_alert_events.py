"""What happened to an alert keeps what its text was made of, so that it can be told in other languages."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # of what happened before, only the text is known
    op.add_column("alert_events", sa.Column("detail", sa.Text(), nullable=True))
