"""The words: complete, and those of a workshop."""

import re
import tomllib
from dataclasses import replace
from importlib.resources import files
from typing import Any, get_args

import pytest

from setstone.annotate.errors import AnnotateError
from setstone.annotate.phrases import Said
from setstone.annotate.texts import LANGUAGES, Texts, english, texts_in
from setstone.annotate.wording import contrast_words, reason_words, score_words, size_words
from setstone.measure import judge_lines, judge_spots, line_reasons
from setstone.measure.candidates import CandidateKind, Reason, percent
from setstone.measure.outline import Shape
from setstone.measure.scale import ScaleSource
from setstone.record.vocabulary import FindingKind


def everything(part: Any) -> list[str]:
    if isinstance(part, str):
        return [part]
    parts = part.values() if isinstance(part, dict) else part
    return [text for p in parts for text in everything(p)]


def tables_of(language: str) -> dict[str, Any]:
    file = files("setstone.annotate").joinpath("texts", f"{language}.toml")
    return tomllib.loads(file.read_text("utf-8"))


def all_texts() -> list[str]:
    return everything(tables_of("en"))


def test_no_text_passes_a_verdict() -> None:
    # 16 CFR Part 23 and ISO 18323:2015 on what may be said of gemstones (see docs); "is" stands for any verdict
    for text in all_texts():
        assert not re.search(r"\b(is|genuine|certified|authentic|guaranteed|precious)\b", text, re.I), text


def shape_of(part: Any) -> Any:
    """Names of all texts and their placeholders, without the words."""
    if isinstance(part, str):
        return sorted(re.findall(r"\{\w+\}", part))
    if isinstance(part, list):
        return [shape_of(p) for p in part]
    return {name: shape_of(p) for name, p in part.items()}


@pytest.mark.parametrize("language", [code for code in LANGUAGES if code != "en"])
def test_every_language_has_the_same_names_and_placeholders(language: str) -> None:
    tables = tables_of(language)
    del tables["reason"]  # in English they are those of the record
    assert shape_of(tables) == shape_of(tables_of("en"))
    assert texts_in(language)("language") == language
    # nothing longer than a word or two was left in English
    left = {t for t in everything(tables_of(language)) if t in everything(tables_of("en")) and len(t) > 25}
    assert not [t for t in left if re.search(r"[a-z]{4}", re.sub(r"\{\w+\}|setstone", "", t))], left


def test_french_is_set_as_the_french_set_it() -> None:
    # Lexique des règles typographiques en usage à l'Imprimerie nationale (from memory): a no-break space before : ; ? ! » and after «
    for text in everything(tables_of("fr")):
        assert not re.search(r"(?<!\xa0)[:;?!»](?!\w)|«(?!\xa0)|'", text), text


def test_a_language_without_texts_is_refused() -> None:
    with pytest.raises(AnnotateError, match=r"'xx'; choose one of en, de, fr"):
        texts_in("xx")


def test_every_kind_source_and_class_has_its_word() -> None:
    texts = english()
    for kind in FindingKind:
        assert texts(f"kind.{kind.name.lower()}") == kind.value or kind is FindingKind.OTHER
    for source in get_args(ScaleSource):
        assert texts(f"scale.{source}", detail="x")
    for shape in get_args(Shape):
        assert texts(f"shape.{shape}")


def test_a_missing_text_is_noticed() -> None:
    with pytest.raises(KeyError):
        english()("page.none")
    with pytest.raises(KeyError):
        Texts({"a": {"b": "c"}})("a")


@pytest.mark.parametrize(
    ("score", "words"),
    # Mastrandrea et al. 2010, table 1: likely 66-100 %, very likely 90-100 %, as likely as not 33-66 %
    [
        (1.0, "virtually certain a real flaw: 99 %"),
        (0.9, "very likely a real flaw: 90 %"),
        (0.896, "very likely a real flaw: 90 %"),
        (0.89, "likely a real flaw: 89 %"),
        (0.66, "likely a real flaw: 66 %"),
        (0.5, "about as likely as not a real flaw: 50 %"),
        (0.2, "unlikely a real flaw: 20 %"),
        (0.0, "very unlikely a real flaw: 1 %"),
    ],
)
def test_likelihood_words(make: Any, score: float, words: str) -> None:
    line = make.candidate([(0, 0), (9, 9)], score=score)
    assert score_words(line, english()).replace("\xa0", " ") == words


def test_shares_never_reach_certainty() -> None:
    assert [percent(s) for s in (0.0, 0.004, 0.5, 0.996, 1.0)] == [1, 1, 50, 99, 99]


def test_what_was_not_measured_is_told(make: Any) -> None:
    drawn = replace(make.candidate([(0, 0), (9, 9)]), contrast=float("nan"), sizes={})
    assert contrast_words(drawn, english()) == "not measured"
    assert size_words(drawn, english()) == ("not measured: no scale",)


def reasons_of_the_program() -> dict[CandidateKind, dict[str, str]]:
    """Code and English words of every reason that can be given, but for those that tell a depth."""
    lines = [
        line_reasons._PLAIN,
        line_reasons._ALONE,
        line_reasons._CULET,
        line_reasons._UNLIKE,
        line_reasons._GIRDLE,
    ]
    lines += [judge_lines._MANY, judge_lines._OFF_MAP]
    spots = [judge_spots._DUST, *judge_spots._ALONE.values()]
    return {
        "line": {r.code: r.text for r in lines}
        | {code: text for code, text, _ in (*line_reasons._FOR, *line_reasons._AGAINST)},
        "spot": {r.code: r.text for r in spots}
        | {code: text for pair in judge_spots._WORDS.values() for code, text in pair}
        | {"cloud": "one of 5 alike", "seen-again": "a like spot close by"},
    }


@pytest.mark.parametrize("language", [code for code in LANGUAGES if code != "en"])
def test_every_reason_can_be_said_in_every_language(language: str) -> None:
    texts = texts_in(language)
    for kind, known in reasons_of_the_program().items():
        assert set(texts.part(f"reason.{kind}")) == set(known)
        for code, english_words in known.items():
            said = reason_words(Reason(code, english_words, True), kind, texts)
            assert said.language == ""
            assert said.text != english_words
            assert re.findall(r"\d+", said.text) == re.findall(r"\d+", english_words)
    assert reason_words(Reason("faint", "hardly", False), "line", english()) == Said("hardly")
