"""What Alembic runs to reach the connection that `spinlab.desk.database` hands it."""

from alembic import context

from spinlab.desk.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    transaction_per_migration=False,
)
context.run_migrations()
