"""Commands on the evidence package: write, sign, check."""

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from setstone.commands.common import HERE, BookOption, JsonOption, open_book, progress, say, show

if TYPE_CHECKING:
    from setstone.annotate.package.key import WorkshopKey

LanguageOption = Annotated[str, typer.Option(help="Language of what is written: en, de or fr.")]


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    package = typer.Typer(no_args_is_help=True, help="The signed package of all that the hand-out rests on.")
    package.command("write")(write)
    package.command("check")(check)
    package.command("page")(page)
    package.command("key")(key)
    app.add_typer(package, name="package")


def write(
    to: Annotated[Path, typer.Argument(help="Folder to make, or a file whose name ends in .zip.")],
    stones: Annotated[
        list[str] | None,
        typer.Argument(metavar="[STONE...]", help="Which stones of one object.", show_default="all"),
    ] = None,
    language: Annotated[
        list[str] | None,
        typer.Option(help="Language of the hand-out: en, de or fr; may be given again.", show_default="en"),
    ] = None,
    pdf: Annotated[bool, typer.Option("--pdf", help="Put the hand-out in as PDF too.")] = False,
    paper: Annotated[str, typer.Option(help="Paper of the PDF: a4 or letter.")] = "a4",
    names: Annotated[bool, typer.Option("--names", help="Name those who did the work.")] = False,
    originals: Annotated[
        bool,
        typer.Option(
            "--originals",
            help="Give the photographs as the camera wrote them, with all it noted: serial number, place, owner.",
        ),
    ] = False,
    book: BookOption = HERE,
    as_json: JsonOption = False,
) -> None:
    """Write and sign the evidence package of an object: pictures, findings, readings, hand-out, checksums.

    Example: setstone package write snuff-box.zip
    """
    from setstone.annotate.package.writing import Leaving, write_package

    with open_book(book) as opened:
        chosen = [opened.stone(s) for s in stones] if stones else list(opened.stones())
        signer = _key()
        leaving = Leaving(names=names, originals=originals)
        languages = language or ("en",)
        with progress(2 * len(chosen)) as tell:
            write_package(
                opened, chosen, to, signer,
                leaving=leaving, languages=languages, paper=paper if pdf else None, progress=tell,
            )  # fmt: skip
    show(
        as_json,
        {"package": str(to), "fingerprint": signer.fingerprint},
        lambda: say(f"Wrote and signed '{to}'.\nFingerprint of the key: {signer.fingerprint}"),
    )


def check(
    package: Annotated[Path, typer.Argument(help="Folder or .zip of a package.")],
    key: Annotated[str, typer.Option(metavar="FINGERPRINT", help="Fingerprint the workshop gave you.")] = "",
    digest: Annotated[str, typer.Option(help="Digest on the hand-out, or what its QR code says.")] = "",
    language: LanguageOption = "en",
    as_json: JsonOption = False,
) -> None:
    """Check whether anything in a package was altered, added or removed, and which key signed it when.

    Example: setstone package check snuff-box.zip
    """
    from setstone.annotate.package.checking import check_package, minute, next_steps
    from setstone.annotate.seal import grouped
    from setstone.annotate.texts import texts_in

    texts = texts_in(language)
    found = check_package(package, texts, fingerprint=key, digest=digest)
    signed = minute(found.signed) if found.signed else ""
    lines = (
        texts("check.bad") if found.problems else texts("check.good"),
        *(f"- {problem.text}" for problem in found.problems),
        *(
            f"{texts(f'check.{name}')}: {value}"
            for name, value in (
                ("workshop", found.workshop),
                ("when", signed),
                ("fingerprint", found.fingerprint),
                ("evidence", grouped(found.evidence)),
                ("files", found.files),
            )
            if value
        ),
        *(() if found.problems else next_steps(texts, fingerprint=key, digest=digest)),
    )
    data = {
        "holds": not found.problems,
        "problems": [{"code": p.code, "text": p.text} for p in found.problems],
        "workshop": found.workshop,
        "signed": found.signed and found.signed.isoformat(),
        "fingerprint": found.fingerprint,
        "evidence_sha256": found.evidence,
        "files": found.files,
    }
    show(as_json, data, lambda: say("\n".join(lines)))
    if found.problems:
        raise typer.Exit(1)


def page(
    to: Annotated[Path, typer.Argument(help="File to write.")] = Path("check-package.html"),
    language: LanguageOption = "en",
) -> None:
    """Write the page that checks packages in a browser, without network.

    Example: setstone package page check-package.html
    """
    from setstone.annotate.package.page import write_page

    say(f"Wrote '{write_page(to, language)}'.")


def key(
    passphrase: Annotated[
        bool, typer.Option("--passphrase", help="Ask for a new passphrase; an empty one takes it away.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Say where the workshop's key lies and its fingerprint; the first time it is made.

    Example: setstone package key --passphrase
    """
    from setstone.annotate.package.key import change_passphrase, key_file

    signer = _key()
    if passphrase:
        new = typer.prompt(
            "New passphrase", default="", show_default=False, hide_input=True, confirmation_prompt=True
        )
        change_passphrase(signer, new)
    show(
        as_json,
        {"file": str(key_file()), "fingerprint": signer.fingerprint},
        lambda: say(
            f"Key:         {key_file()} (keep a copy in a safe place; whoever has it can sign for you)\n"
            f"Fingerprint: {signer.fingerprint}"
        ),
    )


def _key() -> "WorkshopKey":
    """Read the workshop's key, asking for its passphrase where it has one."""
    from setstone.annotate.package.key import is_locked, key_file, workshop_key

    given = os.environ.get("SETSTONE_PASSPHRASE", "")
    file = key_file()
    if not given and sys.stdin.isatty() and file.is_file() and is_locked(file.read_bytes()):
        given = typer.prompt("Passphrase of the workshop's key", hide_input=True)
    return workshop_key(file, given)
