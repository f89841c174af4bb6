"""The demonstration: the whole job on the sample images, by the same functions as all other commands."""

from pathlib import Path
from typing import Annotated

import typer

from setstone.commands.common import JsonOption, progress, say, show

#: Who the demonstration says did it.
BY = "Demo workshop"


def register(app: typer.Typer) -> None:
    """Add this command to the command line."""
    app.command()(demo)


def demo(
    folder: Annotated[Path, typer.Argument(help="Folder to make for the demo book.")] = Path("demo-book"),
    as_json: JsonOption = False,
) -> None:
    """Do the whole job on the sample images: a book, three stones examined, pictures, a hand-out.

    The stones are computed pictures of an invented snuff box, and their readings, marks and work are invented too.
    """
    from setstone.annotate.handout import write_handout
    from setstone.annotate.pictures import write_pictures
    from setstone.commands import as_json as j
    from setstone.commands import screen
    from setstone.record.book import Book
    from setstone.record.entries import ExaminationEntry, StoneEntry
    from setstone.record.examining import examine_stone
    from setstone.record.vocabulary import Fact, WorkKind
    from setstone.sample_images import (
        OBJECT_DESCRIPTION,
        OBJECT_FACTS,
        OBJECT_NAME,
        OBJECT_PHOTOGRAPH,
        OBJECT_PLACES,
        OCCASIONS,
        STONE_FACTS,
        WORK,
        sample_stones,
    )

    samples = sample_stones()
    done: list[tuple[StoneEntry, ExaminationEntry]] = []
    with Book.create(folder, workshop=BY) as book, progress(len(samples) * len(OCCASIONS) + 1) as tell:
        box = book.add_object(OBJECT_NAME, description=OBJECT_DESCRIPTION, by=BY)
        for name, said in OBJECT_FACTS.items():
            book.state_fact(box, Fact(name), said, by=BY)
        book.picture_object(box, OBJECT_PHOTOGRAPH, by=BY)
        drawn: list[Path] = []
        for sample in samples:
            stone = book.add_stone(box, sample.position, claimed_as=sample.claimed_as, by=BY)
            for occasion, file in sample.photographs():
                book.add_photograph(stone, file, occasion=occasion, by=BY, magnification=60)
            book.place_stone(stone, OBJECT_PLACES[sample.position], by=BY)
            for line in sample.readings:
                book.add_line(stone, line, by=BY)
            for name, said in STONE_FACTS.items():
                book.state_fact(stone, Fact(name), said, by=BY)
            for kind, adhesive, solvent in WORK:
                book.add_work(stone, WorkKind(kind), adhesive=adhesive, solvent=solvent, by=BY)
            for occasion in OCCASIONS:
                tell(f"Examining {stone.position}, {occasion}")
                entry = examine_stone(
                    book, stone, occasion=occasion, by=BY, progress=lambda step: tell(f" {step}")
                )
                done.append((stone, entry))
                drawn += write_pictures(entry, stone, book.photographs(stone), folder / "pictures")
        tell("Writing the hand-out")
        sheet = write_handout(book, book.stones(), folder / "hand-out.html")

    def human() -> None:
        screen.print_results(done)
        say(f"Book:      {folder}")
        say(f"Pictures:  {folder / 'pictures'} ({len(drawn)} files)")
        say(f"Hand-out:  {sheet} (open it in a browser)")

    data = {
        "book": str(folder),
        "pictures": [str(p) for p in drawn],
        "handout": str(sheet),
        "examined": [j.examination(e, s) for s, e in done],
    }
    show(as_json, data, human)
