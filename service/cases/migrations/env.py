"""Run by Alembic on the connection that :mod:`service.cases.migrating` hands over, inside its transaction."""

from __future__ import annotations

from alembic import context

from service.cases.migrating import VERSION_TABLE
from service.cases.tables import metadata

context.configure(
    connection=context.config.attributes["connection"], target_metadata=metadata, version_table=VERSION_TABLE
)
with context.begin_transaction():
    context.run_migrations()
