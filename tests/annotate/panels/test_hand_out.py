"""The panel of the hand-out."""

from pathlib import Path
from typing import Any

import pytest

pytest.importorskip(
    "napari.qt", reason="the window is not installed (pip install setstone[dev-gui])", exc_type=ImportError
)

from qtpy.QtCore import QUrl  # noqa: TID251
from qtpy.QtGui import QDesktopServices, QTextDocument  # noqa: TID251

from setstone.annotate.bench.bench import Bench
from setstone.annotate.panels.hand_out import ALL, SIGNED, HandOutPanel


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
    assert "angenommen von Ada" in panel.page.toPlainText()


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
