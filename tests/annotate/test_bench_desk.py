"""What the panels ask of the bench besides the review: settings, files dropped, scale, signatures."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from setstone.annotate.bench.adding import add_files
from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.scaling import BarEnds, bar_ends, scale_typed, scale_words
from setstone.annotate.bench.settings import Settings, keep_settings, read_settings
from setstone.annotate.bench.typed_reading import TypedReading, typed_again
from setstone.capture.open import open_photograph
from setstone.capture.photograph import Lamp
from setstone.measure.errors import MeasurementError
from setstone.record.book import Book
from setstone.record.entries import StoneEntry
from setstone.record.errors import BookError
from setstone.record.progress import Stage
from setstone.sample_images import sample_stones

LID_3 = sample_stones()[0].folder


@pytest.fixture(scope="session")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("desk") / "book"
    Book.create(folder, workshop="Workshop on the Quay").close()
    return folder


@pytest.fixture
def bench(begun: Path, tmp_path: Path) -> Iterator[Bench]:
    made = Bench("Ada")
    made.open(shutil.copytree(begun, tmp_path / "book"))
    yield made
    made.close()


def stone_of(bench: Bench) -> StoneEntry:
    assert bench.stone is not None
    return bench.stone


def drop(bench: Bench, *files: Path) -> tuple[str, ...]:
    stone = stone_of(bench)
    arrival = add_files(bench.opened, stone, files, by="Ada", progress=lambda _: None)
    bench.photographs_added(stone, arrival.added)
    return arrival.problems


def test_settings_are_kept_and_none_are_needed(tmp_path: Path) -> None:
    file = tmp_path / "somewhere" / "settings.json"
    assert read_settings(file) == Settings()
    settings = Settings(operator="Ada", books_folder=str(tmp_path)).opened(tmp_path / "book")
    keep_settings(settings, file)
    assert read_settings(file) == settings
    assert settings.recent_books == ()  # it is not there any more
    file.write_text("{", encoding="utf-8")
    assert read_settings(file) == Settings()


def test_files_dropped_know_their_light_and_occasion_and_a_bad_one_spoils_none(
    bench: Bench, tmp_path: Path
) -> None:
    bench.add_stone("lid-3", to="Presentation snuff box")
    bad = tmp_path / "notes.txt"
    bad.write_text("no picture")
    problems = drop(bench, LID_3 / "before_white.jpg", bad, LID_3 / "before_blue.jpg")
    assert len(problems) == 1
    assert "'notes.txt' is not a JPEG, PNG or TIFF" in problems[0]
    assert [(p.lamp, p.occasion) for p in bench.photographs] == [
        (Lamp.WHITE, "as received"),
        (Lamp.BLUE, "as received"),
    ]
    drop(bench, LID_3 / "after_blue.jpg", LID_3 / "after_white.jpg")
    assert bench.occasions == ("as received", "after")
    assert bench.occasion == "after"
    assert bench.picture(stone_of(bench)) == bench.photographs[-1]


def test_the_scale_is_corrected_by_the_ends_of_the_bar_and_its_length(bench: Bench) -> None:
    bench.add_stone("lid-3", to="Presentation snuff box")
    drop(bench, LID_3 / "before_white.jpg")
    entry = bench.photographs[0]
    assert "not known yet" in scale_words(bench.scale_of(entry), entry)
    bar = bar_ends(open_photograph(entry.path).pixels)
    assert bar.found is not None
    as_read = scale_typed(bar, bar.ends, bar.label)
    doubled = scale_typed(bar, bar.ends, "2 mm")
    assert doubled.um_per_px == pytest.approx(2000 / bar.found.length_px)
    moved = scale_typed(bar, bar.ends + np.array([[0, 0], [10, 0]]), bar.label)
    assert moved.um_per_px < as_read.um_per_px
    assert moved.relative_u > as_read.relative_u
    bench.correct_photograph(entry, scale=moved)
    kept = bench.photographs[0]
    assert kept.scale == moved
    assert " mm ± " in scale_words(bench.scale_of(kept), kept)
    bench.undo()
    assert bench.photographs[0].scale is None


def test_a_scale_that_cannot_be_is_refused_in_words() -> None:
    offered = bar_ends(np.zeros((300, 400, 3), np.uint8))
    assert offered.found is None
    with pytest.raises(BookError, match="no length with a unit"):
        scale_typed(offered, offered.ends, "12")
    together = BarEnds(np.array([[10.0, 10], [11, 10]]), "", None)
    with pytest.raises(BookError, match="too close"):
        scale_typed(together, together.ends, "1 mm")
    with pytest.raises(MeasurementError, match="not possible"):
        scale_typed(offered, offered.ends, "9000 cm")


def test_stones_are_listed_as_people_count(bench: Bench) -> None:
    for position in ("lid-10", "lid-9", "lid-2"):
        bench.add_stone(position, to="Presentation snuff box")
    assert [p.stone.position for p in bench.progress] == ["lid-2", "lid-9", "lid-10"]


def test_a_signature_is_taken_back_and_that_too(bench: Bench) -> None:
    bench.add_stone("lid-3", to="Presentation snuff box")
    bench.sign()
    bench.take_signature_back()
    book, stone = bench.opened, stone_of(bench)
    assert book.signature(stone) is None
    bench.undo()
    assert book.signature(stone) is not None


def test_an_object_is_renamed_and_back(bench: Bench) -> None:
    bench.add_stone("lid-3", to="Snuff box")
    bench.correct_object(bench.objects[0], name="Presentation snuff box")
    assert bench.stone is not None
    assert bench.stone.object_name == "Presentation snuff box"
    bench.undo()
    assert bench.objects[0].name == "Snuff box"


def test_a_photograph_goes_to_another_stone_and_back(bench: Bench) -> None:
    bench.add_stone("lid-3", to="Presentation snuff box")
    first = stone_of(bench)
    bench.add_stone("lid-4")
    drop(bench, LID_3 / "before_white.jpg")
    bench.move_photograph(bench.photographs[0], first)
    assert bench.photographs == ()
    bench.undo()
    assert len(bench.photographs) == 1


def test_readings_and_remarks_are_told(bench: Bench) -> None:
    bench.add_stone("lid-3", to="Presentation snuff box")
    told: list[str] = []
    bench.notes_changed.connect(lambda: told.append("notes"))
    first = bench.enter_reading(TypedReading("refractometer", "1.762-1.770 table unset ± 0.002 # worn"))
    assert (first.value, first.uncertainty, first.stone_is_set) == ("1.762-1.770", "0.002", False)
    assert (first.details, first.remark) == ({"part": "table"}, "worn")
    again = typed_again(first)
    assert bench.enter_reading(again, instead_of=first.id).details == first.details
    bench.add_remark("old glue at the lower edge")
    assert len(bench.opened.readings(stone_of(bench))) == 1
    bench.withdraw_reading(bench.opened.readings(stone_of(bench))[0].id, "read on the claw")
    assert bench.opened.readings(stone_of(bench)) == ()
    assert told == ["notes"] * 4
    assert bench.progress[0].stage is Stage.NO_PHOTOGRAPH
