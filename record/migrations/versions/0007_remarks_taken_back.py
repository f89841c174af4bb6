"""Remarks that are taken back."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column; all remarks there are hold."""
    if op.get_bind().dialect.name == "sqlite":
        # In place, with its foreign key, which Alembic would rebuild the table for (and lose its triggers):
        # sqlite.org/lang_altertable.html, section 4.
        op.execute(
            "ALTER TABLE remarks ADD COLUMN takes_back INTEGER "
            "CONSTRAINT fk_remarks_takes_back_remarks REFERENCES remarks (id)"
        )
    else:
        op.add_column("remarks", sa.Column("takes_back", sa.Integer(), nullable=True))
        op.create_foreign_key("fk_remarks_takes_back_remarks", "remarks", "remarks", ["takes_back"], ["id"])
