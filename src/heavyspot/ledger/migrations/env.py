"""Run by Alembic: the connection is handed over by `heavyspot.ledger.store.schema`."""

from alembic import context

from heavyspot.ledger.store.tables import metadata

connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=metadata,
    render_as_batch=True,
    transactional_ddl=True,  # one transaction for all: `all_or_nothing`
)
with context.begin_transaction():
    context.run_migrations()
