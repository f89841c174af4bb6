"""The table of materials: what is published on each, with its source, and signs seen under magnification.

The tables are CSV files in this folder; `Material` and `Sign` describe their columns. Ranges are the
published limits. Where a row says so, a value is from memory or common practice without a source.
"""

import csv
import re
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib.resources import files

from setstone.record.text import key

#: In a claim: the stone is said not to be what it looks like.
_IMITATION = {"imitation", "imitating", "simulated", "simulant", "faux", "fake", "false"}
#: Names of what is made to look like something else: 'sapphire blue glass' is no claim of sapphire.
_MADE = {"glass", "paste", "strass", "plastic", "resin", "doublet", "triplet"}


class Kind(StrEnum):
    """How a material came to be what it is (classes of 16 CFR Part 23 and the CIBJO Gemstone Book)."""

    NATURAL = "natural"
    TREATED = "treated"
    LABORATORY_GROWN = "laboratory-grown"
    SIMULANT = "simulant"
    COMPOSITE = "composite"


class Refraction(StrEnum):
    """How a material refracts, and what a polariscope shows of it."""

    SINGLE = "single"
    #: Singly refractive, often with strain that imitates double refraction.
    STRAINED = "single, strained"
    DOUBLE = "double"
    EITHER = "single or double"
    AGGREGATE = "aggregate"


@dataclass(frozen=True)
class Range:
    """Published limits of a property.

    Parameters
    ----------
    low, high : float
        In the unit of the property.
    """

    low: float
    high: float

    @property
    def middle(self) -> float:
        """Middle of the range."""
        return (self.low + self.high) / 2

    def wider(self, by: float) -> "Range":
        """Return the range widened on both sides."""
        return Range(self.low - by, self.high + by)


@dataclass(frozen=True)
class Material:
    """One row of the table.

    Parameters
    ----------
    id, name : str
    kind : Kind
    group : str
        Natural, treated and laboratory-grown rows of one group share their index and density ranges.
    aliases : tuple of str
        Names under which a stone may be claimed to be it, lower case.
    refraction : Refraction
    optic_character, optic_sign : str
        ``"uniaxial"``, ``"biaxial"``, ``"isotropic"``, ``"amorphous"`` or ``"aggregate"``; ``"+"``, ``"-"`` or empty.
    index : Range
        Of refractive index at the sodium line: least lower edge to greatest upper edge; of the table where
        the stone is composite.
    birefringence : Range
    pavilion : Range or None
        Index of the pavilion of a composite stone.
    density : Range or None
        In g/cm³.
    hardness : Range or None
        Mohs; only for the table, never tested on a stone.
    pleochroism, uv_long, uv_short, thermal, colours, signs : frozenset of str
        What is known to occur.
    avoid : frozenset of str
        Tests and treatments that may harm it.
    cautions, source, standing, from_memory, remarks : str
        For people; `standing` is ``"read"`` or ``"from memory"``, `from_memory` names fields.
    """

    id: str
    name: str
    kind: Kind
    group: str
    aliases: tuple[str, ...]
    refraction: Refraction
    optic_character: str
    optic_sign: str
    index: Range
    birefringence: Range
    pavilion: Range | None
    density: Range | None
    hardness: Range | None
    pleochroism: frozenset[str]
    uv_long: frozenset[str]
    uv_short: frozenset[str]
    thermal: frozenset[str]
    colours: frozenset[str]
    signs: frozenset[str]
    avoid: frozenset[str]
    cautions: str
    source: str
    standing: str
    from_memory: str
    remarks: str


@dataclass(frozen=True)
class Sign:
    """Something seen under magnification.

    Parameters
    ----------
    name : str
    elsewhere : {"possible", "unexpected", "impossible", "tells nothing"}
        In a material that does not list it.
    question : str
        What else it bears on, apart from the species: ``"filling"``, ``"dyeing"`` …; may be empty.
    source : str
    """

    name: str
    elsewhere: str
    question: str
    source: str


@cache
def materials() -> tuple[Material, ...]:
    """Read the table of materials.

    Returns
    -------
    tuple of Material
        In the order of the table.
    """
    return tuple(_material(row) for row in _rows("materials.csv"))


@cache
def signs() -> dict[str, Sign]:
    """Read the vocabulary of magnification, by name."""
    return {
        r["sign"]: Sign(r["sign"], r["elsewhere"], r["question"], r["source"]) for r in _rows("signs.csv")
    }


def claimed(text: str) -> tuple[Material, ...]:
    """Find the materials a claim may mean.

    Parameters
    ----------
    text : str
        As the stone is claimed, for example ``"Ruby, heated"``.

    Returns
    -------
    tuple of Material
        Those whose longest name occurs in the claim, or in each part of it joined by 'or'; empty when none does.

    Examples
    --------
    >>> [m.id for m in claimed("Spinels, or Cape rubies")]
    ['spinel', 'pyrope']
    """
    found: dict[str, Material] = {}
    for part in re.split(r"\bor\b|/", text, flags=re.IGNORECASE):
        found |= {m.id: m for m in _named(part)}
    return tuple(m for m in materials() if m.id in found)


def _named(claim: str) -> list[Material]:
    words = key(re.sub(r"[^\w'-]+", " ", claim))
    words = re.sub(r"\b(?:lab|laboratory)[ -](?:grown|created)\b", "laboratory-grown", words)
    if _IMITATION & set(words.split()):
        return []  # whatever it looks like, it is claimed to be something else
    single = re.sub(r"(?<=[^su\s])s\b", "", re.sub(r"ies\b", "y", words))
    spellings = f" {words} | {single} "
    # 'Synthetic ruby' is no claim of ruby: only the most telling name counts, and what tells of an imitation first.
    telling = {
        m.id: max(
            (len(a) + 100 * bool(_MADE & set(a.split())) for a in m.aliases if f" {a} " in spellings),
            default=0,
        )
        for m in materials()
    }
    most = max(telling.values())
    return [m for m in materials() if telling[m.id] == most > 0]


def _rows(name: str) -> list[dict[str, str]]:
    text = files("setstone.record.evidence").joinpath(name).read_text("utf-8")
    return list(csv.DictReader(text.splitlines()))


def _material(row: dict[str, str]) -> Material:
    return Material(
        id=row["id"],
        name=row["name"],
        kind=Kind(row["kind"]),
        group=row["material"],
        aliases=tuple(key(a) for a in row["aliases"].split(";")),
        refraction=Refraction(row["refraction"]),
        optic_character=row["optic_character"],
        optic_sign=row["optic_sign"],
        index=Range(float(row["ri_low"]), float(row["ri_high"])),
        birefringence=Range(float(row["biref_min"]), float(row["biref_max"])),
        pavilion=_range(row, "pavilion_ri_low", "pavilion_ri_high"),
        density=_range(row, "sg_min", "sg_max"),
        hardness=_range(row, "mohs_min", "mohs_max"),
        pleochroism=_set(row["pleochroism"]),
        uv_long=_set(row["uv_long"]),
        uv_short=_set(row["uv_short"]),
        thermal=_set(row["thermal"]),
        colours=_set(row["colours"]),
        signs=_set(row["signs"]),
        avoid=_set(row["avoid"]),
        cautions=row["cautions"],
        source=row["source"],
        standing=row["standing"],
        from_memory=row["from_memory"],
        remarks=row["remarks"],
    )


def _range(row: dict[str, str], low: str, high: str) -> Range | None:
    return Range(float(row[low]), float(row[high])) if row[low] else None


def _set(text: str) -> frozenset[str]:
    return frozenset(t for t in text.split(";") if t)
