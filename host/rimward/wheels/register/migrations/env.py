"""Migration environment: uses the connection of `rimward.wheels.register.schema.migrate`."""

from alembic import context

connection = context.config.attributes["connection"]
context.configure(connection=connection)
context.run_migrations()
