"""The words: complete, and those of a workshop."""

import re
from dataclasses import replace
from importlib.resources import files
from typing import Any, get_args

import pytest

from setstone.annotate.texts import Texts, english
from setstone.annotate.wording import contrast_words, percent, score_words, size_words
from setstone.measure.outline import Shape
from setstone.measure.scale import ScaleSource
from setstone.record.vocabulary import FindingKind


def everything(part: Any) -> list[str]:
    if isinstance(part, str):
        return [part]
    parts = part.values() if isinstance(part, dict) else part
    return [text for p in parts for text in everything(p)]


def all_texts() -> list[str]:
    folder = files("setstone.annotate")
    tables = english().part
    source = folder.joinpath("texts", "en.toml").read_text("utf-8")
    names = re.findall(r"^\[+(\w+)", source, re.M)
    return [text for name in dict.fromkeys(names) for text in everything(tables(name))]


def test_no_text_passes_a_verdict() -> None:
    # 16 CFR Part 23 and ISO 18323:2015 on what may be said of gemstones (see docs); "is" stands for any verdict
    for text in all_texts():
        assert not re.search(r"\b(is|genuine|certified|authentic|guaranteed|precious)\b", text, re.I), text


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
