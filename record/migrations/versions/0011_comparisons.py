"""Comparisons of two examinations of a stone: what is seen on one day only."""

import sqlalchemy as sa
from alembic import op

from setstone.record.migrations.append_only import refuse_changes

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table, empty."""
    op.create_table(
        "comparisons",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column(
            "before_id",
            sa.Integer(),
            sa.ForeignKey("examinations.id", name="fk_comparisons_before_id_examinations"),
            nullable=False,
        ),
        sa.Column(
            "after_id",
            sa.Integer(),
            sa.ForeignKey("examinations.id", name="fk_comparisons_after_id_examinations"),
            nullable=False,
        ),
        sa.Column("version", sa.String(40), nullable=False),
        sa.Column("result", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("by", sa.String(100), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_comparisons"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_comparisons_before_id", "comparisons", ["before_id"])
    op.create_index("ix_comparisons_after_id", "comparisons", ["after_id"])
    refuse_changes("comparisons")
