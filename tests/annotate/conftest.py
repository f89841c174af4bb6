"""Entries as a book gives them back, made from the exact truth of the computed stones."""

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from PIL import Image

from setstone.capture.photograph import Lamp
from setstone.measure.candidates import Candidate, CandidateKind, LampName, Reason
from setstone.measure.colour import StoneColour
from setstone.measure.examination import Examination, Flag
from setstone.measure.outline import Outline, diameters
from setstone.measure.quantity import Quantity
from setstone.measure.scale import Scale
from setstone.record.book import Book
from setstone.record.entries import (
    CandidateEntry,
    Decision,
    ExaminationEntry,
    PhotographEntry,
    StoneEntry,
)
from setstone.record.examining import examine_stone
from setstone.record.vocabulary import FindingKind, Verdict
from setstone.sample_images import sample_stones

STONES = Path(__file__).parents[3] / "shared" / "stones"
MADE = datetime(2026, 3, 14, 10, 30, tzinfo=UTC)


def decided(verdict: Verdict, kind: FindingKind | None = None) -> Decision:
    return Decision(verdict, kind, "", "A. Sample", MADE)


def candidate(
    path: list[tuple[float, float]], kind: CandidateKind = "line", lamp: LampName = "blue", score: float = 0.8
) -> Candidate:
    """Build a candidate on a made-up path, with sizes at 2 µm per pixel."""
    points = np.array(path, np.float64)
    sizes = (
        {"length": Quantity(0.41, 0.006, "mm"), "width": Quantity(12.0, 2.5, "µm")}
        if kind == "line"
        else {"diameter": Quantity(41.0, 4.0, "µm"), "elongation": Quantity(1.3, 0.1, "")}
    )
    reasons = (
        Reason("blue-only", "bright in blue light, hardly seen in white light", True),
        Reason("near-facet-edge", "runs beside a facet edge for a part of its length", False),
    )
    return Candidate(kind, points, lamp, score, reasons, 42.0 if kind == "line" else -31.0, sizes)


def examination(
    numbered: tuple[CandidateEntry, ...],
    *,
    size: tuple[int, int] = (300, 200),
    um_per_px: float | None = 2.0,
    outline: Outline | None = None,
    blue_to_white: Any = None,
    lamps: str = "white blue",
    occasion: str = "as received",
    flags: tuple[Flag, ...] = (),
) -> ExaminationEntry:
    """Build an entry around some candidates."""
    scale = None if um_per_px is None else Scale(um_per_px, 0.002 * um_per_px, "scale bar", "500 µm")
    sized = None if scale is None or outline is None else diameters(outline, scale)
    result = Examination(
        reference="white" if "white" in lamps else "blue",
        size=size,
        scale=scale,
        outline=outline,
        diameters=sized,
        blue_to_white=blue_to_white,
        candidates=tuple(c.candidate for c in numbered),
        colour=None,
        flags=flags,
    )
    return ExaminationEntry(
        id=1,
        stone_id=1,
        occasion=occasion,
        white="a" * 64 if "white" in lamps else None,
        blue="b" * 64 if "blue" in lamps else None,
        made=MADE,
        by="A. Sample",
        version="0.1.0",
        result=result,
        candidates=numbered,
    )


def ellipse(cx: float, cy: float, rx: float, ry: float) -> Outline:
    """Build an elliptic girdle, a sixth of it hidden."""
    t = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    points = np.column_stack((cx + rx * np.cos(t), cy + ry * np.sin(t)))
    return Outline(points, t > np.pi / 3, 0.5, "ellipse")


def photograph(path: Path, lamp: Lamp, size: tuple[int, int], **changed: Any) -> PhotographEntry:
    """Build the entry of a stored photograph."""
    values: dict[str, Any] = {
        "sha256": {"white": "a", "blue": "b"}.get(lamp, "c") * 64,
        "stone_id": 1,
        "name": path.name,
        "path": path,
        "lamp": lamp,
        "lamp_stated": True,
        "occasion": "as received",
        "taken": MADE,
        "operator": "A. Sample",
        "magnification": 60.0,
        "um_per_px": None,
        "width": size[0],
        "height": size[1],
        "bit_depth": 8,
        "format": "JPEG",
        "size_bytes": 1000,
        "added": MADE,
        "flags": (),
    }
    return PhotographEntry(**(values | changed))


def stone(position: str = "lid-3", claimed_as: str = "ruby") -> StoneEntry:
    """Build a stone of the demo snuff box."""
    return StoneEntry(1, 1, "Presentation snuff box", position, claimed_as)


def from_truth(lid: str, state: str, occasion: str) -> tuple[ExaminationEntry, tuple[PhotographEntry, ...]]:
    """Build the entries of a demo stone, its true fissures and inclusions as candidates."""
    folder = STONES / "demo" / lid
    truth = json.loads((folder / "truth.json").read_text())[state]
    image = truth["images"][f"{state}_white"]
    size = (image["width"], image["height"])
    um = truth["um_per_px"]
    outline = np.array(truth["stone"]["outline_px"], np.float64)
    found: list[Candidate] = []
    for piece in (p for fissure in truth["fissures"] for p in fissure["pieces"] if p["blue"]["visible"]):
        contrast, length = piece["blue"]["contrast"], piece["length_px"] * um / 1000
        line = candidate(piece["line_px"], score=min(0.98, 0.4 + contrast / 120))
        sizes = {"length": Quantity(length, 0.02 * length, "mm"), "width": Quantity(14.0, 4.0, "µm")}
        found.append(replace(line, contrast=contrast, sizes=sizes))
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    for seen in (s for inclusion in truth["inclusions"] for s in inclusion["sightings"]):
        if seen["white"]["contrast"] < -3:
            r = seen["diameter_px"] / 2
            ring = [(seen["x"] + r * np.cos(t), seen["y"] + r * np.sin(t)) for t in turn]
            spot = candidate(ring, "spot", "white", 0.72)
            sizes = {"diameter": Quantity(2 * r * um, 4.0, "µm"), "elongation": Quantity(1.1, 0.1, "")}
            found.append(replace(spot, contrast=seen["white"]["contrast"], sizes=sizes))
    found.sort(key=lambda c: -c.score)
    entries = []
    for number, c in enumerate(found, start=1):
        decision = None
        if number in (1, 2):
            decision = decided(Verdict.ACCEPTED, FindingKind.FISSURE)
        if number == 4:
            decision = decided(Verdict.REJECTED)
        entries.append(CandidateEntry(number, c, "program", decision))
    entry = examination(
        tuple(entries),
        size=size,
        um_per_px=um,
        outline=Outline(outline, np.arange(len(outline)) > len(outline) // 6, 0.8, "ellipse"),
        blue_to_white=np.eye(3),
        occasion=occasion,
    )
    photographs = tuple(
        photograph(folder / f"{state}_{lamp}.jpg", lamp, size, occasion=occasion)
        for lamp in (Lamp.WHITE, Lamp.BLUE)
    )
    return entry, photographs


def fill(book: Book, folder: Path, *, words: str = "", enlarged: int = 1) -> StoneEntry:
    """Put a stone with two occasions into a book; `words` goes wherever free text does."""
    rng = np.random.default_rng(7)
    box = book.add_object(words or "Presentation snuff box")
    stone: StoneEntry = book.add_stone(box, words or "lid-3", claimed_as=words or "ruby")
    for occasion in ("as received", "after"):
        hashes = {}
        for lamp in (Lamp.WHITE, Lamp.BLUE):
            file = folder / f"{occasion}-{lamp}.jpg"
            pixels = rng.integers(0, 256, (200, 300, 3), np.uint8)
            Image.fromarray(pixels.repeat(enlarged, 0).repeat(enlarged, 1)).save(file)
            hashes[lamp] = book.add_photograph(stone, file, lamp=lamp, occasion=occasion, by="A. Sample")[
                0
            ].sha256
        candidates = (
            candidate([(100, 90), (150, 100), (200, 120)], score=0.93),
            candidate([(90, 130), (140, 150)], score=0.72),
            candidate([(120, 60), (126, 60), (126, 66), (120, 66)], "spot", "white", 0.55),
            candidate([(90, 140), (140, 160)], score=0.2),
            candidate([(80, 140), (130, 160)], score=0.6),
        )
        numbered = tuple(CandidateEntry(n, c, "program", None) for n, c in enumerate(candidates, start=1))
        result = examination(
            numbered, outline=ellipse(150, 100, 110, 80), blue_to_white=np.eye(3),
            flags=(Flag("girdle-hidden", words or "A sixth of the girdle cannot be seen."),),
        ).result  # fmt: skip
        result = replace(result, colour=StoneColour((34.2, 41.0, 12.3), "red", 0.12, unevenness=4.4))
        entry = book.save_examination(
            stone, result, occasion=occasion, white=hashes[Lamp.WHITE], blue=hashes[Lamp.BLUE], by="A. Sample"
        )
        book.decide(entry, 1, Verdict.ACCEPTED, kind=FindingKind.FISSURE, reason=words, by="A. Sample")
        book.decide(entry, 5, Verdict.REJECTED, reason="dust", by="A. Sample")
    book.add_reading(
        stone, test=words or "refractive index", value=words or "1.762 to 1.770", uncertainty="0.002",
        instrument=words or "refractometer R-2", by="A. Sample",
    )  # fmt: skip
    book.add_remark(stone, words or "Old adhesive removed.\nSet again.", by="A. Sample")
    return stone


@pytest.fixture(scope="session")
def make() -> SimpleNamespace:
    """Give the builders of this file to a test."""
    return SimpleNamespace(
        candidate=candidate,
        decided=decided,
        ellipse=ellipse,
        examination=examination,
        photograph=photograph,
        stone=stone,
        made=MADE,
        fill=fill,
    )


@pytest.fixture(scope="session")
def demo() -> Callable[[str, str, str], tuple[ExaminationEntry, tuple[PhotographEntry, ...]]]:
    """Give the builder of demo entries; skip where the stones do not stand beside the checkout."""
    if not (STONES / "demo").is_dir():
        pytest.skip("the computed stones do not stand beside the checkout (../shared/stones)")
    return from_truth


@pytest.fixture(scope="session")
def two_days(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book with a sample stone as received and after the work, examined; copy it before writing."""
    folder = tmp_path_factory.mktemp("two days") / "book"
    sample = next(s for s in sample_stones() if s.position == "lid-5")
    with Book.create(folder, by="Ada") as book:
        stone = book.add_stone(book.add_object("Snuff box", by="Ada"), "lid-5", by="Ada")
        for occasion, file in sample.photographs():
            book.add_photograph(stone, file, occasion=occasion, by="Ada")
        for occasion in book.occasions(stone):
            examine_stone(book, stone, occasion=occasion, by="Ada")
    return folder
