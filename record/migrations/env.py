"""Run the steps on the connection handed over, inside the transaction it is in."""

from alembic import context

from setstone.record.schema import metadata

# Alembic lends its context only while it runs the steps; whoever else reads this module starts nothing.
if hasattr(context, "config"):
    # SQLite can alter little of a table in place; Alembic's batch mode rebuilds it.
    context.configure(
        connection=context.config.attributes["connection"], target_metadata=metadata, render_as_batch=True
    )
    context.run_migrations()
