"""The tables of the book, in types that SQLite and a database server share.

How they came to be, and how a book of an older version gets there, stands in
`setstone.record.migrations`; a test holds both together.
"""

from datetime import UTC, datetime

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    DateTime,
    Dialect,
    Float,
    ForeignKey,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
)
from sqlalchemy.types import NullType

from setstone.record.clock import in_utc


class UTCDateTime(TypeDecorator[datetime]):
    """An aware moment. SQLite keeps no time zone, so UTC is what is stored and what comes back."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002, D102
        return None if value is None else in_utc(value)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002, D102
        if value is None:
            return None
        if value.tzinfo is UTC:
            return value
        return value.replace(tzinfo=UTC) if value.tzinfo is None else in_utc(value)


#: Leaves a moment as the database gives it, for lists of thousands: `moment` reads it when it is asked for.
AsGiven = NullType()


def moment(given: datetime | str) -> datetime:
    """Read a moment that was left as the database gives it: SQLite keeps text, without a time zone."""
    read = datetime.fromisoformat(given) if isinstance(given, str) else given
    return read.replace(tzinfo=UTC) if read.tzinfo is None else in_utc(read)


# Constraints need names so that a later migration can speak of them.
metadata = MetaData(
    naming_convention={
        "ix": "ix_%(column_0_label)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)

# A missing value is SQL's NULL, not the JSON word null, so that both databases find it alike.
_json = JSON(none_as_null=True)


def _by_at() -> tuple["Column[str]", "Column[datetime]"]:
    """Who entered a line, and when."""
    return Column("by", String(100), nullable=False), Column("at", UTCDateTime, nullable=False)


# One row: what holds for the whole book.
book = Table(
    "book",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("workshop", String(200), nullable=False),
    # By this a server's database is known to be a book (`postgresql.mark`); SQLite has a number for it.
    comment="setstone book",
)

objects = Table(
    "objects",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String(100), nullable=False),
    # What `text.key` makes of the name: how SQLite and a server fold case differs.
    Column("name_key", Text, nullable=False, unique=True),
    Column("description", Text, nullable=False),
    Column("added", UTCDateTime, nullable=False),
)

stones = Table(
    "stones",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("object_id", ForeignKey("objects.id"), nullable=False),
    Column("position", String(60), nullable=False),
    Column("position_key", Text, nullable=False),
    Column("claimed_as", String(200), nullable=False),
    Column("added", UTCDateTime, nullable=False),
    # When it was taken out of the book; what was done on it is kept.
    Column("removed", UTCDateTime),
    UniqueConstraint("object_id", "position_key"),
)

# Optical setups, each with calibrations: objective, zoom, camera and adapter as a person describes them.
setups = Table(
    "setups",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String(100), nullable=False),
    Column("name_key", Text, nullable=False, unique=True),
    Column("objective", String(100), nullable=False),
    Column("zoom", String(100), nullable=False),
    Column("camera", String(100), nullable=False),
    Column("adapter", String(100), nullable=False),
    Column("numerical_aperture", Float),
    # Days after which a calibration is too old.
    Column("valid_days", Integer, nullable=False),
    Column("added", UTCDateTime, nullable=False),
)

calibrations = Table(
    "calibrations",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("setup_id", ForeignKey("setups.id"), nullable=False, index=True),
    # When the micrometer was photographed.
    Column("made", UTCDateTime, nullable=False),
    *_by_at(),
    # What the person said of the micrometer's certificate.
    Column("certificate", String(200), nullable=False),
    Column("result", _json, nullable=False),
    sqlite_autoincrement=True,
)

# The photographs of the micrometer, kept in the folder of photographs like all others.
calibration_photographs = Table(
    "calibration_photographs",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("calibration_id", ForeignKey("calibrations.id"), nullable=False, index=True),
    Column("sha256", String(64), nullable=False),
    Column("name", String(255), nullable=False),
    Column("file", String(255), nullable=False),
    Column("width", Integer, nullable=False),
    Column("height", Integer, nullable=False),
    sqlite_autoincrement=True,
)

# Blank fields and grey cards by which the light of a photograph was corrected, kept in the same folder.
light_references = Table(
    "light_references",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("photograph_sha256", String(64), nullable=False, index=True),
    Column("sha256", String(64), nullable=False),
    Column("name", String(255), nullable=False),
    Column("file", String(255), nullable=False),
    sqlite_autoincrement=True,
)

photographs = Table(
    "photographs",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("sha256", String(64), nullable=False, unique=True),
    Column("stone_id", ForeignKey("stones.id"), nullable=False, index=True),
    Column("name", String(255), nullable=False),
    # Name inside the folder of photographs.
    Column("file", String(255), nullable=False),
    Column("lamp", String(20), nullable=False),
    Column("lamp_stated", Boolean, nullable=False),
    Column("occasion", String(60), nullable=False),
    Column("taken", UTCDateTime),
    Column("operator", String(100), nullable=False),
    Column("magnification", Float),
    Column("um_per_px", Float),
    Column("width", Integer, nullable=False),
    Column("height", Integer, nullable=False),
    Column("bit_depth", Integer, nullable=False),
    Column("format", String(40), nullable=False),
    Column("size_bytes", Integer, nullable=False),
    Column("added", UTCDateTime, nullable=False),
    Column("flags", _json, nullable=False),
    # As a person measured it on the picture; null where nobody did.
    Column("scale", _json),
    # The optical setup it was taken with; null where none was named.
    Column("setup_id", ForeignKey("setups.id")),
    # When it was taken out of the book; its file is kept.
    Column("removed", UTCDateTime),
)

examinations = Table(
    "examinations",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("stone_id", ForeignKey("stones.id"), nullable=False, index=True),
    Column("occasion", String(60), nullable=False),
    Column("white", ForeignKey("photographs.sha256")),
    Column("blue", ForeignKey("photographs.sha256")),
    Column("made", UTCDateTime, nullable=False),
    Column("by", String(100), nullable=False),
    Column("version", String(40), nullable=False),
    # All of the Examination but its candidates, which have rows of their own.
    Column("result", _json, nullable=False),
)

candidates = Table(
    "candidates",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("examination_id", ForeignKey("examinations.id"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("origin", String(20), nullable=False),
    Column("candidate", _json, nullable=False),
    # The same in the examination before, for one that this examination did not find itself.
    Column("carried_from", ForeignKey("candidates.id")),
    UniqueConstraint("examination_id", "number"),
)

decisions = Table(
    "decisions",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("candidate_id", ForeignKey("candidates.id"), nullable=False, index=True),
    Column("verdict", String(20), nullable=False),
    Column("kind", String(60)),
    Column("reason", Text, nullable=False),
    *_by_at(),
    # The same decision as taken on the examination before.
    Column("carried_from", ForeignKey("decisions.id")),
    # A number is never given twice, not even after the last line was lost.
    sqlite_autoincrement=True,
)

# What people drew again: the outline of an examination, or one of its candidates.
redrawings = Table(
    "redrawings",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("examination_id", ForeignKey("examinations.id"), nullable=False, index=True),
    # Null for the outline.
    Column("candidate_id", ForeignKey("candidates.id")),
    # Null for what the program drew itself: a drawing taken back.
    Column("shape", _json),
    *_by_at(),
    sqlite_autoincrement=True,
)

# Two examinations of a stone compared; the photographs are theirs.
comparisons = Table(
    "comparisons",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("before_id", ForeignKey("examinations.id"), nullable=False, index=True),
    Column("after_id", ForeignKey("examinations.id"), nullable=False, index=True),
    # Of setstone.
    Column("version", String(40), nullable=False),
    # `setstone.record.entries.ComparisonResult`.
    Column("result", _json, nullable=False),
    *_by_at(),
    sqlite_autoincrement=True,
)

signatures = Table(
    "signatures",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("stone_id", ForeignKey("stones.id"), nullable=False, index=True),
    # False for a signature taken back.
    Column("in_force", Boolean, nullable=False),
    *_by_at(),
    # Number of the version signed, and all of the record as it stood; null in books that did not keep them yet.
    Column("version", Integer),
    Column("state", _json),
    sqlite_autoincrement=True,
)

readings = Table(
    "readings",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("stone_id", ForeignKey("stones.id"), nullable=False, index=True),
    Column("test", String(100), nullable=False),
    Column("value", String(200), nullable=False),
    Column("unit", String(40), nullable=False),
    Column("uncertainty", String(100), nullable=False),
    Column("instrument", String(200), nullable=False),
    Column("stone_is_set", Boolean, nullable=False),
    Column("remark", Text, nullable=False),
    *_by_at(),
    # Circumstances by name, as `setstone.record.evidence.readings.Typed` lists them; null where none was given.
    Column("details", _json),
    # When it was read, where that was not when it was entered.
    Column("taken", UTCDateTime),
)

# What was seen through loupe or microscope, and the findings in the pictures it was seen in.
reading_findings = Table(
    "reading_findings",
    metadata,
    Column("reading_id", ForeignKey("readings.id"), primary_key=True),
    Column("candidate_id", ForeignKey("candidates.id"), primary_key=True),
)

# Readings that no longer hold. They stay in the book; another may stand in their place.
reading_withdrawals = Table(
    "reading_withdrawals",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("reading_id", ForeignKey("readings.id"), nullable=False, unique=True),
    # Null for one that was taken back without another in its place.
    Column("replaced_by", ForeignKey("readings.id")),
    Column("reason", Text, nullable=False),
    *_by_at(),
    sqlite_autoincrement=True,
)

remarks = Table(
    "remarks",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("stone_id", ForeignKey("stones.id"), nullable=False, index=True),
    Column("text", Text, nullable=False),
    *_by_at(),
    # The line that is taken back by this one, and why, in the text.
    Column("takes_back", ForeignKey("remarks.id")),
)

# Photographs of an object as a whole, kept in the folder of photographs. The newest line of an object holds.
object_photographs = Table(
    "object_photographs",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("object_id", ForeignKey("objects.id"), nullable=False, index=True),
    Column("sha256", String(64), nullable=False),
    Column("name", String(255), nullable=False),
    Column("file", String(255), nullable=False),
    Column("width", Integer, nullable=False),
    Column("height", Integer, nullable=False),
    # False for one that is shown no longer.
    Column("shown", Boolean, nullable=False),
    *_by_at(),
    sqlite_autoincrement=True,
)

# Where a stone is seen in such a photograph, as shares of its width and height. The newest line of a stone and photograph holds.
stone_places = Table(
    "stone_places",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("stone_id", ForeignKey("stones.id"), nullable=False, index=True),
    Column("sha256", String(64), nullable=False),
    # Null for a place that was taken back.
    Column("x", Float),
    Column("y", Float),
    *_by_at(),
    sqlite_autoincrement=True,
)

# What is said of an object, or of how a stone sits in it. The newest line of each name holds.
facts = Table(
    "facts",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("object_id", ForeignKey("objects.id"), nullable=False, index=True),
    # Null for what holds for the object as a whole.
    Column("stone_id", ForeignKey("stones.id"), index=True),
    Column("name", String(40), nullable=False),
    # Empty for what was taken back.
    Column("value", Text, nullable=False),
    *_by_at(),
    sqlite_autoincrement=True,
)

# What was done to a stone at the bench.
work = Table(
    "work",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("stone_id", ForeignKey("stones.id"), nullable=False, index=True),
    Column("kind", String(40), nullable=False),
    Column("done", UTCDateTime, nullable=False),
    Column("done_by", String(100), nullable=False),
    Column("adhesive", String(200), nullable=False),
    Column("solvent", String(200), nullable=False),
    Column("remark", Text, nullable=False),
    # The line that is taken back by this one, and why, in the remark.
    Column("takes_back", ForeignKey("work.id")),
    *_by_at(),
    sqlite_autoincrement=True,
)

journal = Table(
    "journal",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("at", UTCDateTime, nullable=False),
    Column("by", String(100), nullable=False),
    Column("action", String(60), nullable=False),
    Column("subject", Text, nullable=False),
    Column("stone_id", ForeignKey("stones.id"), index=True),
    Column("before", _json),
    Column("after", _json),
    # The object a line tells of that is not about one of its stones.
    Column("object_id", ForeignKey("objects.id"), index=True),
    sqlite_autoincrement=True,
)

# How each stone stands, worked out from the other tables whenever something is entered, so that a list of
# thousands needs no search through all of them. It can be made anew at any time and is not exported.
standings = Table(
    "standings",
    metadata,
    Column("stone_id", ForeignKey("stones.id"), primary_key=True),
    Column("stage", String(20), nullable=False, index=True),
    Column("photographs", Integer, nullable=False),
    Column("to_examine", _json, nullable=False),
    Column("left", Integer, nullable=False),
    Column("findings", Integer, nullable=False),
    Column("contradictions", Integer, nullable=False, index=True),
    # When something was last entered.
    Column("changed", UTCDateTime, nullable=False, index=True),
    # Of the signature in force, where nothing was changed since.
    Column("signed_by", String(100)),
    Column("signed_at", UTCDateTime),
    # Names of what it is claimed to be and of what its readings are consistent with, as `text.key` makes them.
    Column("species", Text, nullable=False),
    # Every text of the stone, made by `text.key`.
    Column("words", Text, nullable=False),
)

# What is peculiar to a stone as examined, drawn when it is first asked for, so that a search through thousands opens no
# photograph. It can be drawn anew at any time and is not exported.
fingerprints = Table(
    "fingerprints",
    metadata,
    Column("examination_id", ForeignKey("examinations.id"), primary_key=True),
    # As `setstone.record.identity` packs it.
    Column("packed", LargeBinary, nullable=False),
)

#: Tables whose lines can be added and nothing else (`migrations/append_only.py`).
ONLY_GROW = frozenset(
    {
        "calibration_photographs",
        "calibrations",
        "candidates",
        "comparisons",
        "decisions",
        "examinations",
        "facts",
        "journal",
        "light_references",
        "object_photographs",
        "reading_findings",
        "reading_withdrawals",
        "readings",
        "redrawings",
        "remarks",
        "signatures",
        "stone_places",
        "work",
    }
)
