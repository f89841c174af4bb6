"""Time a book of thousands of stones: opening, the list of stones, search, saving a reading.

Run: python benchmarks/big_book.py [--stones 200 2000 20000] [--engine sqlite postgresql] [--json OUT.json]

Rows are made up, five photographs to a stone that share one file. PostgreSQL is started for the run where it is
installed (Debian: apt-get install postgresql). The goal for each step is a median below 100 ms on two cores.
"""

import argparse
import hashlib
import json
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import psycopg
from sqlalchemy import Connection, Table, insert
from temporary_server import programs, temporary_server

from setstone.measure.candidates import Candidate, Reason
from setstone.measure.examination import Examination
from setstone.measure.quantity import Quantity
from setstone.record import schema
from setstone.record.book import Book
from setstone.record.convert import to_json
from setstone.record.progress import Stage
from setstone.record.standing import refresh_all
from setstone.record.text import key

PHOTOGRAPHS, CANDIDATES, STONES_IN_OBJECT = 5, 12, 12
CLAIMS = ("ruby", "spinel", "garnet", "emerald", "diamond", "rock crystal", "sapphire", "paste")
READINGS = (
    ("refractometer", ("1.762-1.770", "1.718", "1.544-1.553", "1.76-1.77", ">1.81", "1.577-1.583")),
    ("polariscope", ("double", "single")),
    ("density", ("4.00", "3.60", "2.65")),
    ("pleochroism", ("distinct", "none")),
)
REMARKS = ("old glue, yellow and crazed", "closed back, foil", "chip at the girdle", "turned in its setting")
START = datetime(2020, 1, 1, tzinfo=UTC)
GOAL_MS = 100.0
#: Rows sent at once.
BATCH = 5000


def main() -> None:
    """Build the books and print the medians."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--stones", type=int, nargs="+", default=[200, 2000, 20_000])
    parser.add_argument(
        "--engine", nargs="+", choices=("sqlite", "postgresql"), default=["sqlite", "postgresql"]
    )
    parser.add_argument("--repeats", type=int, default=21)
    parser.add_argument("--json", type=Path)
    arguments = parser.parse_args()
    medians: dict[str, dict[int, dict[str, float]]] = {}
    for engine in arguments.engine:
        if engine == "postgresql" and programs() is None:
            print("postgresql: not installed, left out", file=sys.stderr)
            continue
        with ExitStack() as stack:
            server = stack.enter_context(temporary_server()) if engine == "postgresql" else None
            for count in arguments.stones:
                with new_place(server, count) as where:
                    begun = time.perf_counter()
                    fill(where, count)
                    print(
                        f"{engine}: {count} stones built in {time.perf_counter() - begun:.0f} s",
                        file=sys.stderr,
                    )
                    medians.setdefault(engine, {})[count] = measure(where, arguments.repeats)
    show(medians)
    if arguments.json:
        arguments.json.write_text(json.dumps(medians, indent=2) + "\n", "utf-8")


@contextmanager
def new_place(server: str | None, count: int) -> Iterator[str]:
    """Where a new book can be made; removed at the end."""
    with tempfile.TemporaryDirectory(prefix="setstone-big-") as folder:
        if server is None:
            yield f"{folder}/book"
            return
        with psycopg.connect(server.format("postgres"), autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE big{count}".encode())
        yield f"{server.format(f'big{count}')}&folder={folder}/book"
        with psycopg.connect(server.format("postgres"), autocommit=True) as connection:
            connection.execute(f"DROP DATABASE big{count} WITH (FORCE)".encode())


def fill(where: str, count: int) -> None:
    """Make a book with made-up rows."""
    with Book.create(where, workshop="Workshop on the Quay") as book:
        shared = b"pixels that all photographs share"
        (book.photographs_folder / "shared.png").write_bytes(shared)
        with book.atomic() as connection:
            for table, rows in made_up(count):
                put(connection, table, rows)
            if book.place.server is not None:
                for table in (schema.objects, schema.stones, schema.examinations, schema.candidates):
                    name = table.name
                    connection.exec_driver_sql(
                        f"SELECT setval(pg_get_serial_sequence('{name}', 'id'), (SELECT max(id) FROM {name}))"  # noqa: S608
                    )
            refresh_all(connection)
        if book.place.server is not None:
            # What the server does by itself after a while (PostgreSQL manual, 25.1.3, autovacuum).
            with psycopg.connect(where.partition("&folder")[0], autocommit=True) as direct:
                direct.execute("VACUUM ANALYZE")


def put(connection: Connection, table: Table, rows: Iterator[dict[str, Any]]) -> None:
    """Insert rows batch by batch."""
    batch: list[dict[str, Any]] = []
    for row in rows:
        batch.append(row)
        if len(batch) == BATCH:
            connection.execute(insert(table), batch)
            batch = []
    if batch:
        connection.execute(insert(table), batch)


def made_up(count: int) -> Iterator[tuple[Table, Iterator[dict[str, Any]]]]:
    """Rows for every table, the same for every run."""
    draw = random.Random(7)  # noqa: S311 nothing is secret
    of_object = [i // STONES_IN_OBJECT + 1 for i in range(count)]
    claims = [draw.choice(CLAIMS) for _ in range(count)]

    def moment(i: int) -> datetime:
        return START + timedelta(minutes=20 * i)

    yield (
        schema.objects,
        (
            {
                "id": n,
                "name": f"Snuff box {n}",
                "name_key": f"snuff box {n}",
                "description": "",
                "added": START,
            }
            for n in range(1, of_object[-1] + 1)
        ),
    )
    yield (
        schema.stones,
        (
            {
                "id": i + 1,
                "object_id": of_object[i],
                "position": f"lid-{i % STONES_IN_OBJECT + 1}",
                "position_key": key(f"lid-{i % STONES_IN_OBJECT + 1}"),
                "claimed_as": claims[i],
                "added": moment(i),
            }
            for i in range(count)
        ),
    )
    yield schema.photographs, (photograph(i, n, moment(i)) for i in range(count) for n in range(PHOTOGRAPHS))
    result = to_json(
        Examination(
            reference="white", size=(800, 800), scale=None, outline=None, diameters=None, blue_to_white=None,
            candidates=(), colour=None, flags=(),
        )
    )  # fmt: skip
    yield (
        schema.examinations,
        (
            {
                "id": i + 1,
                "stone_id": i + 1,
                "occasion": "as received",
                "white": digest(i, 0),
                "blue": digest(i, 1),
                "made": moment(i),
                "by": "Ada",
                "version": "0.1.0",
                "result": result,
            }
            for i in range(count)
        ),
    )
    proposed = [to_json(candidate(score / 20)) for score in range(20)]
    yield (
        schema.candidates,
        (
            {
                "id": i * CANDIDATES + n + 1,
                "examination_id": i + 1,
                "number": n + 1,
                "origin": "program",
                "candidate": draw.choice(proposed),
            }
            for i in range(count)
            for n in range(CANDIDATES)
        ),
    )
    yield (
        schema.decisions,
        (
            {
                "candidate_id": i * CANDIDATES + n + 1,
                "verdict": "accepted" if n % 2 else "rejected",
                "kind": "fissure" if n % 2 else None,
                "reason": "" if n % 2 else "facet edge",
                "by": "Ada",
                "at": moment(i),
            }
            for i in range(count)
            # One stone in two is reviewed to the end.
            for n in range(CANDIDATES if i % 2 else 4)
        ),
    )
    yield (
        schema.readings,
        (
            {
                "stone_id": i + 1,
                "test": test,
                "value": draw.choice(values),
                "unit": "",
                "uncertainty": "",
                "instrument": "bench 1",
                "stone_is_set": test != "density",
                "remark": "",
                "by": "Ada",
                "at": moment(i),
            }
            for i in range(count)
            for test, values in READINGS
        ),
    )
    yield (
        schema.remarks,
        (
            {"stone_id": i + 1, "text": draw.choice(REMARKS), "by": "Ada", "at": moment(i)}
            for i in range(count)
        ),
    )
    yield (
        schema.journal,
        (
            {
                "at": moment(i) + timedelta(seconds=n),
                "by": "Ada",
                "action": "add reading",
                "subject": f"Snuff box {of_object[i]}/lid-{i % STONES_IN_OBJECT + 1}",
                "stone_id": i + 1,
                "after": {"test": "refractometer", "value": "1.762-1.770"},
            }
            for i in range(count)
            for n in range(12)
        ),
    )
    signed = range(3, count, 4)
    yield (
        schema.signatures,
        (
            {"stone_id": i + 1, "in_force": True, "by": "Ada", "at": moment(i), "version": 1, "state": {}}
            for i in signed
        ),
    )
    yield (
        schema.journal,
        ({"at": moment(i), "by": "Ada", "action": "sign", "subject": "", "stone_id": i + 1} for i in signed),
    )


def digest(i: int, n: int) -> str:
    """SHA-256 of a photograph that does not exist."""
    return hashlib.sha256(f"{i}/{n}".encode()).hexdigest()


def photograph(i: int, n: int, at: datetime) -> dict[str, Any]:
    """Row of a photograph; all share one file."""
    return {
        "sha256": digest(i, n),
        "stone_id": i + 1,
        "name": f"stone{i}_{n}.png",
        "file": "shared.png",
        "lamp": ("white", "blue", "other", "other", "other")[n],
        "lamp_stated": False,
        "occasion": "as received",
        "operator": "Ada",
        "width": 4000,
        "height": 3000,
        "bit_depth": 8,
        "format": "PNG",
        "size_bytes": 33,
        "added": at,
        "flags": [],
    }


def candidate(score: float) -> Candidate:
    """A candidate with a path as long as they are on photographs."""
    import numpy as np

    path = np.column_stack([np.linspace(100, 300, 40), np.linspace(200, 300, 40)]).round(2)
    reason = Reason("thin-bright", "Thin and brighter than both sides.", speaks_for=True)
    return Candidate("line", path, "blue", score, (reason,), 21.5, {"length": Quantity(0.4, 0.01, "mm")})


def measure(where: str, repeats: int) -> dict[str, float]:
    """Median time of each step, in milliseconds."""
    draw = random.Random(11)  # noqa: S311
    found: dict[str, float] = {"opening": median(lambda: Book.open(where).close(), repeats)}
    with Book.open(where) as book:
        everything = book.progress()
        names = [p.stone.full_name for p in everything]

        def any_stone() -> Any:
            return draw.choice(everything).stone

        def save() -> None:
            test, values = draw.choice(READINGS[:2])
            book.add_reading(
                any_stone(), test=test, value=draw.choice(values), instrument="bench 2", by="Bea"
            )

        later = START + timedelta(days=1)
        steps: dict[str, Callable[[], object]] = {
            "stone list, a page": lambda: book.search(),
            "stone list, all": book.progress,
            "search, text": lambda: book.search("closed foil"),
            "search, rare text": lambda: book.search(f"stone{draw.randrange(len(names))}_3"),
            "search, species": lambda: book.search(species="ruby"),
            "search, state": lambda: book.search(stages=[Stage.TO_REVIEW]),
            "search, contradictions": lambda: book.search(contradicted=True),
            "search, date": lambda: book.search(since=later, until=later + timedelta(days=30)),
            "search, all of it": lambda: book.search(
                "glue",
                species="spinel",
                stages=[Stage.REVIEWED, Stage.SIGNED],
                contradicted=True,
                since=later,
            ),
            "search in the window, text": lambda: book.matching("closed foil"),
            "search in the window, fields": lambda: book.matching(
                species="spinel", contradicted=True, since=later
            ),
            "find one stone": lambda: book.stone(draw.choice(names)),
            "its photographs": lambda: book.photographs(any_stone()),
            "its examinations": lambda: book.latest_examinations(any_stone()),
            "its journal": lambda: book.journal(any_stone()),
            "save a reading": save,
            "save a remark": lambda: book.add_remark(any_stone(), "looked again", by="Bea"),
        }
        for name, step in steps.items():
            found[name] = median(step, repeats)
    return found


def median(step: Callable[[], object], repeats: int) -> float:
    """Median time of a step in milliseconds, the first run left out."""
    times = []
    for _ in range(repeats + 1):
        begun = time.perf_counter()
        step()
        times.append(1000 * (time.perf_counter() - begun))
    return statistics.median(times[1:])


def show(medians: dict[str, dict[int, dict[str, float]]]) -> None:
    """Print a table for each kind of database: a row for each step, a column for each size."""
    for engine, by_size in medians.items():
        sizes = sorted(by_size)
        print(f"\n{engine}: median in ms (goal: below {GOAL_MS:.0f} each)\n")
        print(
            "| step | " + " | ".join(f"{n:,} stones, {n * PHOTOGRAPHS:,} photographs" for n in sizes) + " |"
        )
        print("|---" * (len(sizes) + 1) + "|")
        for step in by_size[sizes[0]]:
            values = [by_size[n][step] for n in sizes]
            mark = "" if values[-1] < GOAL_MS else " (!)"
            print(f"| {step} | " + " | ".join(f"{v:.1f}" for v in values) + f" |{mark}")


if __name__ == "__main__":
    main()
