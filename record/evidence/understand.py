"""Turn what a person typed into values, and say what was understood."""

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from setstone.measure.quantity import Quantity
from setstone.measure.units import converted
from setstone.record.errors import BookError
from setstone.record.evidence.checks import CHECKED_ON, as_typed, references, trust
from setstone.record.evidence.figures import NUMBER, decimals, if_k, number, parse_numbers, parse_uncertainty
from setstone.record.evidence.hydrostatic import hydrostatic_density
from setstone.record.evidence.materials import signs
from setstone.record.evidence.readings import (
    ESTIMATED_WEIGHT,
    Edges,
    OverLimit,
    ReadingKind,
    Typed,
    Understood,
    Word,
    reading_kind,
)
from setstone.record.text import key

#: Contact liquid where none is named: diiodomethane with sulphur and tetraiodoethylene (usual limit).
USUAL_LIQUID = 1.81
#: Within this of the liquid's own index its own faint edge is read, not the stone's (common practice, no source).
NEAR_LIQUID = 0.005
#: What binary fractions may be off by: 1.79 - 0.005 comes out above 1.785.
_ROUNDING = 1e-9
#: Limits of error where none was typed (from memory, common practice): refractometer in white light or on a
#: small facet, distant-vision method, density.
USUAL = {
    ReadingKind.REFRACTOMETER: 0.003,
    ReadingKind.DISTANT_VISION: 0.01,
    ReadingKind.DENSITY: 0.02,
}
#: What an index read on it can be: below, nothing solid in the trade; above, no contact liquid.
INDEX = (1.30, 1.90)
#: What the index of a contact liquid can be: from water to the heaviest melts (from memory).
_LIQUID = (1.33, 2.10)
#: Calcite, the most doubly refracting stone within reach of a contact liquid, has 0.172.
_MOST_BIREFRINGENCE = 0.20
_DENSITY = (0.9, 25.0)
#: No gemstone lies outside, in g or ct.
_WEIGHT = (0.0001, 1e5)

_OVER = re.compile(rf"(?:>|≥|over)\s*(?P<limit>{NUMBER})?(?:\s*the\s+limit)?|otl|negative")

_POLARISCOPE = {
    "single": ("single", "sr", "single refraction", "singly refractive", "dark", "isotropic"),
    "single with strain": (
        "single with strain",
        "strain",
        "anomalous",
        "anomalous double refraction",
        "adr",
        "tabby",
    ),
    "double": ("double", "dr", "double refraction", "doubly refractive"),
    "aggregate": ("aggregate", "agg", "light"),
}
_DOUBLING = {
    "none": ("none", "no", "no doubling", "not seen"),
    "slight": ("slight", "weak", "faint"),
    "strong": ("strong", "yes", "obvious", "doubled back facets", "doubled"),
}
_STRENGTHS = {
    "inert": ("inert", "none", "no"),
    "weak": ("weak", "faint", "very weak"),
    "moderate": ("moderate", "medium", "distinct"),
    "strong": ("strong", "very strong"),
}
_PLEOCHROISM = {
    "none": ("none", "no", "inert"),
    "weak": ("weak", "faint", "very weak"),
    "distinct": ("distinct", "moderate", "medium"),
    "strong": ("strong", "very strong"),
}
_THERMAL = {
    "high": ("high", "diamond", "diamond range"),
    "moderate": ("moderate", "medium", "corundum"),
    "low": ("low", "simulant"),
    "metal touched": ("metal touched", "metal"),
    "not usable": ("not usable", "void"),
}
_COLOURS = {
    name: (name, *others.split())
    for name, others in {
        "colourless": "colorless clear", "white": "", "red": "", "pink": "rose", "orange": "", "yellow": "golden",
        "green": "", "blue": "", "violet": "purple lilac", "brown": "smoky", "black": "", "grey": "gray",
        "multicoloured": "multicolored", "colour change": "",
    }.items()
}  # fmt: skip
#: Thirds of the way from the simulant to the diamond reference (common practice, no source).
_THIRDS = ((2 / 3, "high"), (1 / 3, "moderate"), (-math.inf, "low"))


#: Names of a test that is refused.
NEVER_MADE = ("hardness", "scratch", "scratch test", "mohs")
#: Results of the polariscope that are said without its name.
REFRACTION = tuple(
    word
    for words in _POLARISCOPE.values()
    for word in words
    if "refract" in word or word in ("sr", "dr", "adr")
)


def understand(typed: Typed) -> Understood:
    """Read what was typed.

    Parameters
    ----------
    typed : Typed

    Returns
    -------
    Understood
        A test that is not known is kept and not weighed.

    Raises
    ------
    BookError
        When the test is known and the value cannot be one of it, or the test must not be made.

    Examples
    --------
    >>> understand(Typed("refractometer", "1,762/1.770", uncertainty="0.002")).says
    'two shadow edges, 1.762 and 1.770, each ± 0.002; birefringence 0.008 ± 0.003 (k = 2)'
    >>> understand(Typed("refractometer", ">1.81")).says
    'over the limit: no edge below 1.81'
    """
    kind = reading_kind(typed.test)
    if key(typed.test) in NEVER_MADE:
        raise BookError(
            "Hardness is a table value only, which 'setstone material' shows: a scratch test damages the stone and is "
            "never made. Leave it out."
        )
    if key(typed.test) == ESTIMATED_WEIGHT:
        return Understood(None, None, typed.value)
    if kind is None:
        return Understood(None, None, typed.value, f"'{typed.test}' is kept, but no rule weighs it")
    _require_details(typed)
    return _READERS[kind](kind, typed)


def _require_details(typed: Typed) -> None:
    part = typed.details.get("part", "")
    if part not in ("", "table", "pavilion"):
        raise BookError(f"'{part}' is no part of a stone; say 'table' or 'pavilion'.")


def _index(kind: ReadingKind, typed: Typed) -> Understood:
    _, limits, _ = parse_uncertainty(typed.uncertainty, USUAL[kind])
    return _checked(_edges(kind, typed), typed, limits)


def _checked(read: Understood, typed: Typed, limits: float, *, relative: bool = False) -> Understood:
    """Mark a reading of refractometer or balance by the check that stands beside it."""
    if read.kind is None:
        return read
    check = typed.details.get("check") or {}
    unused, unchecked = trust(read.kind, check, typed.day, limits, relative=relative)
    in_order = "" if unused or unchecked else f"; {CHECKED_ON[read.kind]} read as it should"
    return replace(read, says=read.says + in_order, unused=unused, unchecked=unchecked)


def _edges(kind: ReadingKind, typed: Typed) -> Understood:
    part = str(typed.details.get("part", ""))
    where = f" on the {part}" if part else ""
    over = _OVER.fullmatch(key(typed.value))
    stated_liquid = typed.details.get("liquid")
    liquid = USUAL_LIQUID if stated_liquid is None else float(stated_liquid)
    if not _LIQUID[0] <= liquid <= _LIQUID[1]:
        raise BookError(
            f"A contact liquid of index {liquid:g} does not exist; check it (the usual one has {USUAL_LIQUID:.2f})."
        )
    if over:
        limit = liquid
        if over["limit"]:
            # Above the liquid's own index no edge shows, whatever the scale reaches to.
            limit = number(over["limit"])
            _require_index(limit, typed.value)
            limit = limit if stated_liquid is None else min(limit, liquid)
        return Understood(kind, OverLimit(limit, part), f"over the limit{where}: no edge below {limit:.2f}")
    numbers = parse_numbers(typed.value)
    if numbers is None:
        raise BookError(
            f"'{typed.value}' is no refractometer reading; write one edge as '1.718', two as '1.762-1.770', "
            "over the limit as '>1.81'."
        )
    for each_index in numbers:
        _require_index(each_index, typed.value)
    low, high = min(numbers), max(numbers)
    if high - low > _MOST_BIREFRINGENCE:
        raise BookError(
            f"'{typed.value}' would be a birefringence of {high - low:.3f}; no stone within reach of a refractometer has "
            "that. Check the digits."
        )
    if high > liquid + NEAR_LIQUID + _ROUNDING:
        raise BookError(
            f"'{typed.value}': no edge can be read above the contact liquid ({liquid:.2f}); check the digits, give the "
            f"liquid's index, or write '>{liquid:.2f}' for over the limit."
        )
    if low >= liquid - NEAR_LIQUID - _ROUNDING:
        return Understood(
            kind,
            OverLimit(liquid, part),
            f"over the limit{where}: the edge at {low:.3f} is that of the contact liquid ({liquid:.2f})",
        )
    spot = kind is ReadingKind.DISTANT_VISION
    u, limits, stated = parse_uncertainty(typed.uncertainty, USUAL[kind])
    each = f"± {limits:g}" + ("" if stated else " (assumed)") + if_k(typed.uncertainty)
    if high >= liquid - NEAR_LIQUID - _ROUNDING:
        says = (
            f"one shadow edge{where}, {low:.3f} {each}; the other, {high:.3f}, is that of the contact liquid"
        )
        return Understood(kind, Edges(low, low, u, spot, part), says)
    edges = Edges(low, high, u, spot, part)
    if not edges.two:
        digits = 2 if spot else 3
        return Understood(
            kind, edges, f"one {'spot' if spot else 'shadow edge'}{where}, {low:.{digits}f} {each}"
        )
    many = "two shadow edges" if len(numbers) == 2 else f"{len(numbers)} shadow edges, least and greatest"
    says = (
        f"{many}{where}, {low:.3f} and {high:.3f}, each {each}; birefringence {edges.birefringence} (k = 2)"
    )
    return Understood(kind, edges, says)


def _require_index(index: float, typed: str) -> None:
    if not INDEX[0] <= index <= INDEX[1]:
        raise BookError(
            f"'{typed}': a refractometer reads between {INDEX[0]:.2f} and {INDEX[1]:.2f}; check the digits, or write "
            "'>1.81' for over the limit."
        )


def _density(kind: ReadingKind, typed: Typed) -> Understood:
    read = _weighed_or_given(kind, typed)
    if typed.is_set:
        said = read.says.partition(" ±")[0]
        raise BookError(
            f"'{typed.value}' is understood as {said}, but a set stone cannot be weighed without its setting: unset it, "
            "and enter the reading as unset."
        )
    return read


def _weighed_or_given(kind: ReadingKind, typed: Typed) -> Understood:
    weights = re.fullmatch(
        rf"({NUMBER})\s*(g|ct)?\s*(?:/|;|in air,?)\s*({NUMBER})\s*(g|ct)?(?:\s*in water)?",
        typed.value.strip(),
    )
    if weights and (weights[2] or weights[4] or typed.unit in ("g", "ct")):
        return _weighings(kind, typed, weights[1], weights[3], weights[2] or weights[4] or typed.unit)
    numbers = parse_numbers(re.sub(r"\s*(g/cm³|g/cm3|g/cc)$", "", typed.value.strip()))
    if numbers is None or len(numbers) != 1 or not _DENSITY[0] <= numbers[0] <= _DENSITY[1]:
        raise BookError(
            f"'{typed.value}' is no density; write '4.00' (g/cm³), or both weighings as '0.5302 g / 0.3975 g'."
        )
    u, limits, stated = parse_uncertainty(typed.uncertainty, USUAL[kind])
    each = f"± {limits:g}" + ("" if stated else " (assumed)")
    digits = decimals(typed.value.split()[0])
    says = f"density {numbers[0]:.{digits}f} g/cm³ {each}" + if_k(typed.uncertainty)
    read = Understood(kind, Quantity(numbers[0], u, "g/cm³"), says)
    return _checked(read, typed, limits / numbers[0], relative=True)


def _weighings(kind: ReadingKind, typed: Typed, air: str, water: str, unit: str) -> Understood:
    in_air, in_water = number(air), number(water)
    if not 0 < in_water < in_air:
        raise BookError(
            f"'{typed.value}': a stone weighs less in water than in air; check the two weighings."
        )
    if not _WEIGHT[0] <= in_air <= _WEIGHT[1]:
        raise BookError(f"'{typed.value}': no stone weighs {in_air:.3g} {unit}; check the two weighings.")
    digits = min(decimals(air), decimals(water))
    u, limits, _ = parse_uncertainty(typed.uncertainty, 10.0**-digits)
    celsius = typed.details.get("water_c")
    taken = "20 °C assumed" if celsius is None else f"{float(celsius):g} °C"
    if celsius is not None and not 0 <= float(celsius) <= 40:
        raise BookError(f"Water of {float(celsius):g} °C is outside 0 to 40 °C; check its temperature.")
    found = hydrostatic_density(
        in_air, in_water, u_weighing=u, celsius=20.0 if celsius is None else float(celsius)
    )
    if not _DENSITY[0] <= found.value <= _DENSITY[1]:
        raise BookError(
            f"'{typed.value}' would be a density of {found.value:.3g} g/cm³; check the two weighings."
        )
    read = Understood(kind, found, f"density {found} (k = 2), weighed in air and in water of {taken}")
    return _checked(read, typed, converted(Quantity(limits, 0.0, unit), "g").value)


def _thermal(kind: ReadingKind, typed: Typed) -> Understood:
    check = typed.details.get("check") or {}
    numbers = parse_numbers(typed.value)
    if numbers is not None and len(numbers) == 1:
        return _position(kind, numbers[0], check)
    word = _word(typed.value, _THERMAL, "thermal tester reading", "high, moderate or low, or a position")
    if word in ("metal touched", "not usable"):
        return Understood(
            kind, Word(word), word, "the reading is of the metal" if "metal" in word else "marked so"
        )
    says = f"{word} thermal reading"
    if not check:
        return Understood(kind, Word(word), says, "no calibration check stands beside it")
    again = check.get("again")
    if not _in_order(check) or (again and not _in_order(again)):
        return Understood(kind, Word(word), says, _failed(check))
    return Understood(kind, Word(word), f"{says}; {_was_in_order(check)}")


def _position(kind: ReadingKind, position: float, check: Mapping[str, Any]) -> Understood:
    """Place a position on the tester's scale between its reference stones."""
    before, again = references(check), check.get("again")
    if before is None:
        says = f"position {position:g} on the instrument's scale"
        return Understood(
            kind, None, says, "no calibration check with both reference stones stands beside it"
        )
    afterwards = references(again) if again else before
    if not before[1] > before[0] or afterwards is None or not afterwards[1] > afterwards[0]:
        return Understood(kind, None, f"position {position:g}", _failed(check))
    word, then = (_by_thirds(position, *r) for r in (before, afterwards))
    if word != then:
        return Understood(
            kind,
            None,
            f"position {position:g}",
            f"the tester drifted: {word} by the check before, {then} by the one afterwards ({as_typed(check)})",
        )
    simulant, diamond = before
    share = (position - simulant) / (diamond - simulant)
    where = (
        f"at {share:.0%} of the way from the simulant ({simulant:g}) to the diamond reference ({diamond:g})"
    )
    return Understood(kind, Word(word), f"{word} thermal reading, {where}; {_was_in_order(check)}")


def _by_thirds(position: float, simulant: float, diamond: float) -> str:
    share = (position - simulant) / (diamond - simulant)
    return next(word for least, word in _THIRDS if share >= least)


def _in_order(check: Mapping[str, Any]) -> bool:
    """Whether the simulant read lower than the diamond reference, or each as it is called."""
    read = references(check)
    if read is not None:
        return read[1] > read[0]
    simulant, diamond = (key(str(check.get(stone, ""))) for stone in ("simulant", "diamond"))
    return simulant in _THERMAL["low"] and diamond in _THERMAL["high"]


def _was_in_order(check: Mapping[str, Any]) -> str:
    both = ", before and afterwards" if check.get("again") else ""
    return f"the calibration check was in order{both}"


def _failed(check: Mapping[str, Any]) -> str:
    def told(of: Mapping[str, Any]) -> str:
        return (
            f"simulant read {of.get('simulant') or 'nothing'}, diamond read {of.get('diamond') or 'nothing'}"
        )

    again = check.get("again")
    return f"its calibration check failed ({told(check)}" + (f"; afterwards {told(again)})" if again else ")")


def _in_words(
    words: Mapping[str, tuple[str, ...]], what: str, *, thorough_from: int = 0
) -> Callable[[ReadingKind, Typed], Understood]:
    """Make a reader of one word, with whatever follows it as an extra: 'strong red', 'distinct: blue / green'."""

    def read(kind: ReadingKind, typed: Typed) -> Understood:
        first, _, extra = typed.value.partition(":")
        word = _match(first, words)
        if word is None and not extra:
            # 'strong red': the longest run of leading words that is known
            parts = typed.value.split()
            for count in range(len(parts) - 1, 0, -1):
                word = _match(" ".join(parts[:count]), words)
                if word is not None:
                    extra = " ".join(parts[count:])
                    break
        if word is None:
            word = _word(first, words, what, ", ".join(words))
        directions = int(typed.details.get("directions") or 1)
        thorough = bool(thorough_from) and directions >= thorough_from
        says = f"{what}: {word}" + (f" ({extra.strip()})" if extra.strip() else "")
        if thorough_from:
            says += f", looked at in {directions} direction{'s' if directions > 1 else ''}"
        return Understood(kind, Word(word, thorough, extra.strip()), says)

    return read


def _match(text: str, words: Mapping[str, tuple[str, ...]]) -> str | None:
    return next((word for word, names in words.items() if key(text) in names), None)


def _word(text: str, words: Mapping[str, tuple[str, ...]], what: str, offered: str) -> str:
    word = _match(text, words)
    if word is None:
        raise BookError(f"'{text.strip()}' is not known as a {what}; write {offered}.")
    return word


def _optic_character(kind: ReadingKind, typed: Typed) -> Understood:
    text = key(typed.value).replace("positive", "+").replace("negative", "-").replace("−", "-")
    found = re.fullmatch(r"(isotropic|uniaxial|biaxial|aggregate)\s*\(?([+-]?)\)?", text)
    if not found or (found[2] and found[1] in ("isotropic", "aggregate")):
        raise BookError(
            f"'{typed.value}' is no optic character; write uniaxial, biaxial (with + or -), isotropic or aggregate."
        )
    says = f"optic character: {found[1]}" + (f", sign {found[2]}" if found[2] else "")
    return Understood(kind, Word(found[1], extra=found[2]), says)


def _observation(kind: ReadingKind, typed: Typed) -> Understood:
    name = key(typed.value)
    if name in _DOUBLING["strong"][3:]:
        word = Word("strong", extra="seen under magnification")
        return Understood(ReadingKind.DOUBLING, word, "doubling of back facets: strong")
    names = [name, name.removesuffix("s"), name.removesuffix("es")]
    sign = next((signs()[n] for n in names if n in signs()), None)
    if sign is None:
        raise BookError(
            f"'{typed.value}' is not in the vocabulary of observations, such as fissure, needle or gas bubble; use one of its "
            "words, or write it as a remark."
        )
    return Understood(kind, Word(sign.name), f"seen: {sign.name}")


def _spectrum(kind: ReadingKind, typed: Typed) -> Understood:
    return Understood(kind, None, typed.value, "spectra are kept as remarks; no rule weighs them")


_READERS: Mapping[ReadingKind, Callable[[ReadingKind, Typed], Understood]] = {
    ReadingKind.REFRACTOMETER: _index,
    ReadingKind.DISTANT_VISION: _index,
    ReadingKind.THERMAL: _thermal,
    ReadingKind.POLARISCOPE: _in_words(_POLARISCOPE, "polariscope reaction", thorough_from=3),
    ReadingKind.DOUBLING: _in_words(_DOUBLING, "doubling of back facets", thorough_from=3),
    ReadingKind.OPTIC_CHARACTER: _optic_character,
    ReadingKind.DENSITY: _density,
    ReadingKind.UV_LONG: _in_words(_STRENGTHS, "fluorescence, long wave"),
    ReadingKind.UV_SHORT: _in_words(_STRENGTHS, "fluorescence, short wave"),
    ReadingKind.PLEOCHROISM: _in_words(_PLEOCHROISM, "pleochroism"),
    ReadingKind.COLOUR: _in_words(_COLOURS, "body colour"),
    ReadingKind.OBSERVATION: _observation,
    ReadingKind.SPECTRUM: _spectrum,
}

#: The words each test by words takes, for forms and help.
WORDS: Mapping[ReadingKind, tuple[str, ...]] = {
    ReadingKind.THERMAL: tuple(_THERMAL),
    ReadingKind.POLARISCOPE: tuple(_POLARISCOPE),
    ReadingKind.DOUBLING: tuple(_DOUBLING),
    ReadingKind.OPTIC_CHARACTER: ("isotropic", "uniaxial", "uniaxial +", "uniaxial -", "biaxial", "biaxial +", "biaxial -", "aggregate"),
    ReadingKind.UV_LONG: tuple(_STRENGTHS),
    ReadingKind.UV_SHORT: tuple(_STRENGTHS),
    ReadingKind.PLEOCHROISM: tuple(_PLEOCHROISM),
    ReadingKind.COLOUR: tuple(_COLOURS),
    ReadingKind.OBSERVATION: (*signs(), "doubled back facets"),
}  # fmt: skip
