"""Alembic's way in: runs the changes on the connection that database.py hands over."""
from alembic import context

from monitor.fleet.tables import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata, transactional_ddl=True)
with context.begin_transaction():
    context.run_migrations()
