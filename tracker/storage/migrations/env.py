"""Alembic's entry: run the migrations on the connection it was given."""

from __future__ import annotations

from alembic import context

from tracker.storage.schema import METADATA

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()
