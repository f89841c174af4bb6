"""The panels of the object, the work and the versions, as a person uses them."""

from pathlib import Path
from typing import Any

import pytest
from PIL import Image

pytest.importorskip(
    "napari.qt", reason="the window is not installed (pip install setstone[dev-gui])", exc_type=ImportError
)

from qtpy.QtCore import QPoint, Qt, QUrl  # noqa: TID251
from qtpy.QtWidgets import QInputDialog, QWidget  # noqa: TID251

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.typed_reading import TypedReading
from setstone.annotate.panels import object_facts
from setstone.annotate.panels.object_facts import ObjectPanel
from setstone.annotate.panels.versions import VersionsPanel
from setstone.annotate.panels.work import WorkPanel
from setstone.record.vocabulary import FACTS_CAUTION, Fact, WorkKind


def shown(qtbot: Any, panel: QWidget) -> None:
    qtbot.addWidget(panel)
    panel.show()


@pytest.fixture
def facts(bench: Bench, qtbot: Any) -> ObjectPanel:
    made = ObjectPanel(bench)
    shown(qtbot, made)
    return made


@pytest.fixture
def work(bench: Bench, qtbot: Any) -> WorkPanel:
    made = WorkPanel(bench)
    shown(qtbot, made)
    return made


@pytest.fixture
def versions(bench: Bench, qtbot: Any) -> VersionsPanel:
    made = VersionsPanel(bench)
    shown(qtbot, made)
    return made


def test_a_mark_is_kept_as_read_and_undone(facts: ObjectPanel, bench: Bench, qtbot: Any) -> None:
    edit = facts.facts[Fact.HALLMARK]
    qtbot.keyClicks(edit, "crowned G")
    qtbot.keyClick(edit, Qt.Key.Key_Return)
    (fact,) = bench.opened.facts(bench.objects[0])
    assert (fact.fact, fact.value, fact.by) == (Fact.HALLMARK, "crowned G", "Ada")
    assert facts.said_by[Fact.HALLMARK].text().startswith("Ada, ")
    bench.undo()
    assert edit.text() == ""
    assert facts.said_by[Fact.HALLMARK].text() == ""


def test_wording_is_warned_of_while_one_types(facts: ObjectPanel, qtbot: Any) -> None:
    assert facts.caution.text() == FACTS_CAUTION
    qtbot.keyClicks(facts.facts[Fact.METAL], "solid gold")
    assert facts.caution.text().startswith("'solid' says more")


def test_what_is_typed_is_kept_of_the_stone_it_was_typed_for(
    facts: ObjectPanel, bench: Bench, qtbot: Any
) -> None:
    first = bench.required_stone
    qtbot.keyClicks(facts.facts[Fact.BACK], "closed")
    bench.choose_by(1)
    assert [f.value for f in bench.opened.facts(first)] == ["closed"]
    assert bench.opened.facts(bench.required_stone) == ()
    assert facts.facts[Fact.BACK].text() == ""


def test_a_mark_that_cannot_be_kept_stays_in_the_field(facts: ObjectPanel, bench: Bench) -> None:
    said: list[str] = []
    bench.said.connect(said.append)
    edit = facts.facts[Fact.MAKER]
    edit.setText("x" * 501)
    edit.setModified(True)
    edit.editingFinished.emit()
    assert "at most 500 are kept" in said[0]
    assert len(edit.text()) == 501


def test_work_is_entered_by_keyboard_with_its_cautions_and_taken_back(
    work: WorkPanel, bench: Bench, qtbot: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    work.kind.setCurrentText("glue removed")
    qtbot.keyClicks(work.solvent, "acetone")
    assert "safety sheet" in work.caution.text()
    qtbot.keyClicks(work.done, "2026-03-02 14:30")
    qtbot.keyClick(work.done, Qt.Key.Key_Return)
    (entry,) = bench.opened.work(bench.required_stone)
    assert (entry.kind, entry.solvent, entry.done_by) == (WorkKind.GLUE_REMOVED, "acetone", "Ada")
    assert "solvent: acetone" in work.log.toPlainText()
    assert work.done.text() == ""
    monkeypatch.setattr(QInputDialog, "getText", lambda *_: ("it was lid-4", True))
    work.log.anchorClicked.emit(QUrl(f"back:{entry.id}"))
    assert "No work is entered yet" in work.log.toPlainText()
    bench.undo()
    assert "solvent: acetone" in work.log.toPlainText()


def test_a_sign_of_a_filling_brings_its_caution_to_the_work(work: WorkPanel, bench: Bench) -> None:
    assert "fissures may be filled" not in work.caution.text()
    bench.opened.add_reading(bench.required_stone, test="loupe", value="flash effect", by="Ada")
    bench.notes_changed.emit()
    assert "fissures may be filled" in work.caution.text()


def test_products_are_offered_again_while_the_next_is_typed(
    work: WorkPanel, bench: Bench, qtbot: Any
) -> None:
    offering = work.solvent.completer()
    for typed in ("acetone", "water", "acetone"):
        qtbot.keyClicks(work.solvent, typed)  # what was named before pops up beneath
        qtbot.keyClick(work.solvent, Qt.Key.Key_Return)
        assert work.solvent.text() == ""
    assert work.solvent.completer() is offering
    assert offering.model().stringList() == ["acetone", "water"]
    assert len(bench.opened.work(bench.required_stone)) == 3


def test_a_time_not_understood_is_told_and_nothing_kept(work: WorkPanel, bench: Bench) -> None:
    said: list[str] = []
    bench.said.connect(said.append)
    work.done.setText("last week")
    work.enter.click()
    assert "is no time" in said[0]
    assert bench.opened.work(bench.required_stone) == ()
    assert work.done.text() == "last week"


def test_versions_and_what_was_changed_are_shown(versions: VersionsPanel, bench: Bench) -> None:
    assert versions.page.toPlainText().startswith("Not signed yet")
    bench.sign()
    assert "Nothing was changed" in versions.page.toPlainText()
    bench.enter_reading(TypedReading("thermal tester", "high check 2/8"))
    assert "+ Reading 1 (new)" in versions.page.toPlainText()
    bench.sign()
    assert "Nothing was changed" not in versions.page.toPlainText()  # still since the version chosen
    versions.older.setCurrentIndex(1)
    versions.older.activated.emit(1)
    assert "Nothing was changed" in versions.page.toPlainText()
    versions.older.setCurrentIndex(0)
    versions.newer.setCurrentIndex(1)
    versions.newer.activated.emit(1)
    text = versions.page.toPlainText()
    assert "Changed from version 1 to version 2" in text
    assert "signed by Ada" in text
    bench.choose_by(1)
    assert versions.page.toPlainText().startswith("Not signed yet")
    assert not versions.choices.isVisible()


def test_without_a_stone_nothing_can_be_entered(facts: ObjectPanel, work: WorkPanel, bench: Bench) -> None:
    bench.choose(None)
    for panel, heading in ((facts, facts.object_title), (work, work.title)):
        assert not panel.widget().isEnabled()
        assert heading.text() == "Choose a stone first."


def test_a_click_on_the_photograph_of_the_object_says_where_the_chosen_stone_sits(
    facts: ObjectPanel, bench: Bench, qtbot: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert not facts.picture.isVisible()
    lid = tmp_path / "lid.png"
    Image.effect_noise((200, 100), 60).convert("RGB").save(lid)
    monkeypatch.setattr(object_facts, "ask_for_pictures", lambda _: [lid])
    facts.choose.click()
    qtbot.waitUntil(facts.picture.isVisible)
    assert facts.picture.height() == pytest.approx(facts.picture.width() / 2, abs=1)
    at = QPoint(facts.picture.width() // 4, facts.picture.height() // 2)
    qtbot.mouseClick(facts.picture, Qt.MouseButton.LeftButton, pos=at)

    def places() -> list[tuple[float, float]]:
        found = bench.opened.object_photograph(bench.objects[0])
        return [] if found is None else list(found.places.values())

    assert places() == [pytest.approx((0.25, 0.5), abs=0.01)]
    placed = bench.required_stone.position
    qtbot.waitUntil(lambda: placed in facts.picture._places)
    qtbot.keyClick(facts.picture, Qt.Key.Key_Right)
    assert places() == [pytest.approx((0.26, 0.5), abs=0.01)]
    bench.undo()
    bench.undo()
    assert places() == []
    bench.undo()  # the photograph itself
    assert not facts.away.isVisible()
    bench.redo()
    assert facts.away.isVisible()
