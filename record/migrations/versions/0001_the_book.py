"""The book as it began."""

import sqlalchemy as sa
from alembic import op

from setstone.record.migrations.append_only import refuse_changes

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make all tables of an empty book."""
    _objects_and_stones()
    _photographs()
    _examinations()
    _notes()
    refuse_changes("journal", "decisions")


def _moment(name: str, *, nullable: bool = False) -> "sa.Column[object]":
    return sa.Column(name, sa.DateTime(timezone=True), nullable=nullable)


def _objects_and_stones() -> None:
    op.create_table(
        "book",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("workshop", sa.String(200), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_book"),
    )
    op.create_table(
        "objects",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(100), nullable=False),
        sa.Column("name_key", sa.Text(), nullable=False),
        sa.Column("description", sa.Text(), nullable=False),
        _moment("added"),
        sa.PrimaryKeyConstraint("id", name="pk_objects"),
        sa.UniqueConstraint("name_key", name="uq_objects_name_key"),
    )
    op.create_table(
        "stones",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("object_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.String(60), nullable=False),
        sa.Column("position_key", sa.Text(), nullable=False),
        sa.Column("claimed_as", sa.String(200), nullable=False),
        _moment("added"),
        sa.PrimaryKeyConstraint("id", name="pk_stones"),
        sa.ForeignKeyConstraint(["object_id"], ["objects.id"], name="fk_stones_object_id_objects"),
        sa.UniqueConstraint("object_id", "position_key", name="uq_stones_object_id_position_key"),
    )


def _photographs() -> None:
    op.create_table(
        "photographs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("stone_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(255), nullable=False),
        sa.Column("file", sa.String(255), nullable=False),
        sa.Column("lamp", sa.String(20), nullable=False),
        sa.Column("lamp_stated", sa.Boolean(), nullable=False),
        sa.Column("occasion", sa.String(60), nullable=False),
        _moment("taken", nullable=True),
        sa.Column("operator", sa.String(100), nullable=False),
        sa.Column("magnification", sa.Float(), nullable=True),
        sa.Column("um_per_px", sa.Float(), nullable=True),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("bit_depth", sa.Integer(), nullable=False),
        sa.Column("format", sa.String(40), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        _moment("added"),
        sa.Column("flags", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_photographs"),
        sa.ForeignKeyConstraint(["stone_id"], ["stones.id"], name="fk_photographs_stone_id_stones"),
        sa.UniqueConstraint("sha256", name="uq_photographs_sha256"),
    )
    op.create_index("ix_photographs_stone_id", "photographs", ["stone_id"])


def _examinations() -> None:
    op.create_table(
        "examinations",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("stone_id", sa.Integer(), nullable=False),
        sa.Column("occasion", sa.String(60), nullable=False),
        sa.Column("white", sa.String(64), nullable=True),
        sa.Column("blue", sa.String(64), nullable=True),
        _moment("made"),
        sa.Column("by", sa.String(100), nullable=False),
        sa.Column("version", sa.String(40), nullable=False),
        sa.Column("result", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_examinations"),
        sa.ForeignKeyConstraint(["stone_id"], ["stones.id"], name="fk_examinations_stone_id_stones"),
        sa.ForeignKeyConstraint(["white"], ["photographs.sha256"], name="fk_examinations_white_photographs"),
        sa.ForeignKeyConstraint(["blue"], ["photographs.sha256"], name="fk_examinations_blue_photographs"),
    )
    op.create_index("ix_examinations_stone_id", "examinations", ["stone_id"])
    op.create_table(
        "candidates",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("examination_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("origin", sa.String(20), nullable=False),
        sa.Column("candidate", sa.JSON(), nullable=False),
        sa.Column("carried_from", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_candidates"),
        sa.ForeignKeyConstraint(
            ["examination_id"], ["examinations.id"], name="fk_candidates_examination_id_examinations"
        ),
        sa.ForeignKeyConstraint(
            ["carried_from"], ["candidates.id"], name="fk_candidates_carried_from_candidates"
        ),
        sa.UniqueConstraint("examination_id", "number", name="uq_candidates_examination_id_number"),
    )
    op.create_table(
        "decisions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("candidate_id", sa.Integer(), nullable=False),
        sa.Column("verdict", sa.String(20), nullable=False),
        sa.Column("kind", sa.String(60), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("by", sa.String(100), nullable=False),
        _moment("at"),
        sa.Column("carried_from", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_decisions"),
        sa.ForeignKeyConstraint(
            ["candidate_id"], ["candidates.id"], name="fk_decisions_candidate_id_candidates"
        ),
        sa.ForeignKeyConstraint(
            ["carried_from"], ["decisions.id"], name="fk_decisions_carried_from_decisions"
        ),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_decisions_candidate_id", "decisions", ["candidate_id"])


def _notes() -> None:
    op.create_table(
        "readings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("stone_id", sa.Integer(), nullable=False),
        sa.Column("test", sa.String(100), nullable=False),
        sa.Column("value", sa.String(200), nullable=False),
        sa.Column("unit", sa.String(40), nullable=False),
        sa.Column("uncertainty", sa.String(100), nullable=False),
        sa.Column("instrument", sa.String(200), nullable=False),
        sa.Column("stone_is_set", sa.Boolean(), nullable=False),
        sa.Column("remark", sa.Text(), nullable=False),
        sa.Column("by", sa.String(100), nullable=False),
        _moment("at"),
        sa.PrimaryKeyConstraint("id", name="pk_readings"),
        sa.ForeignKeyConstraint(["stone_id"], ["stones.id"], name="fk_readings_stone_id_stones"),
    )
    op.create_index("ix_readings_stone_id", "readings", ["stone_id"])
    op.create_table(
        "remarks",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("stone_id", sa.Integer(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("by", sa.String(100), nullable=False),
        _moment("at"),
        sa.PrimaryKeyConstraint("id", name="pk_remarks"),
        sa.ForeignKeyConstraint(["stone_id"], ["stones.id"], name="fk_remarks_stone_id_stones"),
    )
    op.create_index("ix_remarks_stone_id", "remarks", ["stone_id"])
    op.create_table(
        "journal",
        sa.Column("id", sa.Integer(), nullable=False),
        _moment("at"),
        sa.Column("by", sa.String(100), nullable=False),
        sa.Column("action", sa.String(60), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("stone_id", sa.Integer(), nullable=True),
        sa.Column("before", sa.JSON(), nullable=True),
        sa.Column("after", sa.JSON(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_journal"),
        sa.ForeignKeyConstraint(["stone_id"], ["stones.id"], name="fk_journal_stone_id_stones"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_journal_stone_id", "journal", ["stone_id"])
