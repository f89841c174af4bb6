"""What to do next is said at each step of the work."""

from pathlib import Path

from made_up import examination, line

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.guide import next_step
from setstone.sample_images import sample_stones


def test_each_step_leads_to_the_next(tmp_path: Path) -> None:
    bench = Bench("Ada")
    bench.start(tmp_path / "book")
    assert next_step(bench).startswith("Add the first stone")
    bench.add_object("Presentation snuff box")
    bench.add_stone("lid-3")
    assert next_step(bench).startswith("Drop the photographs of lid-3")
    assert bench.stone is not None
    book, stone = bench.opened, bench.stone
    photographs = [
        book.add_photograph(stone, file, by="Ada")[0]
        for occasion, file in sample_stones()[0].photographs()
        if occasion == "as received"
    ]
    bench.photographs_added(stone, photographs)
    assert next_step(bench) == "Examine lid-3: panel Examination, or key F5."
    white, blue = (p.sha256 for p in sorted(photographs, key=lambda p: p.lamp == "blue"))
    entry = book.save_examination(
        stone, examination(line(250, 0.9)), occasion="as received", white=white, blue=blue, by="Ada"
    )
    bench.examined(entry)
    assert next_step(bench) == "Judge one candidate of lid-3: G accepts, Q rejects."
    assert bench.review is not None
    bench.review.accept()
    assert next_step(bench) == "lid-3 is reviewed: enter its readings, then sign it."
    bench.sign()
    assert next_step(bench) == "All stones are signed: write the hand-out."
    bench.add_stone("lid-4")
    bench.choose(stone)
    assert next_step(bench) == "lid-3 is signed; go on with lid-4."
    bench.close()
