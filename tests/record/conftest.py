"""A book of the demo snuff box."""

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import psycopg
import pytest
from PIL import Image
from temporary_server import programs, temporary_server

from setstone.record.book import Book
from setstone.record.entries import StoneEntry
from setstone.record.schema import metadata

Paint = Callable[[tuple[int, int, int], str], Path]

GOLD = (190, 160, 90)


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """Address of a PostgreSQL server, but for the name of the database."""
    if programs() is None:
        if os.environ.get("SETSTONE_TESTS_NEED_POSTGRESQL"):
            pytest.fail("PostgreSQL is not installed, although .ci/run installs it")
        pytest.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")
    with temporary_server() as address:
        yield address


@pytest.fixture(scope="session")
def fresh(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A new book, made once: making one loads Alembic and takes longer than most tests."""
    folder = tmp_path_factory.mktemp("fresh") / "book"
    Book.create(folder, workshop="Workshop on the Quay").close()
    return folder


@pytest.fixture(scope="session")
def fresh_on_server(server: str, tmp_path_factory: pytest.TempPathFactory) -> str:
    """Address of a database with a new book in it, but for its folder."""
    address = make_database(server, "fresh")
    folder = tmp_path_factory.mktemp("fresh on server") / "book"
    Book.create(f"{address}&folder={folder}", workshop="Workshop on the Quay").close()
    return address


def make_database(server: str, name: str) -> str:
    with psycopg.connect(server.format("postgres"), autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}".encode())
    return server.format(name)


def empty_again(address: str) -> None:
    """Make a book as new: much faster than a new database for each test."""
    others = [t.name for t in metadata.sorted_tables if t.name not in ("book", "journal")]
    with psycopg.connect(address) as connection:
        # Stops the triggers that keep lines from being removed (PostgreSQL manual, 20.11.1).
        connection.execute("SET session_replication_role = replica")
        connection.execute(f"TRUNCATE {', '.join(others)}, journal RESTART IDENTITY".encode())


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Path | str]:
    """Where a new book is: its folder, or its address on the server."""
    folder = tmp_path / "book"
    if request.param == "sqlite":
        yield Path(shutil.copytree(request.getfixturevalue("fresh"), folder))
        return
    address = request.getfixturevalue("fresh_on_server")
    (folder / "photographs").mkdir(parents=True)
    with psycopg.connect(address) as connection:
        connection.execute(
            """INSERT INTO journal (at, "by", action, subject) SELECT now(), '', 'start book', 'book' """
            "WHERE NOT EXISTS (SELECT FROM journal)"
        )
    yield f"{address}&folder={folder}"
    empty_again(address)


@pytest.fixture
def book(where: Path | str) -> Iterator[Book]:
    """A new book, once on each kind of database."""
    with Book.open(where) as opened:
        yield opened


@pytest.fixture
def stone(book: Book) -> StoneEntry:
    return book.add_stone(book.add_object("Presentation snuff box"), "lid-3", claimed_as="ruby")


@pytest.fixture
def paint(tmp_path: Path) -> Paint:
    """Save a noisy picture of one colour under a name."""

    def save(colour: tuple[int, int, int], name: str) -> Path:
        noise = np.random.default_rng(len(name)).normal(0, 12, (120, 160, 3))
        Image.fromarray((np.array(colour) + noise).clip(0, 255).astype(np.uint8)).save(tmp_path / name)
        return tmp_path / name

    return save


@pytest.fixture
def picture(paint: Paint) -> Path:
    """In the colours of gold under white light."""
    return paint(GOLD, "white.png")


@pytest.fixture
def blue_picture(paint: Paint) -> Path:
    """In the colours of a scene under blue light."""
    return paint((6, 30, 170), "lit.png")
