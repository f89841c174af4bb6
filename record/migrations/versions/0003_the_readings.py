"""How a reading was made, what in the pictures it belongs to, and readings that no longer hold."""

import sqlalchemy as sa
from alembic import op

from setstone.record.migrations.append_only import refuse_changes

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the columns and tables; readings entered before keep what they have."""
    op.add_column("readings", sa.Column("details", sa.JSON(), nullable=True))
    op.add_column("readings", sa.Column("taken", sa.DateTime(timezone=True), nullable=True))
    op.create_table(
        "reading_findings",
        sa.Column("reading_id", sa.Integer(), nullable=False),
        sa.Column("candidate_id", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("reading_id", "candidate_id", name="pk_reading_findings"),
        sa.ForeignKeyConstraint(
            ["reading_id"], ["readings.id"], name="fk_reading_findings_reading_id_readings"
        ),
        sa.ForeignKeyConstraint(
            ["candidate_id"], ["candidates.id"], name="fk_reading_findings_candidate_id_candidates"
        ),
    )
    op.create_table(
        "reading_withdrawals",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("reading_id", sa.Integer(), nullable=False),
        sa.Column("replaced_by", sa.Integer(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("by", sa.String(100), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_reading_withdrawals"),
        sa.UniqueConstraint("reading_id", name="uq_reading_withdrawals_reading_id"),
        sa.ForeignKeyConstraint(
            ["reading_id"], ["readings.id"], name="fk_reading_withdrawals_reading_id_readings"
        ),
        sa.ForeignKeyConstraint(
            ["replaced_by"], ["readings.id"], name="fk_reading_withdrawals_replaced_by_readings"
        ),
        sqlite_autoincrement=True,
    )
    refuse_changes("reading_findings", "reading_withdrawals")
