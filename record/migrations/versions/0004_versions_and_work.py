"""Versions of a stone's record, what is said of an object, the work at the bench, how each stone stands."""

import sqlalchemy as sa
from alembic import op

from setstone.record.migrations.append_only import refuse_changes

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the columns and tables; how each stone stands is worked out by whoever runs this step."""
    op.add_column("signatures", sa.Column("version", sa.Integer(), nullable=True))
    op.add_column("signatures", sa.Column("state", sa.JSON(), nullable=True))
    _object_of_the_journal()
    _facts_and_work()
    _standings()
    # Entered once and never changed, but not guarded until now.
    refuse_changes("facts", "work", "examinations", "candidates", "readings", "remarks")


def _object_of_the_journal() -> None:
    if op.get_bind().dialect.name == "sqlite":
        # In place, with its foreign key, which Alembic would rebuild the table for (and lose its triggers):
        # sqlite.org/lang_altertable.html, section 4.
        op.execute(
            "ALTER TABLE journal ADD COLUMN object_id INTEGER "
            "CONSTRAINT fk_journal_object_id_objects REFERENCES objects (id)"
        )
    else:
        op.add_column("journal", sa.Column("object_id", sa.Integer(), nullable=True))
        op.create_foreign_key("fk_journal_object_id_objects", "journal", "objects", ["object_id"], ["id"])
    op.create_index("ix_journal_object_id", "journal", ["object_id"])


def _facts_and_work() -> None:
    op.create_table(
        "facts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("object_id", sa.Integer(), nullable=False),
        sa.Column("stone_id", sa.Integer(), nullable=True),
        sa.Column("name", sa.String(40), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("by", sa.String(100), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_facts"),
        sa.ForeignKeyConstraint(["object_id"], ["objects.id"], name="fk_facts_object_id_objects"),
        sa.ForeignKeyConstraint(["stone_id"], ["stones.id"], name="fk_facts_stone_id_stones"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_facts_object_id", "facts", ["object_id"])
    op.create_index("ix_facts_stone_id", "facts", ["stone_id"])
    op.create_table(
        "work",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("stone_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(40), nullable=False),
        sa.Column("done", sa.DateTime(timezone=True), nullable=False),
        sa.Column("done_by", sa.String(100), nullable=False),
        sa.Column("adhesive", sa.String(200), nullable=False),
        sa.Column("solvent", sa.String(200), nullable=False),
        sa.Column("remark", sa.Text(), nullable=False),
        sa.Column("takes_back", sa.Integer(), nullable=True),
        sa.Column("by", sa.String(100), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_work"),
        sa.ForeignKeyConstraint(["stone_id"], ["stones.id"], name="fk_work_stone_id_stones"),
        sa.ForeignKeyConstraint(["takes_back"], ["work.id"], name="fk_work_takes_back_work"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_work_stone_id", "work", ["stone_id"])


def _standings() -> None:
    op.create_table(
        "standings",
        sa.Column("stone_id", sa.Integer(), nullable=False),
        sa.Column("stage", sa.String(20), nullable=False),
        sa.Column("photographs", sa.Integer(), nullable=False),
        sa.Column("to_examine", sa.JSON(), nullable=False),
        sa.Column("left", sa.Integer(), nullable=False),
        sa.Column("findings", sa.Integer(), nullable=False),
        sa.Column("contradictions", sa.Integer(), nullable=False),
        sa.Column("changed", sa.DateTime(timezone=True), nullable=False),
        sa.Column("signed_by", sa.String(100), nullable=True),
        sa.Column("signed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("species", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("stone_id", name="pk_standings"),
        sa.ForeignKeyConstraint(["stone_id"], ["stones.id"], name="fk_standings_stone_id_stones"),
    )
    for column in ("stage", "contradictions", "changed"):
        op.create_index(f"ix_standings_{column}", "standings", [column])
