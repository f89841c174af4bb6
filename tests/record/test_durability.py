"""What README promises of a book that is copied, moved, taken away or written in by several, whatever the clock says."""

import shutil
import subprocess
import sys
from datetime import datetime, timedelta, tzinfo
from pathlib import Path

import pytest

from setstone.record import clock
from setstone.record.book import Book
from setstone.record.errors import BookError
from setstone.record.verifying import check_book

WRITE = """
import sys
from setstone.record.book import Book
with Book.open(sys.argv[1]) as book:
    for n in range(20):
        book.add_remark(book.stone("lid-3"), f"{sys.argv[2]} {n}", by=sys.argv[2])
"""


@pytest.fixture
def kept(fresh: Path, tmp_path: Path, picture: Path) -> Path:
    folder = Path(shutil.copytree(fresh, tmp_path / "book"))
    with Book.open(folder) as book:
        stone = book.add_stone(book.add_object("Presentation snuff box"), "lid-3")
        book.add_photograph(stone, picture)
    return folder


def remarks(folder: Path) -> list[str]:
    with Book.open(folder) as book:
        assert check_book(book).troubles == ()
        return [r.text for r in book.remarks(book.stone("lid-3"))]


def test_programs_that_write_at_once_lose_nothing(kept: Path) -> None:
    programs = [subprocess.Popen([sys.executable, "-c", WRITE, str(kept), who]) for who in ("Ada", "Bea")]
    assert [p.wait() for p in programs] == [0, 0]
    assert sorted(remarks(kept)) == sorted(f"{who} {n}" for who in ("Ada", "Bea") for n in range(20))


def test_a_copy_taken_while_the_book_is_open_is_a_book(kept: Path, tmp_path: Path) -> None:
    with Book.open(kept) as book:
        book.add_remark(book.stone("lid-3"), "before", by="Ada")
        with book.atomic():
            book.add_remark(book.stone("lid-3"), "meanwhile", by="Ada")
            shutil.copytree(kept, tmp_path / "copy")
    assert remarks(tmp_path / "copy") == ["before"]
    assert remarks(kept) == ["before", "meanwhile"]


def test_a_folder_moved_or_a_drive_gone_while_open_gets_one_sentence(kept: Path, tmp_path: Path) -> None:
    with Book.open(kept) as book:
        stone = book.stone("lid-3")
        book.add_remark(stone, "before", by="Ada")
        kept.rename(tmp_path / "elsewhere")
        with pytest.raises(BookError, match=r"^[^\n]*book[^\n]*\.$"):
            book.add_remark(stone, "lost?", by="Ada")
        (tmp_path / "elsewhere").rename(kept)
        book.add_remark(stone, "back", by="Ada")
    assert remarks(kept) == ["before", "back"]


def test_a_clock_set_back_loses_nothing(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Behind(datetime):
        @classmethod
        def now(cls, tz: tzinfo | None = None) -> datetime:  # type: ignore[override]
            return datetime.now(tz) - timedelta(days=400)

    with Book.open(kept) as book:
        stone = book.stone("lid-3")
        book.sign(stone, by="Ada")
        monkeypatch.setattr(clock, "datetime", Behind)
        book.add_remark(stone, "later, by an earlier clock", by="Ada")
        # The order of the journal tells, not the clock: the signature no longer covers all.
        assert book.progress([stone.id])[0].signature is None
        book.sign(stone, by="Ada")
        assert [v.number for v in book.versions(stone)] == [1, 2]
        assert book.progress([stone.id])[0].signature is not None
    assert remarks(kept) == ["later, by an earlier clock"]
