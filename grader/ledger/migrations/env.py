"""Run by Alembic: migrations go through the connection, and in the transaction, that the ledger hands over."""

from alembic import context

from grader.ledger.schema import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,
)
context.run_migrations()
