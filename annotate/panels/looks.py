"""How things look in all panels: signs of state, cautions, pictures. Sizes follow the font of the system."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from qtpy.QtCore import QPointF, QRectF, QStringListModel, Qt
from qtpy.QtGui import QColor, QFontMetricsF, QIcon, QImage, QPainter, QPainterPath, QPalette, QPen, QPixmap
from qtpy.QtWidgets import (
    QCompleter,
    QFileDialog,
    QFrame,
    QLabel,
    QLineEdit,
    QScrollArea,
    QTextBrowser,
    QWidget,
)

from setstone.record.progress import Stage

# Colours of Okabe & Ito, "Color Universal Design" (2008), that stand out on dark and on light ground; the shape
# and the word beside it say the same.
_COLOURS = {
    Stage.NO_PHOTOGRAPH: "#999999",
    Stage.TO_EXAMINE: "#56b4e9",
    Stage.TO_REVIEW: "#e69f00",
    Stage.REVIEWED: "#0072b2",
    Stage.SIGNED: "#009e73",
}
#: Share of the disc that is filled.
_FILLED = {
    Stage.NO_PHOTOGRAPH: 0.0,
    Stage.TO_EXAMINE: 0.0,
    Stage.TO_REVIEW: 0.5,
    Stage.REVIEWED: 1.0,
    Stage.SIGNED: 1.0,
}

#: Where the keyboard is: a frame that stands out 3 to 1 on napari's dark and light ground (WCAG 2.2, 1.4.11, 2.4.7).
FOCUS = (
    ", ".join(
        f"{kind}:focus"
        for kind in (
            "QPushButton",
            "QToolButton",
            "QLineEdit",
            "QComboBox",
            "QCheckBox",
            "QSlider",
            "QAbstractItemView",
            "QTextBrowser",
        )
    )
    + " { border: 1px solid #2a7fbf; }"
)


def line_height(widget: QWidget) -> int:
    """Height of a line of text, in pixels of the screen: the unit of everything that scales with the font."""
    return round(QFontMetricsF(widget.font()).height())


def stage_icon(stage: Stage, side: int) -> QIcon:
    """Draw the sign of a state: dotted ring, ring, half disc, disc, disc with a tick."""
    ratio = 2
    picture = QPixmap(side * ratio, side * ratio)
    picture.setDevicePixelRatio(ratio)
    picture.fill(Qt.GlobalColor.transparent)
    painter = QPainter(picture)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    colour = QColor(_COLOURS[stage])
    pen = QPen(colour, side / 9)
    if stage is Stage.NO_PHOTOGRAPH:
        pen.setDashPattern([1.2, 1.6])
    painter.setPen(pen)
    ring = QRectF(side * 0.14, side * 0.14, side * 0.72, side * 0.72)
    painter.drawEllipse(ring)
    if _FILLED[stage]:
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(colour)
        painter.drawPie(ring, 90 * 16, round(_FILLED[stage] * 360 * 16))
    if stage is Stage.SIGNED:
        tick = QPainterPath(QPointF(side * 0.3, side * 0.52))
        tick.lineTo(side * 0.45, side * 0.67)
        tick.lineTo(side * 0.71, side * 0.36)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(QColor("white"), side / 9, Qt.PenStyle.SolidLine, Qt.PenCapStyle.RoundCap))
        painter.drawPath(tick)
    painter.end()
    return icon_of(picture)


def icon_of(picture: QPixmap) -> QIcon:
    """Make an icon that keeps its colours where its row is chosen."""
    icon = QIcon(picture)
    icon.addPixmap(picture, QIcon.Mode.Selected)
    return icon


def pixmap(image: NDArray[np.uint8]) -> QPixmap:
    """Make a pixmap of an (H, W, 3) uint8 array, sRGB-encoded."""
    image = np.ascontiguousarray(image)
    height, width = image.shape[:2]
    return QPixmap.fromImage(QImage(image.data, width, height, 3 * width, QImage.Format.Format_RGB888).copy())


def square(picture: QPixmap, side: int) -> QPixmap:
    """Cut the middle out of a picture and bring it to a size, in pixels of the screen."""
    least = min(picture.width(), picture.height())
    cut = picture.copy((picture.width() - least) // 2, (picture.height() - least) // 2, least, least)
    return cut.scaled(side, side, mode=Qt.TransformationMode.SmoothTransformation)


def words(text: str = "", *, small: bool = False) -> QLabel:
    """Plain text that wraps and can be copied."""
    label = QLabel(text)
    label.setTextFormat(Qt.TextFormat.PlainText)
    label.setWordWrap(True)
    label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    if small:
        font = label.font()
        font.setPointSizeF(font.pointSizeF() * 0.9)
        label.setFont(font)
    return label


def title() -> QLabel:
    """Plain text in bold: whose panel this is."""
    label = words()
    font = label.font()
    font.setBold(True)
    label.setFont(font)
    return label


def scrolls(area: QScrollArea) -> None:
    """Let an area scroll up and down only, without a frame."""
    area.setWidgetResizable(True)
    area.setFrameShape(QFrame.Shape.NoFrame)
    area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)


def show_page(page: QTextBrowser, html: str, style: str = "") -> None:
    """Show a page; its links have the colour of its text, for Qt's blue cannot be read on dark ground."""
    link = page.palette().color(QPalette.ColorRole.Text).name()
    page.document().setDefaultStyleSheet(f"{style} a {{ color: {link}; }}")
    page.setHtml(html)


def offer(edit: QLineEdit, texts: Sequence[str]) -> None:
    """Offer texts while somebody types, wherever they hold what is typed; any other may be typed."""
    completer = edit.completer()
    if completer is not None:  # kept: it may be at work, and ends the program where it is taken from it
        offered = completer.model()
        if isinstance(offered, QStringListModel) and offered.stringList() != [*texts]:
            offered.setStringList([*texts])
        return
    completer = QCompleter(edit)
    completer.setModel(QStringListModel([*texts], completer))
    completer.setCaseSensitivity(Qt.CaseSensitivity.CaseInsensitive)
    completer.setFilterMode(Qt.MatchFlag.MatchContains)
    edit.setCompleter(completer)


def caution(text: str = "") -> QLabel:
    """Text that warns: a sign before it, a line beside it."""
    label = words(text)
    label.setObjectName("caution")
    label.setStyleSheet("#caution { border-left: 3px solid #e69f00; padding: 2px 2px 2px 6px; }")
    label.setAccessibleName("Caution")
    return label


def choose_folder(parent: QWidget, title: str, start: Path) -> Path | None:
    """Ask for a folder that exists."""
    chosen = QFileDialog.getExistingDirectory(parent, title, str(_nearest(start)))
    return Path(chosen) if chosen else None


def _nearest(folder: Path) -> Path:
    """The folder, or the first one above it that exists."""
    return next((p for p in (folder, *folder.parents) if p.is_dir()), Path.home())
