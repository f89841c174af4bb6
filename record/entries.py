"""What a book gives back: plain, frozen entries; times are aware datetimes in UTC."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

from setstone.capture.photograph import Lamp
from setstone.measure.calibration import Calibration
from setstone.measure.candidates import Candidate
from setstone.measure.examination import Examination, Flag
from setstone.measure.scale import Scale
from setstone.record.vocabulary import Fact, FindingKind, Verdict, WorkKind


@dataclass(frozen=True)
class ObjectEntry:
    """An antique piece."""

    id: int
    name: str
    description: str


@dataclass(frozen=True)
class ObjectPhotograph:
    """A photograph of an object as a whole.

    Parameters
    ----------
    sha256, name : str
    path : Path
        Where it is kept.
    width, height : int
        In pixels.
    places : mapping of int to (float, float)
        Where each stone, by its id, is seen: shares 0 to 1 of the width from the left, of the height from the top.
    """

    sha256: str
    name: str
    path: Path
    width: int
    height: int
    places: Mapping[int, tuple[float, float]]


@dataclass(frozen=True, slots=True)  # there may be thousands of them
class StoneEntry:
    """A stone of an object, known by its position; `claimed_as` is a claim, not a finding."""

    id: int
    object_id: int
    object_name: str
    position: str
    claimed_as: str

    @property
    def full_name(self) -> str:
        """The stone among those of all objects, for example ``Snuff box/lid-3``."""
        return f"{self.object_name}/{self.position}"


@dataclass(frozen=True)
class PhotographEntry:
    """A photograph as stored, unaltered, under its SHA-256."""

    sha256: str
    stone_id: int
    name: str
    path: Path
    lamp: Lamp
    lamp_stated: bool
    occasion: str
    taken: datetime | None
    operator: str
    magnification: float | None
    um_per_px: float | None
    width: int
    height: int
    bit_depth: int
    format: str
    size_bytes: int
    added: datetime
    flags: tuple[Flag, ...]
    #: As a person measured it on the picture.
    scale: Scale | None = None
    #: The optical setup it was taken with.
    setup_id: int | None = None


@dataclass(frozen=True)
class SetupEntry:
    """An optical setup: what stands between stone and sensor, and so fixes the scale."""

    id: int
    name: str
    objective: str
    zoom: str
    camera: str
    adapter: str
    numerical_aperture: float | None
    #: Days after which a calibration is too old.
    valid_days: int


@dataclass(frozen=True)
class MicrometerPhotograph:
    """A photograph of a micrometer as stored, unaltered, under its SHA-256."""

    sha256: str
    name: str
    path: Path
    width: int
    height: int


@dataclass(frozen=True)
class CalibrationEntry:
    """A calibration of a setup; `made` is when the micrometer was photographed."""

    id: int
    setup: SetupEntry
    made: datetime
    by: str
    at: datetime
    certificate: str
    result: Calibration
    photographs: tuple[MicrometerPhotograph, ...]


@dataclass(frozen=True)
class Decision:
    """What a person decided about a candidate, and when."""

    verdict: Verdict
    kind: FindingKind | None
    reason: str
    by: str
    at: datetime


@dataclass(frozen=True, eq=False)
class CandidateEntry:
    """A candidate with the number people see and the decision in force.

    It is a *finding* once a person has accepted or drawn it.
    """

    number: int
    candidate: Candidate
    origin: Literal["program", "hand"]
    decision: Decision | None
    #: As it stood before a person drew it again.
    first_drawn: Candidate | None = None

    @property
    def is_finding(self) -> bool:
        """True when a person accepted or added it."""
        return self.decision is not None and self.decision.verdict is Verdict.ACCEPTED


@dataclass(frozen=True, eq=False)
class ExaminationEntry:
    """One run of the examination, with the decisions taken since."""

    id: int
    stone_id: int
    occasion: str
    white: str | None
    blue: str | None
    made: datetime
    by: str
    version: str
    result: Examination
    candidates: tuple[CandidateEntry, ...]
    #: Whether a person drew the outline of `result` again.
    outline_redrawn: bool = False

    @property
    def judged(self) -> list[object]:
        """What people decided and drew, to tell whether it is still the same."""
        outline = self.result.outline
        return [
            None if outline is None else outline.points.tolist(),
            *(
                (c.candidate.path.tolist(), c.decision and (c.decision.verdict, c.decision.kind))
                for c in self.candidates
            ),
        ]


@dataclass(frozen=True)
class ReadingEntry:
    """An instrument's or an eye's result on a stone; `value` as the person wrote it."""

    id: int
    stone_id: int
    test: str
    value: str
    unit: str
    uncertainty: str
    instrument: str
    stone_is_set: bool
    remark: str
    by: str
    at: datetime
    #: Circumstances, as `setstone.record.evidence.readings.Typed` lists them.
    details: Mapping[str, Any] = field(default_factory=dict)
    #: When it was read, where that was not when it was entered.
    taken: datetime | None = None
    #: The findings in the pictures it belongs to: occasion and number as they stand now.
    findings: tuple[tuple[str, int], ...] = ()
    withdrawn: "Withdrawal | None" = None


@dataclass(frozen=True)
class Withdrawal:
    """Why a reading no longer holds, who says so, and which reading stands in its place."""

    replaced_by: int | None
    reason: str
    by: str
    at: datetime


@dataclass(frozen=True)
class RemarkEntry:
    """A remark on a stone."""

    id: int
    stone_id: int
    text: str
    by: str
    at: datetime


@dataclass(frozen=True)
class FactEntry:
    """What is said of an object or of how a stone sits in it; `fact.known_how` must stand beside it."""

    id: int
    fact: Fact
    value: str
    by: str
    at: datetime


@dataclass(frozen=True)
class WorkEntry:
    """What was done to a stone: when and by whom, with what; and who entered it when."""

    id: int
    stone_id: int
    kind: WorkKind
    done: datetime
    done_by: str
    adhesive: str
    solvent: str
    remark: str
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Seen:
    """A candidate or finding of two compared days, and on which of them it is seen.

    Parameters
    ----------
    number : int
        On its own day.
    of_after : bool
        Whether that is the day after the work.
    where : str
        As `setstone.measure.changes.Where` words it.
    possible_damage : bool
    evidence : str
        In a sentence.
    end : tuple of (float, float)
        Points of the end of a line that is seen only after, px of its photograph to a tenth; empty where it is none, or an older setstone
        compared.
    """

    number: int
    of_after: bool
    where: str
    possible_damage: bool
    evidence: str
    end: tuple[tuple[float, float], ...] = ()

    @property
    def differs(self) -> bool:
        """Whether it, or an end of it, is seen on one of both days only, though the other could have shown it."""
        return self.where in ("only after", "longer after", "only before")

    @property
    def says(self) -> str:
        """Where it is seen, in words."""
        return f"{self.where} the work{': possible damage' if self.possible_damage else ''}"


@dataclass(frozen=True, slots=True)
class ComparisonResult:
    """What comparing two days has shown.

    Parameters
    ----------
    after_to_before : tuple of 3 tuples of 3 float
        Maps (x, y, 1) of the reference photograph after to that before, in pixels.
    turned_deg : float
        Clockwise as seen.
    residual_um : float or None
        How well both lie on one another, µm, root mean square; None without a scale.
    seen : tuple of Seen
        Possible damage first.
    same : str
        How strongly the photographs speak for one stone, or why that cannot be told, in words; empty in what older versions kept.
    glue : tuple of str
        What was measured of glue and haze, or why not, in words; empty in what older versions kept.
    notes : tuple of str
        What is odd about the two days, in sentences; empty in what older versions kept.
    """

    after_to_before: tuple[tuple[float, ...], ...]
    turned_deg: float
    residual_um: float | None
    seen: tuple[Seen, ...]
    same: str = ""
    glue: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ComparisonEntry:
    """A comparison kept in the book: of which examinations and occasions, with which setstone, by whom and when."""

    id: int
    stone_id: int
    before_id: int
    after_id: int
    before: str
    after: str
    version: str
    result: ComparisonResult
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Signature:
    """Who signed what stands on a stone, and when."""

    by: str
    at: datetime


@dataclass(frozen=True)
class JournalEntry:
    """One line of the journal: corrections never erase what stood before."""

    id: int
    at: datetime
    by: str
    action: str
    subject: str
    before: dict[str, Any] | None
    after: dict[str, Any] | None
