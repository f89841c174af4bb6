"""Tables whose lines can be added and nothing else, whoever speaks to the database; for the steps.

Like a step, never changed once books made with it exist.
"""

from alembic import op


def refuse_changes(*tables: str) -> None:
    """Let lines be added to tables and nothing else."""
    on_server = op.get_bind().dialect.name == "postgresql"
    if on_server:
        op.execute(
            "CREATE OR REPLACE FUNCTION refuse_changes() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
            "RAISE EXCEPTION 'lines of % cannot be changed or removed', TG_TABLE_NAME; END $$"
        )
    for table in tables:
        if on_server:
            op.execute(
                f"CREATE TRIGGER {table}_only_grows BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
                "FOR EACH STATEMENT EXECUTE FUNCTION refuse_changes()"
            )
            continue
        refusal = f"BEGIN SELECT RAISE(ABORT, 'lines of {table} cannot be changed or removed'); END"
        op.execute(f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} {refusal}")
        op.execute(f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} {refusal}")
