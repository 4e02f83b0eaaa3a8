"""Runs the steps on the connection that `station.plant.upgrade` hands over; there is no other way in."""

from alembic import context

from station.plant.schema import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata,
                  transactional_ddl=True)
with context.begin_transaction():
    context.run_migrations()
