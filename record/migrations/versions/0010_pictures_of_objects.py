"""Photographs of an object as a whole, and where its stones are seen in them."""

import sqlalchemy as sa
from alembic import op

from setstone.record.migrations.append_only import refuse_changes

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add both tables, empty."""
    op.create_table(
        "object_photographs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("object_id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("name", sa.String(255), nullable=False),
        sa.Column("file", sa.String(255), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("shown", sa.Boolean(), nullable=False),
        sa.Column("by", sa.String(100), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["object_id"], ["objects.id"], name="fk_object_photographs_object_id_objects"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_object_photographs"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_object_photographs_object_id", "object_photographs", ["object_id"])
    op.create_table(
        "stone_places",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("stone_id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("x", sa.Float(), nullable=True),
        sa.Column("y", sa.Float(), nullable=True),
        sa.Column("by", sa.String(100), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["stone_id"], ["stones.id"], name="fk_stone_places_stone_id_stones"),
        sa.PrimaryKeyConstraint("id", name="pk_stone_places"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_stone_places_stone_id", "stone_places", ["stone_id"])
    refuse_changes("object_photographs", "stone_places")
