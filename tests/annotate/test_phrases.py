"""What the record says, in German and French: all of it, to the last word."""

import ast
import inspect
import random
import re
import tomllib
from importlib.resources import files
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from setstone.annotate.phrases import Phrases, Said
from setstone.annotate.sheet import sheet_of
from setstone.annotate.texts import LANGUAGES, texts_in
from setstone.annotate.views import stone_view
from setstone.measure import colour_names, depth, examine, glue
from setstone.record import setups
from setstone.record.book import Book
from setstone.record.entries import StoneEntry
from setstone.record.errors import BookError
from setstone.record.evidence.materials import materials, signs
from setstone.record.evidence.readings import ReadingKind
from setstone.record.evidence.understand import WORDS

OTHERS = [code for code in LANGUAGES if code != "en"]
#: Stones with readings drawn at random.
STONES = 40
CLAIMS = ("ruby", "sapphire", "diamond", "emerald", "glass-filled ruby", "opal", "")
NUMBERS = {
    ReadingKind.REFRACTOMETER: ("1.762/1.770", "1.718", ">1.81", "1.54 1.55 1.56", "1.80", "1.766"),
    ReadingKind.DISTANT_VISION: ("1.54", "1.76"),
    ReadingKind.DENSITY: ("4.00", "0.5302 g / 0.3975 g", "3.52"),
    ReadingKind.THERMAL: ("7", "2.5"),
    ReadingKind.SPECTRUM: ("lines at 694 nm",),
}
CHECKS: dict[ReadingKind, tuple[dict[str, Any], ...]] = {
    ReadingKind.THERMAL: (
        {},
        {"simulant": "2", "diamond": "8"},
        {"simulant": "2", "diamond": "8", "again": {"simulant": "2", "diamond": "7"}},
        {"simulant": "2", "diamond": "8", "again": {"simulant": "7", "diamond": "13"}},
        {"simulant": "8", "diamond": "2"},
        {"simulant": "low", "diamond": "high", "again": {"simulant": "high", "diamond": "low"}},
    ),
    ReadingKind.REFRACTOMETER: (
        {},
        {"known": "1.517", "read": "1.516"},
        {"known": "1.517", "read": "1.540"},
        {"known": "1.517", "read": "1.516", "on": "2020-03-02"},
    ),
    ReadingKind.DENSITY: ({}, {"known": "1.0000g", "read": "0.9999g"}, {"known": "1.0000g", "read": "1.2g"}),
}


def tables_of(language: str) -> dict[str, Any]:
    file = files("setstone.annotate").joinpath("texts", f"record.{language}.toml")
    return tomllib.loads(file.read_text("utf-8"))


def keys_of(table: dict[str, Any]) -> list[Any]:
    return [(name, keys_of(part) if isinstance(part, dict) else "") for name, part in table.items()]


def said_in(table: dict[str, Any]) -> list[str]:
    return [t for part in table.values() for t in (said_in(part) if isinstance(part, dict) else [part])]


@pytest.mark.parametrize("language", OTHERS)
def test_each_sentence_keeps_its_gaps_and_each_language_has_the_same(language: str) -> None:
    tables = tables_of(language)
    for english, said in (tables["sentences"] | tables["colours"]["sentences"]).items():
        gaps = set(re.findall(r"\{[#=]?(\w+)\}", english))
        assert set(re.findall(r"\{(\w+)\}", said)) == gaps, english
    assert keys_of(tables) == keys_of(tables_of("de"))


@pytest.mark.parametrize("language", OTHERS)
def test_no_sentence_passes_a_verdict(language: str) -> None:
    # The same rule as for the texts: 16 CFR Part 23 and ISO 18323:2015 on what may be said of gemstones.
    for said in said_in(tables_of(language)):
        assert not re.search(
            r"\b(echt|garantiert|zertifi\w+|authenti\w+|certifi\w+|véritable)\b", said, re.I
        ), said


def test_french_is_set_as_the_french_set_it() -> None:
    # The same rule as for the texts (Imprimerie nationale, from memory).
    for said in said_in(tables_of("fr")):
        assert not re.search(r"(?<!\xa0)[:;?!»%](?!\w)|«(?!\xa0)|'", said), said


@pytest.mark.parametrize("language", OTHERS)
def test_every_colour_has_its_name(language: str) -> None:
    names, _ = colour_names._centroids()
    said = {texts_in(language).colour(name) for name in names}
    assert {s.language for s in said} == {""}
    assert len(said) == len(names)


@pytest.mark.parametrize("language", OTHERS)
def test_every_term_of_the_tables_has_its_word(language: str) -> None:
    texts = texts_in(language)
    terms = {m.name for m in materials()} | {m.group for m in materials()} | set(signs())
    terms |= {m.cautions for m in materials() if m.cautions} | {str(kind.value) for kind in ReadingKind}
    terms |= {w for kind, words in WORDS.items() for w in words if kind is not ReadingKind.OPTIC_CHARACTER}
    assert not [term for term in sorted(terms) if texts.said(term).language]


def test_a_sentence_that_is_not_known_stays_english_and_says_so() -> None:
    assert texts_in("de").said("seen: a thing nobody named") == Said("seen: a thing nobody named", "en")
    assert texts_in("en").said("seen: a thing nobody named") == Said("seen: a thing nobody named")


def test_what_a_person_typed_stays_as_typed_and_figures_get_their_decimal_sign() -> None:
    german = texts_in("de")
    said = german.said(
        "Claimed as sapphire; and, and 1.5, but not consistent with it: one shadow edge, 1.718 ± 0.002 (assumed)."
    )
    assert said.text == (
        "Als „sapphire; and, and 1.5“ bezeichnet, aber nicht damit vereinbar: eine Schattenkante, 1,718 ± 0,002 (angenommen)."
    )


def test_a_list_is_translated_whole_or_not_at_all() -> None:
    phrases = Phrases({}, {"and": "und", "needle": "Nadel", "cloud": "Wolke"}, ",")
    assert phrases("needle, cloud and needle") == "Nadel, Wolke und Nadel"
    assert phrases("needle, thread and needle") is None


def everything_said(part: Any) -> list[Said]:
    if isinstance(part, Said):
        return [part]
    parts = part.values() if isinstance(part, dict) else part if isinstance(part, list | tuple) else ()
    return [said for p in parts for said in everything_said(p)]


def read_at_random(book: Book, stone: StoneEntry, chance: random.Random) -> None:
    for _ in range(chance.randint(1, 6)):
        kind = chance.choice(list(ReadingKind))
        value = chance.choice((*NUMBERS.get(kind, ()), *WORDS.get(kind, ())))
        details: dict[str, Any] = {}
        if kind in (ReadingKind.POLARISCOPE, ReadingKind.DOUBLING):
            details["directions"] = chance.choice((1, 3))
        if kind is ReadingKind.REFRACTOMETER:
            details["part"] = chance.choice(("", "table", "pavilion"))
        if kind in CHECKS:
            details["check"] = chance.choice(CHECKS[kind])
        try:
            book.add_reading(
                stone,
                test=kind.value,
                value=value,
                details=details,
                stone_is_set=chance.random() < 0.5,
                by="Ada",
            )
        except BookError:
            continue  # not every value goes with every state


def test_whatever_was_read_all_of_it_is_said_in_each_language(tmp_path: Path) -> None:
    chance = random.Random(7)  # noqa: S311 no secret
    unsaid = set()
    with Book.create(tmp_path / "book", by="Ada") as book:
        box = book.add_object("Presentation snuff box", by="Ada")
        for number in range(STONES):
            stone = book.add_stone(box, f"lid-{number}", claimed_as=chance.choice(CLAIMS), by="Ada")
            read_at_random(book, stone, chance)
            for language in OTHERS:
                view = stone_view(sheet_of(book, stone, texts_in(language)), texts_in(language))
                unsaid |= {said.text for said in everything_said(view) if said.language}
    assert not unsaid, "\n".join(sorted(unsaid))


def texts_given_to(module: ModuleType, what: str, position: int) -> set[str]:
    """The texts with gaps that a module gives to something, read from its source."""
    tree = ast.parse(inspect.getsource(module))
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == what:
            texts = [node.args[position]]
            if isinstance(texts[0], ast.Name):
                name = texts[0].id
                texts = [
                    n.value
                    for n in ast.walk(tree)
                    if isinstance(n, ast.Assign)
                    and isinstance(n.targets[0], ast.Name)
                    and n.targets[0].id == name
                ]
            found |= {with_gaps(text) for text in texts}
    return found


def with_gaps(text: ast.expr) -> str:
    """A text as written in the source, with nothing in its gaps."""
    if isinstance(text, ast.Constant):
        return str(text.value)
    assert isinstance(text, ast.JoinedStr), ast.dump(text)
    parts = []
    for part in text.values:
        if isinstance(part, ast.Constant):
            parts.append(str(part.value))
        else:
            assert isinstance(part, ast.FormattedValue)
            percent = part.format_spec is not None and "%" in ast.unparse(part.format_spec)
            parts.append("{}%" if percent else "{}")
    return "".join(parts)


def test_every_note_on_a_photograph_has_its_sentence() -> None:
    tables = tables_of("de")
    known = {re.sub(r"\{[^}]*\}", "{}", english) for english in tables["sentences"]} | set(tables["terms"])
    notes = texts_given_to(examine, "Flag", 1) | texts_given_to(setups, "Flag", 1)
    depths = texts_given_to(depth, "Reason", 1)
    assert len(notes) > 10
    assert len(depths) == 3
    assert notes | depths <= known
    refusals = {glue._NO_METAL, glue._METAL, glue._EXPOSURE, glue._BALANCE}
    assert refusals <= known


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize(
    "said",
    [
        "The girdle is 6% longer than wide: if the stone is round, it leans by 20° ± 3° (k = 2) and the least diameter is "
        "too small; look straight down on the girdle.",
        "No lengths in millimetres: there is no scale bar; give the length of the bar or the micrometres per pixel.",
        "There is no photograph under blue light: fissures show less well.",
        "The calibration of 'bench; left' is 40 days old, the limit is 31; calibrate again.",
        "sharpest 82 µm ± 11 µm below the table as seen; straight through the table 145 µm ± 20 µm deep if its refractive "
        "index is 1.77 (table of materials, ruby): inside the stone, or on a facet that lies lower",
        "sharpest 82 µm ± 11 µm below the table as seen; straight through the table the true depth is this times the "
        "refractive index: inside the stone, or on a facet that lies lower",
        "Less than a quarter of the rim can be seen in both photographs.",
        "est. 0.98 ct ± 0.12 ct (k = 2)",
        "0.86 to 1.10 ct; d² h × 0.0018 × SG 3.99, depth taken as 60.5% of the diameter; girdle as measured in the "
        "photographs (as received); specific gravity 3.95 to 4.05, as claimed (sapphire)",
        "0.86 to 1.10 ct; L W h × 0.0061 × 1.02 for a slightly thick girdle; measures typed in; formula of diamonds, as claimed",
    ],
)
def test_notes_depths_refusals_and_weights_are_said(language: str, said: str) -> None:
    assert texts_in(language).said(said).language == ""
