from datetime import UTC, datetime, timedelta

import pytest

from setstone.record.book import Book
from setstone.record.consistency import consistency
from setstone.record.entries import StoneEntry
from setstone.record.errors import BookError
from setstone.record.vocabulary import Fact, WorkKind
from setstone.record.work import work_cautions


def test_what_is_said_of_an_object_says_how_it_is_known(book: Book, stone: StoneEntry) -> None:
    box = book.object()
    book.state_fact(box, Fact.FINENESS, "750", by="Ada")
    book.state_fact(box, Fact.FINENESS, "'750', second figure worn", by="Bea")
    book.state_fact(box, Fact.MAKER, "workshop of the Quay, says the seller", by="Ada")
    book.state_fact(stone, Fact.BACK, "closed, foil visible at the rim", by="Ada")
    assert [(str(f.fact), f.fact.known_how, f.value) for f in book.facts(box)] == [
        ("fineness", "as read", "'750', second figure worn"),
        ("maker", "as claimed", "workshop of the Quay, says the seller"),
    ]
    assert [f.value for f in book.facts(stone)] == ["closed, foil visible at the rim"]
    lines = [j for j in book.journal() if j.action == "state fineness"]
    assert (lines[1].before, lines[1].after, lines[1].by) == (
        {"fineness": "750"},
        {"fineness": "'750', second figure worn"},
        "Bea",
    )


def test_what_is_taken_back_is_said_no_more_and_kept_in_the_journal(book: Book, stone: StoneEntry) -> None:
    book.state_fact(stone, Fact.SETTING, "claws", by="Ada")
    assert book.state_fact(stone, Fact.SETTING, "", by="Ada") is None
    assert book.facts(stone) == ()
    assert book.journal(stone)[-1].before == {"setting": "claws"}


def test_a_fact_of_the_wrong_thing_is_refused(book: Book, stone: StoneEntry) -> None:
    with pytest.raises(BookError, match="setting is that of a stone"):
        book.state_fact(book.object(), Fact.SETTING, "claws", by="Ada")
    with pytest.raises(BookError, match="hallmark is that of the object"):
        book.state_fact(stone, Fact.HALLMARK, "crowned G", by="Ada")
    with pytest.raises(BookError, match="Nobody is named"):
        book.state_fact(book.object(), Fact.METAL, "gold", by="")


def test_work_is_kept_in_the_order_in_which_it_was_done(book: Book, stone: StoneEntry) -> None:
    yesterday = datetime.now(UTC) - timedelta(days=1)
    assert consistency(book, stone).is_set
    book.add_work(stone, WorkKind.SET, adhesive="acrylic copolymer in acetone, 40 %", by="Ada")
    book.add_work(
        stone, WorkKind.UNSET, solvent="ethanol on a swab", done=yesterday, done_by="Cleo", by="Ada"
    )
    assert [(w.kind, w.done_by, w.by) for w in book.work(stone)] == [
        (WorkKind.UNSET, "Cleo", "Ada"),
        (WorkKind.SET, "Ada", "Ada"),
    ]
    assert consistency(book, stone).is_set
    book.take_work_back(stone, book.work(stone)[1].id, reason="wrong stone", by="Bea")
    # What next: the state of the stone decides which tests are possible.
    assert not consistency(book, stone).is_set
    assert book.journal(stone)[-1].after == {"reason": "wrong stone"}
    with pytest.raises(BookError, match="has no work number 1"):
        book.take_work_back(stone, 1, reason="again", by="Bea")


def test_work_to_come_or_without_time_zone_is_refused(book: Book, stone: StoneEntry) -> None:
    with pytest.raises(BookError, match="in the future"):
        book.add_work(stone, WorkKind.SET, done=datetime.now(UTC) + timedelta(hours=1), by="Ada")
    with pytest.raises(BookError, match="needs its zone"):
        book.add_work(stone, WorkKind.SET, done=datetime(2026, 3, 2), by="Ada")
    with pytest.raises(BookError, match="remark is empty"):
        book.add_work(stone, WorkKind.OTHER, by="Ada")
    assert book.work(stone) == ()


@pytest.mark.parametrize(
    ("claim", "says"),
    [
        # 16 CFR 23.25 (fillings need special care) and the table's row for emerald.
        ("emerald", "no ultrasonic, steam, heat, solvents or acid"),
        # The table's row for opal.
        ("opal", "no heat, drying, ultrasonic"),
        # The table's rows for amber, opal and corundum doublets; a filling named in any order.
        ("amber", "No ultrasonics, steam, heat, acid, solvents or contact liquid: it may be Amber"),
        ("Opal doublet", "it may be Opal doublet"),
        ("Ruby, glass-filled", "fissures may be filled"),
        ("Diamond, fracture-filled", "fissures may be filled"),
        ("", "What it is stays open"),
    ],
)
def test_cautions_come_from_the_table_and_call_the_claim_a_claim(claim: str, says: str) -> None:
    said = " ".join(work_cautions(claim, WorkKind.CLEANED, solvent="acetone"))
    assert says in said
    assert "safety sheet" in said
    assert "local rules" in said
    if claim:
        assert "A claim is not a finding" in said
