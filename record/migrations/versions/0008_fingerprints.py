"""Fingerprints of stones, drawn when first asked for."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table, empty."""
    op.create_table(
        "fingerprints",
        sa.Column(
            "examination_id",
            sa.Integer(),
            sa.ForeignKey("examinations.id", name="fk_fingerprints_examination_id_examinations"),
            nullable=False,
        ),
        sa.Column("packed", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("examination_id", name="pk_fingerprints"),
    )
