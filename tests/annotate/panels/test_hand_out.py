"""The panel of the hand-out."""

from pathlib import Path
from typing import Any

import pytest

pytest.importorskip(
    "napari.qt", reason="the window is not installed (pip install setstone[dev-gui])", exc_type=ImportError
)

from qtpy.QtCore import QUrl  # noqa: TID251
from qtpy.QtGui import QDesktopServices, QTextDocument  # noqa: TID251
from qtpy.QtWidgets import QDialog, QFileDialog, QInputDialog  # noqa: TID251

from setstone.annotate.bench.bench import Bench
from setstone.annotate.package import key as keys
from setstone.annotate.package.checking import check_package
from setstone.annotate.panels import workshop_key
from setstone.annotate.panels.hand_out import ALL, PACKAGE, SIGNED, HandOutPanel
from setstone.annotate.panels.workshop_key import KeyDialog, asked_key, show_key
from setstone.annotate.seal import grouped
from setstone.annotate.texts import english


@pytest.fixture
def panel(bench: Bench, qtbot: Any) -> HandOutPanel:
    made = HandOutPanel(bench)
    qtbot.addWidget(made)
    made.show()
    return made


def test_the_preview_shows_words_and_marked_pictures(panel: HandOutPanel, bench: Bench, qtbot: Any) -> None:
    review = bench.review
    assert review is not None
    review.accept()
    panel.show_preview()
    assert panel.cancel.isVisible()
    qtbot.waitUntil(lambda: "Read this first" in panel.page.toPlainText(), timeout=30_000)
    text = panel.page.toPlainText()
    assert "Findings" in text
    assert "fissure, seen in blue light; accepted on" in text
    assert "Ada" not in text
    pictures = [
        panel.page.document().resource(QTextDocument.ResourceType.ImageResource, QUrl(f"picture:{n}"))
        for n in (1, 2)  # after the stone at a glance
    ]
    assert all(picture.width() == 300 for picture in pictures)
    # The girdle and the finding are drawn in the colours of the sheet (Okabe & Ito blue).
    blue = [
        (picture.pixelColor(x, y).red(), picture.pixelColor(x, y).blue())
        for picture in pictures[:1]
        for x in range(picture.width())
        for y in range(picture.height())
    ]
    assert any(red < 60 and b > 150 for red, b in blue)


def test_the_preview_shows_just_what_would_leave_the_house(
    panel: HandOutPanel, bench: Bench, qtbot: Any
) -> None:
    review = bench.review
    assert review is not None
    review.accept()
    panel.names.setChecked(True)
    panel.language.setCurrentText("Deutsch")
    panel.show_preview()
    qtbot.waitUntil(lambda: "Bitte zuerst lesen" in panel.page.toPlainText(), timeout=30_000)
    assert "anerkannt von Ada" in panel.page.toPlainText()


def test_it_is_written_and_opened(
    panel: HandOutPanel, qtbot: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: list[QUrl] = []

    def browser(url: QUrl) -> bool:
        opened.append(url)
        return True

    monkeypatch.setattr(QDesktopServices, "openUrl", browser)
    assert not panel.open.isEnabled()
    panel.pictures.setChecked(True)
    panel.pdf.setChecked(True)
    panel.write_to(tmp_path / "sheet.html")
    qtbot.waitUntil(lambda: panel.open.isEnabled(), timeout=30_000)
    assert "<title>Workshop record" in (tmp_path / "sheet.html").read_text(encoding="utf-8")
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF-")
    assert sorted(p.name for p in (tmp_path / "pictures").iterdir()) == [
        f"lid-3-as-received-{light}.{kind}" for light in ("blue", "white") for kind in ("png", "svg")
    ]
    panel.open.click()
    assert [url.toLocalFile() for url in opened] == [str(tmp_path / "sheet.html")]


def test_a_file_of_others_is_left_alone(
    panel: HandOutPanel, bench: Bench, qtbot: Any, tmp_path: Path
) -> None:
    said: list[str] = []
    bench.said.connect(said.append)
    there = tmp_path / "letter.html"
    there.write_text("<p>Dear customer")
    panel.write_to(there)
    qtbot.waitUntil(lambda: bool(said), timeout=30_000)
    assert "left alone" in said[0]
    assert there.read_text() == "<p>Dear customer"
    assert not panel.open.isEnabled()


def test_cancel_writes_nothing(panel: HandOutPanel, qtbot: Any, tmp_path: Path) -> None:
    panel.which.setCurrentText(ALL)
    panel.write_to(tmp_path / "sheet.html")
    panel.cancel.click()
    qtbot.waitUntil(lambda: not panel.cancel.isVisible(), timeout=30_000)
    assert not (tmp_path / "sheet.html").exists()


def test_only_signed_stones_go_on_a_sheet_of_signed_ones(panel: HandOutPanel) -> None:
    panel.which.setCurrentText(SIGNED)
    panel.which.activated.emit(1)
    assert panel.count.text() == "There is no such stone."
    assert not panel.write.isEnabled()


# The signed package


@pytest.fixture
def key_lies(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep the key of whoever runs the tests as it is."""
    file = tmp_path / "keys" / "workshop-key.pem"
    for module in (keys, workshop_key):
        monkeypatch.setattr(module, "key_file", lambda: file)
    return file


def test_a_package_is_previewed_written_and_opened(
    panel: HandOutPanel,
    bench: Bench,
    qtbot: Any,
    tmp_path: Path,
    key_lies: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    opened: list[QUrl] = []

    def program(url: QUrl) -> bool:
        opened.append(url)
        return True

    monkeypatch.setattr(QDesktopServices, "openUrl", program)
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_, **__: (str(tmp_path / "box"), ""))
    assert bench.review is not None
    bench.review.accept()
    assert not panel.originals.isVisible()
    panel.form.setCurrentText(PACKAGE)
    assert panel.originals.isVisible()
    assert not panel.pictures.isVisible()
    panel.pdf.setChecked(True)
    panel.language.setCurrentText("all of these")
    panel.show_preview()
    qtbot.waitUntil(lambda: "Read this first" in panel.page.toPlainText(), timeout=30_000)
    said = panel.page.toPlainText()
    assert "Names of those who did the work: Ada." in said
    assert "hand-out-de.pdf" in said
    assert "lid-3-as-received-white.png" in said
    panel.page.setSource(QUrl("#files"))  # the link behind the number of files
    assert panel.page.verticalScrollBar().value() > 0

    keys.workshop_key(key_lies)
    panel.write.click()
    assert panel.cancel.isVisible()
    qtbot.waitUntil(lambda: panel.open.isEnabled(), timeout=60_000)
    assert (panel.working.value(), panel.working.maximum()) == (2, 3)
    found = check_package(tmp_path / "box.zip", english())
    assert not found.problems
    panel.open.click()
    panel.folder.click()
    page, folder = (Path(url.toLocalFile()) for url in opened)
    assert grouped(found.evidence) in page.read_text(encoding="utf-8")
    assert folder == tmp_path


def test_the_page_for_checking_is_saved(
    panel: HandOutPanel, bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    to = tmp_path / "check.html"
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(to), ""))
    panel.form.setCurrentText(PACKAGE)
    panel.language.setCurrentText("Deutsch")
    panel.checking.click()
    assert '<html lang="de">' in to.read_text(encoding="utf-8")
    said: list[str] = []
    bench.said.connect(said.append)
    to.write_text("Dear customer")
    panel.checking.click()
    assert "left alone" in said[0]


def test_a_package_is_cancelled_and_nothing_is_ever_replaced(
    panel: HandOutPanel, bench: Bench, qtbot: Any, tmp_path: Path, key_lies: Path
) -> None:
    key = keys.workshop_key(key_lies)
    panel.form.setCurrentText(PACKAGE)
    panel.write_package_to(tmp_path / "new" / "box.zip", key)
    panel.cancel.click()
    qtbot.waitUntil(lambda: not panel.cancel.isVisible(), timeout=30_000)
    assert not list((tmp_path / "new").glob("*"))
    said: list[str] = []
    bench.said.connect(said.append)
    (tmp_path / "box.zip").write_text("another")
    panel.write_package_to(tmp_path / "box.zip", key)
    qtbot.waitUntil(lambda: bool(said), timeout=30_000)
    assert "already; choose another name" in said[0]
    assert (tmp_path / "box.zip").read_text() == "another"


def test_a_package_is_of_the_stones_of_one_object(panel: HandOutPanel, bench: Bench) -> None:
    other = bench.opened.add_object("Bracelet")
    bench.opened.add_stone(other, "link-1")
    bench.refresh()
    panel.which.setCurrentText(ALL)
    assert [stone.position for stone in panel.stones] == ["lid-3", "lid-4"]


def test_the_key_is_made_and_its_passphrase_asked_for(
    panel: HandOutPanel, bench: Bench, key_lies: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    said: list[str] = []
    bench.said.connect(said.append)
    shown: list[str] = []

    def answer(passphrase: str = "", *, accepted: bool = True) -> Any:
        def exec_(dialog: KeyDialog) -> QDialog.DialogCode:
            shown.append(dialog.says.text())
            dialog.passphrase.setText(passphrase)
            assert dialog.ok.isEnabled() == (not passphrase)
            dialog.again.setText(passphrase)
            assert dialog.ok.isEnabled()
            return QDialog.DialogCode.Accepted if accepted else QDialog.DialogCode.Rejected

        return exec_

    monkeypatch.setattr(KeyDialog, "exec", answer(accepted=False))
    assert asked_key(panel, bench) is None
    assert not key_lies.exists()
    monkeypatch.setattr(KeyDialog, "exec", answer("eight stones"))
    made = asked_key(panel, bench)
    assert made is not None
    assert "no key yet" in shown[-1]
    assert keys.is_locked(key_lies.read_bytes())

    monkeypatch.setattr(QInputDialog, "getText", lambda *_: ("nine", True))
    assert asked_key(panel, bench) is None
    assert "missing or wrong" in said[-1]
    monkeypatch.setattr(QInputDialog, "getText", lambda *_: ("", False))
    assert asked_key(panel, bench) is None
    monkeypatch.setattr(QInputDialog, "getText", lambda *_: ("eight stones", True))
    monkeypatch.setattr(KeyDialog, "exec", answer())
    show_key(panel, bench)
    assert made.fingerprint in shown[-1]
    assert said[-1] == "The key has no passphrase."
    assert not keys.is_locked(key_lies.read_bytes())
    key_lies.chmod(0o644)
    assert asked_key(panel, bench) is None
    assert "Others can read" in said[-1]
