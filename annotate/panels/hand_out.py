"""The hand-out for the buyer: looked at before it is written, written in a thread, opened in the browser."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from qtpy.QtCore import QUrl
from qtpy.QtGui import QDesktopServices, QImage, QPainter, QPalette, QTextDocument, QTextOption
from qtpy.QtSvg import QSvgRenderer
from qtpy.QtWidgets import (
    QCheckBox,
    QComboBox,
    QFileDialog,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QProgressBar,
    QPushButton,
    QTextBrowser,
    QVBoxLayout,
    QWidget,
)

from setstone.annotate.bench.bench import Bench
from setstone.annotate.handout import gather, render, write_handout
from setstone.annotate.panels.looks import words
from setstone.annotate.panels.working import Job, Tell
from setstone.annotate.preview import Preview, PreviewPicture, preview_of
from setstone.annotate.texts import LANGUAGES, texts_in
from setstone.record.entries import StoneEntry
from setstone.record.progress import Stage

#: What goes on the sheet.
CHOSEN, SIGNED, ALL = "this stone", "all signed stones", "all stones"
#: Width of a picture in the preview, in pixels: two fit beside each other where the panel is wide.
_WIDTH = 300
_STYLE = "th { text-align: left; } td, th { padding: 2px 8px 2px 0; } dt { font-weight: bold; }"


class HandOutPanel(QWidget):
    """Shows the hand-out, writes it and opens it.

    Parameters
    ----------
    bench : Bench
    """

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench = bench
        self._job: Job | None = None
        self.written: Path | None = None
        self.which = QComboBox()
        self.which.addItems((CHOSEN, SIGNED, ALL))
        self.which.setToolTip("Which stones stand on the sheet.")
        self.which.setAccessibleName("Stones on the sheet")
        self.which.activated.connect(self._show_count)
        self.preview = QPushButton("Preview")
        self.preview.setToolTip("Show the sheet below as it would be written now.")
        self.preview.clicked.connect(self.show_preview)
        self.write = QPushButton("Write …")
        self.write.setToolTip("Write the sheet as one file that opens in any browser, without network.")
        self.write.clicked.connect(self._choose_file)
        self.pictures = QCheckBox("annotated pictures beside it")
        self.pictures.setToolTip(
            "Write the photographs with their marks too, as PNG and SVG, into a folder 'pictures'."
        )
        self.pdf = QCheckBox("PDF for paper beside it")
        self.pdf.setToolTip("Write the sheet as PDF too, for print and for archives (PDF/A).")
        self.paper = QComboBox()
        self.paper.addItem("A4", "a4")
        self.paper.addItem("Letter", "letter")
        self.paper.setToolTip("Paper of the PDF.")
        self.paper.setAccessibleName("Paper of the PDF")
        self.language = QComboBox()
        for code, name in LANGUAGES.items():
            self.language.addItem(name, code)
        self.language.setToolTip("The language of the sheet; what people typed stays as they typed it.")
        self.language.setAccessibleName("Language of the sheet")
        self.names = QCheckBox("names of those who did the work")
        self.names.setToolTip(
            "Without this the sheet names no person who examined, read or worked on a stone."
        )
        self.open = QPushButton("Open in the browser")
        self.open.setToolTip("Open the sheet that was written last.")
        self.open.clicked.connect(self._open)
        self.count = words(small=True)
        self.working = QProgressBar()
        self.cancel = QPushButton("Cancel")
        self.cancel.setToolTip("Stop after the stone being drawn; a sheet written before stays as it is.")
        self.cancel.clicked.connect(self._cancel)
        self.page = QTextBrowser()
        self.page.setAccessibleName("Preview of the hand-out")
        self.page.setWordWrapMode(QTextOption.WrapMode.WordWrap)  # tables rather scroll than tear words
        self.says = words(small=True)
        self.says.hide()
        self._lay_out()
        for signal in (bench.book_changed, bench.stones_changed, bench.chosen):
            signal.connect(self._show_count)
        bench.book_changed.connect(self._forget)
        self._forget()
        self._allow()

    def _lay_out(self) -> None:
        top = QGridLayout()
        top.addWidget(QLabel("Sheet on"), 0, 0)
        top.addWidget(self.which, 0, 1)
        top.addWidget(QLabel("Language"), 1, 0)
        top.addWidget(self.language, 1, 1)
        top.addWidget(self.names, 2, 0, 1, 2)
        top.addWidget(self.pictures, 3, 0, 1, 2)
        top.addWidget(self.pdf, 4, 0)
        top.addWidget(self.paper, 4, 1)
        top.addWidget(self.preview, 5, 0)
        top.addWidget(self.write, 5, 1)
        top.setColumnStretch(1, 1)
        progress = QHBoxLayout()
        progress.addWidget(self.working, 1)
        progress.addWidget(self.cancel)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(6, 6, 6, 6)
        layout.addLayout(top)
        layout.addWidget(self.count)
        layout.addLayout(progress)
        layout.addWidget(self.page, 1)
        layout.addWidget(self.says)
        layout.addWidget(self.open)

    # What is shown

    @property
    def stones(self) -> list[StoneEntry]:
        """Stones that go on the sheet."""
        which = self.which.currentText()
        if which == CHOSEN:
            return [] if self._bench.stone is None else [self._bench.stone]
        there = self._bench.progress
        return [p.stone for p in there if which == ALL or p.stage is Stage.SIGNED]

    def _show_count(self, *_: object) -> None:
        stones = self.stones
        names = ", ".join(s.position for s in stones[:12]) + (" …" if len(stones) > 12 else "")
        self.count.setText(names or "There is no such stone.")
        self._allow()

    def _allow(self) -> None:
        free = self._job is None
        there = free and self._bench.book is not None and bool(self.stones)
        self.preview.setEnabled(there)
        self.write.setEnabled(there)
        self.open.setEnabled(self.written is not None)
        self.working.setVisible(not free)
        self.cancel.setVisible(not free)

    def _forget(self) -> None:
        self.written = None
        self._say("")
        self.page.setPlainText("Preview shows here what the buyer will read.")
        self._show_count()

    # Work

    def show_preview(self) -> None:
        """Show the sheet as it would be written now."""
        book, stones = self._bench.opened, self.stones
        texts, names = texts_in(self.language.currentData()), self.names.isChecked()

        def work(tell: Tell) -> tuple[Preview, list[QImage]]:
            sheets = gather(book, stones, texts, names=names, progress=tell)
            page = render(sheets, texts, made=datetime.now(UTC), workshop=book.workshop)
            preview = preview_of(page)
            return preview, [_drawn(p) for p in preview.pictures]

        self._start("Drawing the preview", work, len(stones), self._show_page)

    def write_to(self, path: Path) -> None:
        """Write the sheet."""
        book, stones, with_pictures = self._bench.opened, self.stones, self.pictures.isChecked()
        language, names = self.language.currentData(), self.names.isChecked()
        with_pdf, paper = self.pdf.isChecked(), self.paper.currentData()

        def work(tell: Tell) -> Path:
            written = write_handout(book, stones, path, language=language, names=names, progress=tell)
            if with_pdf:
                from setstone.annotate.pdf import write_pdf

                beside = path.with_suffix(".pdf")
                write_pdf(book, stones, beside, paper=paper, language=language, names=names, progress=tell)
            if with_pictures:
                from setstone.annotate.pictures import write_pictures

                for stone in stones:
                    tell(f"pictures of {stone.position}")
                    for entry in book.latest_examinations(stone):
                        write_pictures(entry, stone, book.photographs(stone), path.parent / "pictures")
            return written

        self._start("Writing the hand-out", work, len(stones) * (1 + with_pdf + with_pictures), self._written)

    def _start(
        self, title: str, work: Callable[[Tell], object], steps: int, done: Callable[..., None]
    ) -> None:
        if self._job is not None:
            return
        job = Job(title, work, bench=self._bench, steps=steps)
        self.working.setRange(0, steps)
        self.working.setValue(0)
        self.working.setAccessibleName(title)
        job.told.connect(lambda _step: self.working.setValue(self.working.value() + 1))
        job.done.connect(done)
        job.failed.connect(self._bench.said.emit)
        job.failed.connect(self._say)
        job.ended.connect(self._ended)
        self._job = job
        self._say("")
        self._allow()
        job.start()

    def _ended(self) -> None:
        self._job = None
        self._allow()

    def _cancel(self) -> None:
        if self._job is not None:
            self._job.cancel()

    def _show_page(self, made: tuple[Preview, list[QImage]]) -> None:
        preview, images = made
        document = self.page.document()
        document.clear()
        link = self.page.palette().color(QPalette.ColorRole.Text).name()
        document.setDefaultStyleSheet(f"{_STYLE} a {{ color: {link}; }}")
        for number, image in enumerate(images):
            document.addResource(QTextDocument.ResourceType.ImageResource, QUrl(f"picture:{number}"), image)
        self.page.setHtml(preview.html)

    def _say(self, text: str) -> None:
        self.says.setText(text)
        self.says.setVisible(bool(text))

    def _choose_file(self) -> None:
        book = self._bench.book
        if book is None:
            return
        offered = self.written or book.folder / "hand-out.html"
        name, _ = QFileDialog.getSaveFileName(
            self, "Write the hand-out", str(offered), "Pages for a browser (*.html)"
        )
        if name:
            path = Path(name)
            self.write_to(path if path.suffix else path.with_suffix(".html"))

    def _written(self, path: Path) -> None:
        self.written = path
        self._say(f"Written: {path}")
        self.open.setFocus()

    def _open(self) -> None:
        if self.written is not None and not QDesktopServices.openUrl(QUrl.fromLocalFile(str(self.written))):
            self._bench.said.emit(f"No browser could be started; open '{self.written}' by hand.")


def _drawn(picture: PreviewPicture) -> QImage:
    """Draw the marks over a small copy of a photograph; may run in a thread."""
    image = QImage.fromData(picture.jpeg)
    image = image.scaledToWidth(min(_WIDTH, image.width())).convertToFormat(QImage.Format.Format_RGB32)
    if picture.svg:
        painter = QPainter(image)
        QSvgRenderer(picture.svg.encode()).render(painter)
        painter.end()
    return image
