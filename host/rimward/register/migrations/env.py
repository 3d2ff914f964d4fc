"""Runs the migrations on the connection that `rimward.register.schema.migrate` holds."""

from alembic import context

connection = context.config.attributes["connection"]
context.configure(connection=connection)
context.run_migrations()
