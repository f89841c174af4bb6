"""Photographs of blank fields and grey cards by which the light of others was corrected."""

import sqlalchemy as sa
from alembic import op

from setstone.record.migrations.append_only import refuse_changes

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table, empty."""
    op.create_table(
        "light_references",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("photograph_sha256", sa.String(64), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("name", sa.String(255), nullable=False),
        sa.Column("file", sa.String(255), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_light_references"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_light_references_photograph_sha256", "light_references", ["photograph_sha256"])
    refuse_changes("light_references")
