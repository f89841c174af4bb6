"""What people do at the window: draw again, correct a scale, sign, take a stone out."""

import sqlalchemy as sa
from alembic import op

from setstone.record.migrations.append_only import refuse_changes

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the columns and tables."""
    # Plain ALTER TABLE: SQLite adds nullable columns in place (sqlite.org/lang_altertable.html, section 4).
    op.add_column("stones", sa.Column("removed", sa.DateTime(timezone=True), nullable=True))
    op.add_column("photographs", sa.Column("scale", sa.JSON(), nullable=True))
    op.create_table(
        "redrawings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("examination_id", sa.Integer(), nullable=False),
        sa.Column("candidate_id", sa.Integer(), nullable=True),
        sa.Column("shape", sa.JSON(), nullable=True),
        sa.Column("by", sa.String(100), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_redrawings"),
        sa.ForeignKeyConstraint(
            ["examination_id"], ["examinations.id"], name="fk_redrawings_examination_id_examinations"
        ),
        sa.ForeignKeyConstraint(
            ["candidate_id"], ["candidates.id"], name="fk_redrawings_candidate_id_candidates"
        ),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_redrawings_examination_id", "redrawings", ["examination_id"])
    op.create_table(
        "signatures",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("stone_id", sa.Integer(), nullable=False),
        sa.Column("in_force", sa.Boolean(), nullable=False),
        sa.Column("by", sa.String(100), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_signatures"),
        sa.ForeignKeyConstraint(["stone_id"], ["stones.id"], name="fk_signatures_stone_id_stones"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_signatures_stone_id", "signatures", ["stone_id"])
    refuse_changes("redrawings", "signatures")
