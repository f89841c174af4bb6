"""Readings as a workshop keeps them, and all that the record says of a stone at once."""

from contextlib import suppress
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_up import examination
from made_up import line as drawn
from sqlalchemy import insert

from setstone.measure.quantity import Quantity
from setstone.record import schema
from setstone.record.book import Book
from setstone.record.consistency import consistency, known_for_work
from setstone.record.entries import ReadingEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.estimating import estimate_weight, keep_estimate
from setstone.record.evidence.line import read_line
from setstone.record.vocabulary import FindingKind, Verdict, WorkKind
from setstone.record.work import Known, work_cautions


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("1.762-1.770", "two shadow edges, 1.762 and 1.770"),
        ("1.762/1.770", "two shadow edges, 1.762 and 1.770"),
        ("1,762 / 1,770", "two shadow edges, 1.762 and 1.770"),
        (">1.81", "over the limit: no edge below 1.81"),
        ("> 1,79", "over the limit: no edge below 1.79"),
        ("4,00 unset", "density 4.00 g/cm³"),
        ("0.5302 g / 0.3975 g unset water 22 °C", "weighed in air and in water of 22 °C"),
        ("pol double", "polariscope reaction: double"),
        ("double", "polariscope reaction: double"),
        ("thermal 7 check 2/8", "high thermal reading, at 83% of the way"),
        ("lw strong red", "fluorescence, long wave: strong (red)"),
        ("loupe needles", "seen: needle"),
        ("gas bubbles", "seen: gas bubble"),
        ("red", "body colour: red"),
        ("RI: 1.55 ± 0.01 pavilion", "one shadow edge on the pavilion, 1.550 ± 0.01"),
        ("4.00 ± resolution 0.01 unset", "density 4.00 g/cm³ ± 0.005"),
        ("doubling none 3 directions", "doubling of back facets: none, looked at in 3 directions"),
    ],
)
def test_a_line_is_understood_and_said_again(line: str, says: str) -> None:
    assert says in read_line(line).says


@given(
    st.text(max_size=40)
    | st.from_regex(r"[a-z ]{0,12}[>±]? ?[0-9]{1,2}[.,]?[0-9]{0,3}[-/ ][0-9.,]{0,5}( unset)?")
)
def test_whatever_is_typed_is_understood_or_refused_in_a_sentence(text: str) -> None:
    with suppress(BookError):
        assert read_line(text).says


@pytest.mark.parametrize(
    "details",
    [{"liquid": "wet"}, {"directions": -1}, {"water_c": 1e9}, {"check": "2/8"}, {"part": "girdle"}],
)
def test_circumstances_that_cannot_be_are_refused(
    book: Book, stone: StoneEntry, details: dict[str, object]
) -> None:
    with pytest.raises(BookError):
        book.add_reading(stone, test="refractometer", value="1.76", details=details, by="Ada")


@pytest.mark.parametrize("line", ["", "strong", "bite 7", "refractometer", "1.2.3"])
def test_what_is_not_understood_is_told_with_a_way_out(line: str) -> None:
    with pytest.raises(BookError, match="write"):
        read_line(line)


def test_a_line_is_kept_with_all_it_says(book: Book, stone: StoneEntry) -> None:
    entry = book.add_line(
        stone, "1,762/1.770 unset table liquid 1.79 # foil lifted", instrument="R-2", by="Ada"
    )
    assert (entry.test, entry.value, entry.stone_is_set) == ("refractometer", "1,762/1.770", False)
    assert entry.details == {"part": "table", "liquid": 1.79}
    assert (entry.remark, entry.instrument) == ("foil lifted", "R-2")
    # The next line is of the stone in the same state.
    assert not book.add_line(stone, "4.00", by="Ada").stone_is_set


def test_bad_readings_are_refused_and_nothing_is_kept(book: Book, stone: StoneEntry) -> None:
    before = book.journal()
    for test, value, more in (
        ("refractometer", "17.62", {}),
        ("refractometer", "1.76-2.20", {}),
        ("density", "4.00", {"stone_is_set": True}),
        ("hardness", "9", {}),
        ("refractometer", "1.76", {"details": {"part": "culet"}}),
        ("refractometer", "1.76", {"details": {"colour": "red"}}),
        ("refractometer", "1.76", {"taken": datetime.now(UTC) + timedelta(days=1)}),
        ("loupe", "needle", {"findings": [("before", 3)]}),
    ):
        with pytest.raises(BookError):
            book.add_reading(stone, test=test, value=value, by="Ada", **more)
    assert book.readings(stone) == ()
    assert book.journal() == before


def test_a_correction_keeps_what_stood_before(book: Book, stone: StoneEntry) -> None:
    first = book.add_reading(
        stone, test="refractometer", value="1.762-1.770", stone_is_set=False, by="Ada", instrument="R-2"
    )
    second = book.correct_reading(stone, first.id, value="1.761-1.769", reason="misread", by="Bea")
    assert (second.value, second.instrument, second.stone_is_set) == ("1.761-1.769", "R-2", False)
    assert book.readings(stone) == (second,)
    former, now = book.readings(stone, withdrawn=True)
    assert (former.value, now) == ("1.762-1.770", second)
    assert former.withdrawn is not None
    assert (former.withdrawn.replaced_by, former.withdrawn.reason, former.withdrawn.by) == (
        second.id,
        "misread",
        "Bea",
    )
    last = book.journal(stone)[-1]
    assert last.action == "correct reading"
    assert last.before is not None
    assert last.after is not None
    assert (last.before["value"], last.after["value"]) == ("1.762-1.770", "1.761-1.769")
    with pytest.raises(BookError, match="Nothing of reading"):
        book.correct_reading(stone, second.id, value="1.761-1.769", by="Bea")
    with pytest.raises(BookError, match="withdrawn already"):
        book.correct_reading(stone, first.id, value="1.7", by="Ada")


def test_a_withdrawn_reading_stays_in_the_book_and_is_weighed_no_more(book: Book, stone: StoneEntry) -> None:
    entry = book.add_line(stone, "1.544-1.553", by="Ada")
    assert consistency(book, stone).contradictions
    gone = book.withdraw_reading(stone, entry.id, reason="of another stone", by="Ada")
    assert gone.withdrawn is not None
    assert book.readings(stone) == ()
    assert consistency(book, stone).lines == ()
    with pytest.raises(BookError, match="has no reading 99"):
        book.withdraw_reading(stone, 99, reason="x", by="Ada")
    with pytest.raises(BookError), book.atomic() as connection:
        connection.exec_driver_sql("DELETE FROM reading_withdrawals")


def test_a_reading_of_the_past_keeps_its_time(book: Book, stone: StoneEntry) -> None:
    taken = datetime(2025, 3, 2, 14, 30, tzinfo=UTC)
    book.add_reading(stone, test="refractometer", value="1.76", taken=taken, by="Ada")
    (entry,) = book.readings(stone)
    assert entry.taken == taken
    assert entry.at > taken


def examined(book: Book, stone: StoneEntry, kind: FindingKind) -> int:
    """Keep an examination with one accepted finding and return its number."""
    entry = book.save_examination(
        stone, examination(drawn(300), drawn(500)), occasion="before", white=None, blue=None, by="Ada"
    )
    book.decide(entry, 2, Verdict.ACCEPTED, kind=kind, by="Ada")
    return 2


def test_signs_of_a_filling_are_read_from_findings_and_tests(book: Book, stone: StoneEntry) -> None:
    # Published criteria, see setstone/record/evidence/treatment.py: a fissure alone is no sign of a filling.
    examined(book, stone, FindingKind.FISSURE)
    assert known_for_work(book, stone) == Known()
    examined(book, stone, FindingKind.FILLED_FISSURE)
    assert known_for_work(book, stone).filled
    book.add_reading(stone, test="loupe", value="flash effect", by="Ada")
    known = known_for_work(book, stone)
    assert known.filled
    assert any("fissures may be filled" in c for c in work_cautions("Ruby", WorkKind.CLEANED, known))


def test_work_heeds_what_the_readings_leave_open_and_not_the_claim_alone(
    book: Book, stone: StoneEntry
) -> None:
    """The table's row for natural opal: index 1.37 to 1.47, singly refractive, no heat and no drying."""
    assert known_for_work(book, stone) == Known()
    book.add_reading(stone, test="refractometer", value="1.45", stone_is_set=False, by="Ada")
    book.add_reading(stone, test="polariscope", value="single", stone_is_set=False, by="Ada")
    book.add_reading(stone, test="hydrostatic", value="2.10", unit="g/cm³", stone_is_set=False, by="Ada")
    known = known_for_work(book, stone)
    assert "Opal (natural)" in {m.name for m in known.may_be}
    said = " ".join(work_cautions("quartz", WorkKind.CLEANED, known))
    assert "If it is Opal (natural), which its readings leave open: no heat" in said


def test_an_observation_follows_its_finding_through_a_new_examination(book: Book, stone: StoneEntry) -> None:
    number = examined(book, stone, FindingKind.NEEDLE)
    book.add_reading(stone, test="microscope", value="needle", findings=[(None, number)], by="Ada")
    assert book.readings(stone)[0].findings == (("before", 2),)
    # In the new one the candidates stand the other way round.
    book.save_examination(
        stone, examination(drawn(500), drawn(300)), occasion="before", white=None, blue=None, by="Ada"
    )
    assert book.readings(stone)[0].findings == (("before", 1),)
    with pytest.raises(BookError, match="is no finding"):
        book.add_reading(stone, test="microscope", value="needle", findings=[("before", 2)], by="Ada")


def test_findings_in_the_pictures_count_as_seen(book: Book, stone: StoneEntry) -> None:
    examined(book, stone, FindingKind.CURVED_STRIAE)
    found = consistency(book, stone)
    ruby = next(line for line in found.excluded if line.material_id == "ruby")
    assert ruby.speaks_against == "seen: curved striae (finding 2, before)"


def test_everything_a_panel_shows(book: Book, stone: StoneEntry) -> None:
    for line in (
        "1.762-1.770 unset table",
        "4.00",
        "double",
        "thermal 5",
        "thermal 4 check 8/2",
        "loupe flash effect",
    ):
        book.add_line(stone, line, by="Ada")
    found = consistency(book, stone)
    assert not found.is_set
    marks = {r.entry.value: r.mark for r in found.read}
    assert "no calibration check" in marks["5"]
    assert "calibration check failed" in marks["4"]
    assert marks["1.762-1.770"] == ""
    first = [line for line in found.lines if line.rank == 1]
    assert {"ruby", "sapphire", "corundum_flame_fusion"} <= {line.material_id for line in first}
    assert all("not separable" in line.note for line in first if line.kind in ("natural", "laboratory-grown"))
    assert "not separable" in found.summary
    assert "most consistent with" in found.summary
    assert found.summary.endswith("Not a laboratory report.")
    assert not found.contradictions
    assert "not enough" in found.treatments[0].verdict
    assert any("ultrasonics" in c for c in found.cautions)
    assert any("nature or in a laboratory" in t for t in found.cannot_tell)
    assert found.next_tests
    assert all(test.possible for test in found.next_tests)


def test_a_composite_the_table_does_not_hold_is_said_to_be_one(book: Book, stone: StoneEntry) -> None:
    for line in ("1.725 table", "1.760-1.770 pavilion", "loupe lustre step"):
        book.add_line(stone, line, by="Ada")
    found = consistency(book, stone)
    assert found.summary.startswith("The readings are consistent with a composite stone")
    assert not found.lines


def test_only_two_words_for_what_the_readings_say(book: Book, stone: StoneEntry) -> None:
    """16 CFR 23.0(b) and ISO 18323:2015 on wording (reference notes, section 1)."""
    for line in ("1.762-1.770", "thermal moderate check low/high", "double", "loupe silk"):
        book.add_line(stone, line, by="Ada")
    found = consistency(book, stone)
    said = " ".join(
        [
            found.summary,
            *(
                f"{x.name} {x.note} {x.speaks_for} {x.speaks_against}"
                for x in (*found.lines, *found.excluded)
            ),
            *(t.verdict for t in found.treatments),
            *(t.why for t in found.next_tests),
            *found.cannot_tell,
        ]
    ).lower()
    for word in ("genuine", "certif", "authentic", "proven", "proves", "guarantee", "identified"):
        assert word not in said


def test_readings_entered_before_they_were_checked_are_kept(book: Book, stone: StoneEntry) -> None:
    row = {
        "stone_id": stone.id, "test": "refractometer", "value": "seven", "unit": "", "uncertainty": "",
        "instrument": "", "stone_is_set": True, "remark": "", "by": "Ada", "at": datetime.now(UTC),
    }  # fmt: skip
    with book.atomic() as connection:
        connection.execute(insert(schema.readings).values(row))
    (read,) = consistency(book, stone).read
    assert read.says == "seven"
    assert read.mark.startswith("not understood: 'seven' is no refractometer reading")
    mended = book.correct_reading(stone, read.entry.id, value="1.76", by="Ada")
    assert consistency(book, stone).read[0].entry == mended


def test_little_read_is_said_to_be_little(book: Book, stone: StoneEntry) -> None:
    examined(book, stone, FindingKind.FISSURE)
    assert consistency(book, stone).summary.startswith("Too little was read yet: ")


def test_an_empty_record_says_so(book: Book, stone: StoneEntry) -> None:
    found = consistency(book, stone)
    assert found.lines == ()
    assert found.summary.startswith("Nothing was read yet")
    assert found.next_tests[0].test == "refractometer"


def test_a_weight_is_an_estimate_with_range_and_formula(book: Book, stone: StoneEntry) -> None:
    """6.50 x 3.95 mm at 4.00: 1.2016 ct by the published factor 0.0018 (reference notes, W4)."""
    size, depth = Quantity(6.5, 0.01, "mm"), Quantity(3.95, 0.03, "mm")
    found = estimate_weight(book, stone, "round", depth=depth, length=size)
    assert found.weight.weight.value == pytest.approx(1.2016, abs=1e-4)
    assert "as claimed (ruby)" in found.rests_on
    kept: ReadingEntry = keep_estimate(book, stone, found, by="Ada")
    assert kept.value == "est. 1.20 ct"
    assert "0.0018" in kept.remark
    with pytest.raises(BookError, match="examine it"):
        estimate_weight(book, stone, "round", depth=depth)


def test_what_a_weight_has_no_place_for_is_said(book: Book, stone: StoneEntry) -> None:
    size, depth = Quantity(6.5, 0.01, "mm"), Quantity(3.95, 0.03, "mm")
    with pytest.raises(BookError, match="leave the girdle out"):
        estimate_weight(book, stone, "round", depth=depth, length=size, girdle="thick")
    with pytest.raises(BookError, match="width was given without a length"):
        estimate_weight(book, stone, "round", depth=depth, width=size)
    assert (
        "width taken as the same" in estimate_weight(book, stone, "round", depth=depth, length=size).rests_on
    )
    diamond = book.correct_stone(stone, claimed_as="diamond", by="Ada")
    with pytest.raises(BookError, match="leave the girdle out"):
        estimate_weight(
            book, diamond, "round", depth=depth, length=size, girdle="thick", specific_gravity=5.8
        )
    told = estimate_weight(book, diamond, "round", depth=depth, length=size, specific_gravity=5.8).rests_on
    assert "although claimed as one" in told
    assert "diamonds, as claimed" in estimate_weight(book, diamond, "round brilliant", length=size).rests_on


def test_the_list_of_stones_counts_contradictions_and_finds_by_what_is_left(
    book: Book, stone: StoneEntry
) -> None:
    def listed() -> int:
        return next(p.contradictions for p in book.progress() if p.stone == stone)

    reading = book.add_line(stone, "1.718 unset", by="Ada")
    assert listed() == 1
    book.withdraw_reading(stone, reading.id, reason="of another stone", by="Ada")
    assert listed() == 0
    book.add_line(stone, "1.544-1.553", by="Ada")
    assert [p.stone for p in book.search(species="amethyst").stones] == [stone]


def test_the_state_is_what_was_said_or_done_last(book: Book, stone: StoneEntry) -> None:
    assert consistency(book, stone).is_set
    book.add_line(stone, "1.762-1.770 set", by="Ada")
    book.add_work(stone, WorkKind.UNSET, by="Ada")
    assert not consistency(book, stone).is_set
    assert consistency(book, stone, is_set=True).is_set
