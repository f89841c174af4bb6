"""A whole book leaves and comes back: nothing is lost, and nothing half."""

import json
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import psycopg
import pytest
from filled import fill
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from made_up import examination, line
from PIL import Image
from ruled import ruled
from sqlalchemy import select

from setstone.record.book import Book
from setstone.record.deriving import correct_light
from setstone.record.entries import StoneEntry
from setstone.record.errors import BookError
from setstone.record.exporting import export_book, exported_tables
from setstone.record.importing import import_book
from setstone.record.migrations import LATEST
from setstone.record.progress import Progress
from setstone.record.vocabulary import Fact

ROOT = Path(__file__).parents[2]


def rows(book: Book) -> dict[str, list[tuple[Any, ...]]]:
    """Everything the tables hold."""
    with book.snapshot() as connection:
        return {
            t.name: [tuple(r) for r in connection.execute(select(t).order_by(*t.primary_key.columns))]
            for t in exported_tables()
        }


@pytest.fixture(params=["sqlite", "postgresql"])
def target(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Path | str]:
    """Where a book can be made."""
    if request.param == "sqlite":
        yield tmp_path / "again"
        return
    server = request.getfixturevalue("server")
    with psycopg.connect(server.format("postgres"), autocommit=True) as connection:
        connection.execute("CREATE DATABASE again")
        yield f"{server.format('again')}&folder={tmp_path / 'again'}"
        connection.execute("DROP DATABASE again WITH (FORCE)")


def told(p: Progress) -> tuple[object, ...]:
    """How a stone stands, without how a kind of database writes a moment."""
    return (
        p.stone,
        p.stage,
        p.photographs,
        p.to_examine,
        p.left,
        p.findings,
        p.contradictions,
        p.changed,
        p.signature,
    )


@pytest.mark.parametrize("name", ["export", "export.zip"])
def test_nothing_is_lost_between_any_two_kinds_of_database(
    book: Book, stone: StoneEntry, picture: Path, target: Path | str, tmp_path: Path, name: str
) -> None:
    fill(book, stone, picture)
    micrometer = tmp_path / "micrometer.png"
    Image.fromarray(ruled(28.5, 12.0, lines=40, size=520)).save(micrometer)
    book.calibrate_setup(book.add_setup("60x", by="Ada"), [micrometer], division_um=10, by="Ada")
    blank = tmp_path / "blank.png"
    Image.new("RGB", Image.open(picture).size, (190, 190, 190)).save(blank)
    even = correct_light(book, stone, book.photographs(stone)[0], blank=blank, by="Ada")
    book.picture_object(book.object(), blank, by="Ada")
    book.place_stone(stone, (0.5, 0.25), by="Ada")
    before = rows(book)
    assert all(before.values()), "each table holds something"
    with import_book(export_book(book, tmp_path / name), target, by="Bea") as again:
        after = rows(again)
        kept = {p.read_bytes() for p in again.photographs_folder.iterdir()}
        assert kept == {f.read_bytes() for f in (picture, micrometer, blank, even.path)}
        assert [told(p) for p in again.progress()] == [told(p) for p in book.progress()]
        assert again.journal()[-1].action == "import book"
        # It goes on where it was: numbers are not given twice.
        again.add_remark(again.stone("lid-3"), "after", by="Bea")
        again.correct_stone(again.stone("lid-3"), position="lid-4", by="Bea")
    del after["journal"][-1]
    assert after == before


words = st.text(
    st.characters(codec="utf-8", exclude_categories=["C", "Zl", "Zp"]), min_size=1, max_size=40
).filter(str.strip)
numbers = st.floats(0.01, 1e4, allow_nan=False)


@settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    claims=st.lists(words, min_size=1, max_size=3),
    texts=st.lists(words, max_size=3),
    facts=st.lists(st.tuples(st.sampled_from([f for f in Fact if not f.of_stone]), words), max_size=3),
    places=st.lists(st.tuples(numbers, st.floats(0, 1)), max_size=3),
)
def test_whatever_people_enter_comes_back(
    fresh: Path,
    claims: list[str],
    texts: list[str],
    facts: list[tuple[Fact, str]],
    places: list[tuple[float, float]],
) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with Book.open(shutil.copytree(fresh, folder / "book")) as book:
            box = book.add_object("Box")
            for n, claim in enumerate(claims):
                stone = book.add_stone(box, f"lid-{n}", claimed_as=claim)
                lines = [line(x, score) for x, score in places]
                result = examination(*lines)
                book.save_examination(stone, result, occasion="before", white=None, blue=None, by="Ada")
                for text in texts:
                    book.add_remark(stone, text, by="Ada")
                book.sign(stone, by="Ada")
            for fact, text in facts:
                book.state_fact(box, fact, text, by="Ada")
            before = rows(book)
            with import_book(export_book(book, folder / "export"), folder / "again", by="Ada") as again:
                after = rows(again)
                assert [again.versions(s) for s in again.stones()] == [
                    book.versions(s) for s in book.stones()
                ]
        del after["journal"][-1]
        assert after == before


@pytest.fixture
def export(tmp_path: Path, fresh: Path, picture: Path) -> Path:
    with Book.open(shutil.copytree(fresh, tmp_path / "book")) as book:
        fill(book, book.add_stone(book.add_object("Box"), "lid-3"), picture)
        return export_book(book, tmp_path / "export")


Spoil = Callable[[list[str]], list[str]]


def in_table(table: str, **values: Any) -> Spoil:
    """Put other values into the first line of a table; None of a name leaves it out."""

    def spoil(lines: list[str]) -> list[str]:
        done = []
        for text in lines:
            found = json.loads(text)
            if found.get("table") == table and values:
                found["row"] |= values
            done.append(json.dumps(found))
        return done

    return spoil


def first_line(**values: Any) -> Spoil:
    return lambda lines: [json.dumps(json.loads(lines[0]) | values), *lines[1:]]


SPOILED: dict[str, tuple[Spoil, str]] = {
    "cut short": (lambda lines: lines[:-5], "the end is missing"),
    "cut in a line": (lambda lines: [*lines[:3], lines[3][:20]], "no JSON"),
    "a line lost": (lambda lines: lines[:4] + lines[5:], "missing or too many"),
    "something after the end": (lambda lines: [*lines, "{}"], "missing or too many"),
    "no JSON": (lambda lines: [lines[0], "stone: lid-3"], "line 2 .* no JSON"),
    "a list": (lambda lines: [lines[0], "[1, 2]"], "no object"),
    "nested without end": (lambda lines: [lines[0], "[" * 100_000], "no JSON"),
    "empty": (lambda _: [], "is no export of a book"),
    "something else": (lambda _: ['{"format": "letters"}'], "is no export of a book"),
    "newer": (first_line(revision="9999"), "newer setstone; update"),
    "newer lines": (first_line(version=2), "newer setstone; update"),
    "unknown table": (lambda lines: [lines[0], '{"table": "rings", "row": {}}'], "no table 'rings'"),
    "unknown value": (in_table("stones", weight=1), "'weight' of the table 'stones' is not known"),
    "a number for a text": (in_table("stones", position=3), "'position' of the table 'stones' cannot be"),
    "a text for a number": (in_table("stones", object_id="1"), "'object_id'"),
    "too long": (in_table("stones", position="x" * 61), "'position'"),
    "no time zone": (in_table("stones", added="2026-01-01T00:00:00"), "'added'"),
    "not a number": (in_table("photographs", magnification=float("nan")), "no JSON"),
    "half a character": (in_table("stones", claimed_as="\ud800"), "'claimed_as'"),
    "points nowhere": (in_table("stones", object_id=99), "does not fit together"),
    "unknown word": (in_table("photographs", lamp="candle"), "holds what cannot be read"),
    "an examination that is none": (in_table("examinations", result={}), "cannot be read"),
    "a way out of the folder": (
        in_table("photographs", file="../../../etc/passwd"),
        "which is no name of one",
    ),
}


@pytest.mark.parametrize("name", SPOILED)
def test_an_export_that_is_not_whole_gets_one_sentence_and_leaves_nothing(
    export: Path, tmp_path: Path, name: str
) -> None:
    spoil, says = SPOILED[name]
    path = export / "book.jsonl"
    path.write_text("".join(f"{line}\n" for line in spoil(path.read_text("utf-8").splitlines())), "utf-8")
    with pytest.raises(BookError, match=says) as refused:
        import_book(export, tmp_path / "again", by="Ada")
    assert "\n" not in str(refused.value)
    assert not (tmp_path / "again").exists()


def test_an_export_without_its_photographs_or_with_others_is_refused(export: Path, tmp_path: Path) -> None:
    (photograph,) = (export / "photographs").iterdir()
    photograph.chmod(0o644)
    photograph.write_bytes(b"another")
    with pytest.raises(BookError, match="of the export was altered"):
        import_book(export, tmp_path / "again", by="Ada")
    photograph.unlink()
    with pytest.raises(BookError, match=r"lacks the photograph 'white\.png'"):
        import_book(export, tmp_path / "again", by="Ada")
    assert not (tmp_path / "again").exists()


@pytest.mark.parametrize("of", ["book.jsonl", "photographs/"])
@pytest.mark.parametrize("at", ["header", "contents"])
def test_a_damaged_zip_gets_one_sentence_and_leaves_nothing(
    export: Path, tmp_path: Path, of: str, at: str
) -> None:
    archive = Path(shutil.make_archive(str(tmp_path / "export"), "zip", export))
    with zipfile.ZipFile(archive) as whole:
        (kept,) = (i for i in whole.infolist() if i.filename.startswith(of) and not i.is_dir())
    spoiled = bytearray(archive.read_bytes())
    # Of its local header, the magic number; behind it, the middle of what is compressed.
    where = kept.header_offset + (0 if at == "header" else 30 + len(kept.filename) + kept.compress_size // 2)
    spoiled[where] ^= 0xFF
    archive.write_bytes(spoiled)
    with pytest.raises(BookError, match=r"cannot be (read|imported)|was altered") as refused:
        import_book(archive, tmp_path / "again", by="Ada")
    assert "\n" not in str(refused.value)
    assert not (tmp_path / "again").exists()


def test_a_locked_zip_gets_one_sentence(export: Path, tmp_path: Path) -> None:
    """Bit 0 of the flags of an entry: encrypted (PKWARE APPNOTE 6.3, section 4.4.4)."""
    archive = Path(shutil.make_archive(str(tmp_path / "export"), "zip", export))
    locked = bytearray(archive.read_bytes())
    # The flags stand 6 bytes behind the magic number of a local header, 8 behind that of the directory at the end.
    for magic, flags in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        at = locked.find(magic)
        while at >= 0:
            locked[at + flags] |= 1
            at = locked.find(magic, at + 4)
    archive.write_bytes(locked)
    with pytest.raises(BookError, match="locked with a password") as refused:
        import_book(archive, tmp_path / "again", by="Ada")
    assert "\n" not in str(refused.value)
    assert not (tmp_path / "again").exists()


def test_what_is_no_export_is_said(tmp_path: Path) -> None:
    (tmp_path / "letter.zip").write_text("Dear Sir")
    (tmp_path / "folder").mkdir()
    with zipfile.ZipFile(tmp_path / "other.zip", "w") as other:
        other.writestr("letter.txt", "Dear Sir")
    for name, says in (
        ("nowhere", "There is no export"),
        ("letter.zip", "cannot be read as an export"),
        ("folder", "holds no 'book.jsonl'"),
        ("other.zip", "holds no 'book.jsonl'"),
    ):
        with pytest.raises(BookError, match=says):
            import_book(tmp_path / name, tmp_path / "again", by="Ada")


def test_an_export_is_not_written_over_anything(tmp_path: Path, fresh: Path) -> None:
    (tmp_path / "there.zip").write_text("mine")
    with Book.open(shutil.copytree(fresh, tmp_path / "book"), read_only=True) as book:
        for name in ("there.zip", "book"):
            with pytest.raises(BookError, match="is there already"):
                export_book(book, tmp_path / name)
        assert export_book(book, tmp_path / "new").is_dir()  # reading is enough
    assert (tmp_path / "there.zip").read_text() == "mine"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["book", "new", "there.zip"]


def test_a_photograph_lost_from_the_book_is_said(tmp_path: Path, fresh: Path, picture: Path) -> None:
    with Book.open(shutil.copytree(fresh, tmp_path / "book")) as book:
        entry, _ = book.add_photograph(book.add_stone(book.add_object("Box"), "lid-3"), picture)
        entry.path.unlink()
        with pytest.raises(BookError, match=r"'white\.png' was altered or lost in the book"):
            export_book(book, tmp_path / "export")
    assert not (tmp_path / "export").exists()


def test_an_export_of_an_older_version_is_brought_up_to_date(tmp_path: Path) -> None:
    """As the version before would have written it, with the tables of its time."""
    lines: list[dict[str, Any]] = [{"format": "setstone book", "version": 1, "revision": "0001"}]
    lines.append({"table": "book", "row": {"id": 1, "workshop": "Quay"}})
    moment = "2026-01-01T12:00:00+00:00"
    box = {"id": 1, "name": "Box", "name_key": "box", "description": "", "added": moment}
    stone = {"id": 1, "object_id": 1, "position": "1", "position_key": "1", "claimed_as": "", "added": moment}
    lines += [{"table": "objects", "row": box}, {"table": "stones", "row": stone}]
    lines.append({"end": {"lines": len(lines)}})
    (tmp_path / "export").mkdir()
    (tmp_path / "export" / "book.jsonl").write_text("".join(json.dumps(x) + "\n" for x in lines))
    with import_book(tmp_path / "export", tmp_path / "book", by="Ada") as book:
        assert book.progress()[0].stone.full_name == "Box/1"
    Book.open(tmp_path / "book").close()


def test_the_page_on_exports_names_every_table_and_value() -> None:
    page = (ROOT / "docs" / "exchange.md").read_text("utf-8")
    assert f"revision {LATEST}" in page
    for table in exported_tables():
        _, _, rest = page.partition(f"### {table.name}\n")
        assert rest, f"{table.name} is not described"
        described = rest.partition("\n### ")[0]
        for column in table.columns:
            assert f"| `{column.name}` |" in described, f"{table.name}.{column.name} is not described"
