"""Optical setups, their calibrations with the photographs these rest on, and the setup of a photograph."""

import sqlalchemy as sa
from alembic import op

from setstone.record.migrations.append_only import refuse_changes

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the tables and the column."""
    op.create_table(
        "setups",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(100), nullable=False),
        sa.Column("name_key", sa.Text(), nullable=False),
        sa.Column("objective", sa.String(100), nullable=False),
        sa.Column("zoom", sa.String(100), nullable=False),
        sa.Column("camera", sa.String(100), nullable=False),
        sa.Column("adapter", sa.String(100), nullable=False),
        sa.Column("numerical_aperture", sa.Float(), nullable=True),
        sa.Column("valid_days", sa.Integer(), nullable=False),
        sa.Column("added", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_setups"),
        sa.UniqueConstraint("name_key", name="uq_setups_name_key"),
    )
    op.create_table(
        "calibrations",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("setup_id", sa.Integer(), nullable=False),
        sa.Column("made", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.String(100), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("certificate", sa.String(200), nullable=False),
        sa.Column("result", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_calibrations"),
        sa.ForeignKeyConstraint(["setup_id"], ["setups.id"], name="fk_calibrations_setup_id_setups"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_calibrations_setup_id", "calibrations", ["setup_id"])
    op.create_table(
        "calibration_photographs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("calibration_id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("name", sa.String(255), nullable=False),
        sa.Column("file", sa.String(255), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_calibration_photographs"),
        sa.ForeignKeyConstraint(
            ["calibration_id"],
            ["calibrations.id"],
            name="fk_calibration_photographs_calibration_id_calibrations",
        ),
        sqlite_autoincrement=True,
    )
    op.create_index(
        "ix_calibration_photographs_calibration_id", "calibration_photographs", ["calibration_id"]
    )
    # In place, with its reference: SQLite takes that for a column that is empty everywhere
    # (sqlite.org/lang_altertable.html, section 4).
    op.add_column(
        "photographs",
        sa.Column(
            "setup_id",
            sa.Integer(),
            sa.ForeignKey("setups.id", name="fk_photographs_setup_id_setups"),
            nullable=True,
        ),
        inline_references=True,
    )
    refuse_changes("calibrations", "calibration_photographs")
