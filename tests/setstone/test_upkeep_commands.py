"""Checking, backing up and bringing back by command."""

import json
import os
from pathlib import Path

from typer.testing import CliRunner

from setstone.commands import app
from setstone.record.book import Book


def test_a_book_is_checked_backed_up_and_brought_back(tmp_path: Path) -> None:
    book, backup, again = tmp_path / "book", tmp_path / "b.zip", tmp_path / "again"
    Book.create(book).close()
    run = CliRunner().invoke
    whole = run(app, ["check", "--book", str(book), "--json"])
    assert (whole.exit_code, json.loads(whole.stdout)["whole"]) == (0, True)
    assert run(app, ["backup", str(backup), "--book", str(book)]).exit_code == 0
    assert run(app, ["restore", str(backup), str(again)]).exit_code == 0
    stray = again / "photographs" / "stray.png"
    stray.write_bytes(b"half")
    os.utime(stray, (0, 0))
    wrong = run(app, ["check", "--book", str(again)])
    assert wrong.exit_code == 1
    assert "belong to nothing" in wrong.stdout
    mended = run(app, ["check", "--repair", "--book", str(again), "--by", "Ada"])
    assert mended.exit_code == 0
    assert "was moved to 'set-aside'" in mended.stdout
    assert "The book is whole" in mended.stdout
