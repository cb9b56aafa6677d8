"""Alembic runs this; the connection comes from swarfline.store.migrate."""

from alembic import context

from swarfline.store.tables import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata, compare_type=True)
with context.begin_transaction():
    context.run_migrations()
