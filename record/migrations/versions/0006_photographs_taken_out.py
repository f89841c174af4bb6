"""When a photograph was taken out of the book."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column; all photographs there are stay in the book."""
    op.add_column("photographs", sa.Column("removed", sa.DateTime(timezone=True), nullable=True))
