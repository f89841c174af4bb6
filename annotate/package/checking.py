"""Check a package: was anything altered, added or removed since it was signed, by which key, and when."""

import hashlib
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from setstone.annotate.errors import AnnotateError
from setstone.annotate.package.bag import (
    ALGORITHMS,
    DECLARATION,
    SIGNED_LIST,
    read_information,
    read_manifest,
)
from setstone.annotate.package.key import fingerprint_of, is_digest, is_signed, public_key_of
from setstone.annotate.package.layout import (
    FINGERPRINT,
    HANDOUT,
    KINDS,
    LATEST,
    PUBLIC_KEY,
    SIGNATURE,
    SIGNED,
    evidence_digest,
)
from setstone.annotate.package.opening import Package, opened, shown, whole
from setstone.annotate.texts import Texts

#: Clocks of two machines that are set differ by less.
_CLOCKS_DIFFER = timedelta(minutes=10)
_LISTS = {a: (f"manifest-{a}.txt", f"tagmanifest-{a}.txt") for a in ALGORITHMS}
#: No list names them: they are about the lists.
_UNLISTED = {SIGNATURE, *(tag for _, tag in _LISTS.values())}


@dataclass(frozen=True)
class Answer:
    """What is wrong with a package: a code for scripts, and a sentence."""

    code: str
    text: str


@dataclass(frozen=True)
class Checked:
    """What was found.

    Parameters
    ----------
    problems : tuple of Answer
        Empty where everything holds.
    workshop : str
        Who signed, as the package says.
    signed : datetime or None
        When, by the clock of the workshop.
    fingerprint : str
        Of the key that signed; empty without one.
    evidence : str
        Digest of the evidence, as the hand-out on paper bears it.
    files : int
    """

    problems: tuple[Answer, ...]
    workshop: str
    signed: datetime | None
    fingerprint: str
    evidence: str
    files: int


def check_package(
    path: Path, texts: Texts, *, fingerprint: str = "", digest: str = "", now: datetime | None = None
) -> Checked:
    """Check a package that came from outside.

    Parameters
    ----------
    path : Path
        Its folder or zip; only read, and never unpacked.
    texts : Texts
    fingerprint : str
        Of the key that is expected, from the hand-out on paper or from the workshop; blanks do not matter.
    digest : str
        Of the evidence that is expected, from the hand-out on paper.
    now : datetime, optional
        Aware.

    Returns
    -------
    Checked

    Raises
    ------
    AnnotateError
        When it cannot be read, or is no package; when what is expected is no fingerprint or digest.
    """
    if any(_bare(given) and not is_digest(given) for given in (fingerprint, digest)):
        raise AnnotateError(texts("check.not_whole"))
    with opened(path) as package:
        if SIGNED_LIST not in package.sizes and "bagit.txt" not in package.sizes:
            raise AnnotateError(
                f"'{path}' is no evidence package: it has no 'bagit.txt'; give the folder that holds one, or its .zip."
            )
        information = read_information(whole(package, "bag-info.txt").decode(errors="replace"))
        signed, latest = _moment(information.get(SIGNED)), _moment(information.get(LATEST))
        lists, unreadable = _read_lists(package, texts)
        signer = _fingerprint(package)
        evidence = evidence_digest(lists.get(_LISTS["sha256"][0], {}))
        problems = [
            *unreadable,
            *_signature(package, texts),
            *_key(package, information, signer, fingerprint, texts),
            *_sheet(evidence, digest, texts),
            *_contents(package, lists, texts),
            *_clock(signed, latest, now or datetime.now(UTC), texts),
        ]
        if not problems and not _is_bag(package, information):
            problems.append(Answer("no-bag", texts("check.no_bag")))
        return Checked(
            tuple(problems),
            shown(information.get("Source-Organization", ""))[1:-1],
            signed,
            signer,
            evidence,
            len(package.sizes),
        )


def _read_lists(package: Package, texts: Texts) -> tuple[dict[str, dict[str, str]], list[Answer]]:
    lists: dict[str, dict[str, str]] = {}
    wrong = []
    for name in (name for pair in _LISTS.values() for name in pair):
        if name not in package.sizes:
            wrong.append(_answer("removed", name, texts))
            continue
        try:
            lists[name] = read_manifest(whole(package, name).decode())
        except ValueError:
            wrong.append(Answer("unreadable", texts("check.unreadable", file=shown(name))))
    return lists, wrong


def _signature(package: Package, texts: Texts) -> Iterator[Answer]:
    if SIGNATURE not in package.sizes or PUBLIC_KEY not in package.sizes:
        yield Answer("unsigned", texts("check.unsigned"))
        return
    try:
        key = public_key_of(whole(package, PUBLIC_KEY))
        holds = is_signed(key, whole(package, SIGNATURE), whole(package, SIGNED_LIST))
    except (ValueError, zipfile.BadZipFile):
        holds = False
    if not holds:
        yield Answer("signature", texts("check.signature"))


def _is_bag(package: Package, information: dict[str, str]) -> bool:
    """Whether declaration and count of the payload are as RFC 8493 has them (2.1.1, 2.2.2), whoever signed them."""
    declared = whole(package, "bagit.txt").decode(errors="replace").splitlines()
    payload = [size for name, size in package.sizes.items() if name.startswith("data/")]
    counted = f"{sum(payload)}.{len(payload)}"
    return declared == DECLARATION.splitlines() and information.get("Payload-Oxum", counted) == counted


def _fingerprint(package: Package) -> str:
    with suppress(ValueError, zipfile.BadZipFile):
        return fingerprint_of(public_key_of(whole(package, PUBLIC_KEY)))
    return ""


def _key(
    package: Package, information: dict[str, str], signer: str, expected: str, texts: Texts
) -> Iterator[Answer]:
    if not signer:
        return
    if _bare(expected) and _bare(expected) != _bare(signer):
        yield Answer("other-key", texts("check.other_key"))
    named = information.get(FINGERPRINT, "")
    with suppress(zipfile.BadZipFile):
        shown_in_sheet = HANDOUT not in package.sizes or _holds(package.pieces(HANDOUT), signer.encode())
        if _bare(named) != _bare(signer) or not shown_in_sheet:
            yield Answer("other-key", texts("check.key_in_sheet"))


def _holds(pieces: Iterable[bytes], wanted: bytes) -> bool:
    """Look for some bytes in a file of any size, also where two pieces meet."""
    end = b""
    for piece in pieces:
        if wanted in end + piece:
            return True
        end = (end + piece)[-len(wanted) :]
    return False


def _sheet(evidence: str, expected: str, texts: Texts) -> Iterator[Answer]:
    if _bare(expected) not in ("", evidence):
        yield Answer("other-sheet", texts("check.other_sheet"))


def _contents(package: Package, lists: dict[str, dict[str, str]], texts: Texts) -> Iterator[Answer]:
    # The signature vouches for the signed list alone: what another list of tags names besides is not vouched for.
    signed = lists.get(SIGNED_LIST)
    digests: dict[str, dict[str, str]] = {}
    for algorithm, (payload, tags) in _LISTS.items():
        listed = lists.get(tags, {})
        if signed is not None and tags in lists and listed.keys() != signed.keys():
            yield _answer("altered", tags, texts)
            listed = {name: digest for name, digest in listed.items() if name in signed}
        for name, digest in (*lists.get(payload, {}).items(), *listed.items()):
            digests.setdefault(name, {})[algorithm] = digest
    for name, by_algorithm in sorted(digests.items()):
        if name not in package.sizes:
            yield _answer("removed", name, texts)
        elif _digests(package, name, tuple(by_algorithm)) != by_algorithm:
            yield _answer("altered", name, texts)
    for name in sorted(package.sizes.keys() - digests.keys() - _UNLISTED):
        yield _answer("added", name, texts)


def _digests(package: Package, name: str, algorithms: tuple[str, ...]) -> dict[str, str]:
    """Hash a file by several algorithms at once; what cannot be read has no digest."""
    made = {algorithm: hashlib.new(algorithm) for algorithm in algorithms}
    try:
        for piece in package.pieces(name):
            for one in made.values():
                one.update(piece)
    except zipfile.BadZipFile:  # altered within a zip
        return {}
    return {algorithm: one.hexdigest() for algorithm, one in made.items()}


def _clock(signed: datetime | None, latest: datetime | None, now: datetime, texts: Texts) -> Iterator[Answer]:
    if signed is None:
        yield Answer("clock", texts("check.no_time"))
    elif signed > now + _CLOCKS_DIFFER:
        yield Answer("clock", texts("check.clock_ahead", signed=minute(signed)))
    elif latest is not None and latest > signed:
        yield Answer("clock", texts("check.clock_behind", signed=minute(signed), latest=minute(latest)))


def next_steps(texts: Texts, *, fingerprint: str, digest: str) -> tuple[str, ...]:
    """Say, of a package that holds, what was compared and what a buyer still has to compare."""
    return (
        texts("check.same_key" if _bare(fingerprint) else "check.compare_key"),
        texts("check.same_digest" if _bare(digest) else "check.compare_digest"),
        texts("check.limits"),
    )


def minute(moment: datetime) -> str:
    """Write a moment to the minute, in UTC."""
    return f"{moment.astimezone(UTC):%Y-%m-%d %H:%M} UTC"


def _answer(code: str, name: str, texts: Texts) -> Answer:
    kind = next(kind for beginning, kind in KINDS.items() if name.startswith(beginning))
    return Answer(code, texts(f"check.{code}", what=texts(f"check.what.{kind}"), file=shown(name)))


def _moment(text: str | None) -> datetime | None:
    """Read an aware moment; None for anything else."""
    try:
        moment = datetime.fromisoformat(text or "")
    except ValueError:
        return None
    return moment if moment.tzinfo is not None else None


def _bare(fingerprint: str) -> str:
    return "".join(fingerprint.split()).lower()
