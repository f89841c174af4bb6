"""Figures put into plain words for people who did not make them."""

import math
import re

from setstone.annotate.phrases import Said
from setstone.annotate.texts import Texts
from setstone.measure.candidates import DEPTHS, Candidate, CandidateKind, Reason, percent
from setstone.measure.quantity import Quantity
from setstone.record.entries import CandidateEntry
from setstone.record.vocabulary import FindingKind

#: Contrast in grey levels of 255 from which a word applies (common practice, no source).
_CONTRASTS = ((40.0, "strong"), (15.0, "clear"), (6.0, "faint"), (0.0, "slight"))

#: Likelihood scale of Mastrandrea et al. 2010, "Guidance Note for Lead Authors of the IPCC Fifth
#: Assessment Report on Consistent Treatment of Uncertainties", table 1;
#: in per cent, from which a word applies.
_LIKELIHOODS = (
    (99, "virtually_certain"),
    (90, "very_likely"),
    (66, "likely"),
    (33, "about_even"),
    (10, "unlikely"),
    (0, "very_unlikely"),
)

_SIZES = ("length", "diameter", "width", "greatest_width")


def kind_words(entry: CandidateEntry, texts: Texts) -> str:
    """Name a finding as the person did, a candidate as what it looks like: ``"candidate line"``."""
    if entry.is_finding and entry.decision is not None:
        kind = entry.decision.kind or FindingKind.OTHER
        return texts(f"kind.{kind.name.lower()}")
    return texts(f"candidate.{entry.candidate.kind}")


def score_words(candidate: Candidate, texts: Texts) -> str:
    """Say how likely a candidate is expected to be real, for example ``"likely a real flaw: 72 %"``."""
    shown = percent(candidate.score)
    name = next(name for least, name in _LIKELIHOODS if shown >= least)
    return texts("table.percent", word=texts(f"score.{name}"), percent=shown)


def contrast_words(candidate: Candidate, texts: Texts) -> str:
    """Say how a candidate stands out, for example ``"strong, 42 grey levels brighter (of 255)"``."""
    if not math.isfinite(candidate.contrast):
        return texts("table.no_contrast")
    name = next(name for least, name in _CONTRASTS if abs(candidate.contrast) >= least)
    side = "table.brighter" if candidate.contrast >= 0 else "table.darker"
    return texts(side, word=texts(f"contrast.{name}"), levels=round(abs(candidate.contrast)))


def figure(quantity: Quantity, texts: Texts) -> str:
    r"""Write a quantity with its expanded uncertainty; lines may break only before the ±.

    >>> from setstone.annotate.texts import texts_in
    >>> figure(Quantity(3.0012, 0.0061, "mm"), texts_in("de")).split(" ")
    ['3,001\xa0mm', '±\xa00,012\xa0mm']
    """
    return texts.number(str(quantity).replace(" ", "\xa0").replace("\xa0±", " ±"))


def reason_words(reason: Reason, kind: CandidateKind, texts: Texts) -> Said:
    """Say a reason in a language.

    >>> from setstone.annotate.texts import texts_in
    >>> reason_words(Reason("faint", "hardly above the grain of the picture", False), "line", texts_in("de")).text
    'kaum über dem Korn des Bildes'
    """
    known = None if texts("language") == "en" else texts.part(f"reason.{kind}").get(reason.code)
    if known is None:  # depths, with their figures
        return texts.said(reason.text)
    number = re.search(r"\d+", reason.text)
    return Said(known.format(number=number[0] if number else ""))


def size_words(candidate: Candidate, texts: Texts) -> tuple[str, ...]:
    """State the sizes with their expanded uncertainty; without a scale, say that there are none."""
    sizes = candidate.sizes
    words = [texts(f"table.{name}", q=figure(sizes[name], texts)) for name in _SIZES if name in sizes]
    if not words:
        words = [texts("table.no_size")]
    if "elongation" in sizes:
        words.append(texts("table.elongation", times=texts.number(f"{sizes['elongation'].value:.1f}")))
    words += [texts(f"table.{name}", q=figure(sizes[name], texts)) for name in DEPTHS if name in sizes]
    return tuple(words)
