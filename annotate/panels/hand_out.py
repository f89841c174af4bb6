"""What the buyer gets, a page or a signed package: looked at before it is written, written in a thread, opened."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from qtpy.QtCore import QTemporaryDir, QUrl
from qtpy.QtGui import QDesktopServices, QImage, QPainter, QTextDocument, QTextOption
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
from setstone.annotate.files import free_path, safe_stem
from setstone.annotate.handout import gather, render, write_handout
from setstone.annotate.package.contents import contents_html, contents_of
from setstone.annotate.package.key import WorkshopKey
from setstone.annotate.package.layout import HANDOUT
from setstone.annotate.package.opening import copied_out
from setstone.annotate.package.page import write_page
from setstone.annotate.package.writing import Leaving, write_package
from setstone.annotate.panels.looks import show_page, words
from setstone.annotate.panels.working import Job, Tell, attempt, is_part
from setstone.annotate.panels.workshop_key import asked_key, show_key
from setstone.annotate.preview import Preview, PreviewPicture, preview_of
from setstone.annotate.texts import LANGUAGES, texts_in
from setstone.record.entries import StoneEntry
from setstone.record.progress import Stage

#: What the buyer gets.
PAGE, PACKAGE = "a page", "a signed package"
#: Of which stones.
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
        self._unpacked = QTemporaryDir()
        self.form = QComboBox()
        self.form.addItems((PAGE, PACKAGE))
        self.form.setToolTip(
            "A page is one file for any browser. A package holds it with all it rests on, signed, so that the buyer can "
            "check that nothing was altered."
        )
        self.form.setAccessibleName("What the buyer gets")
        self.form.currentIndexChanged.connect(self._show_form)
        self.which = QComboBox()
        self.which.addItems((CHOSEN, SIGNED, ALL))
        self.which.setToolTip("Which stones of this object stand on the page.")
        self.which.setAccessibleName("Stones on the page")
        self.which.currentIndexChanged.connect(self._show_count)
        self.language = QComboBox()
        for code, name in LANGUAGES.items():
            self.language.addItem(name, (code,))
        self.language.addItem("all of these", tuple(LANGUAGES))
        self.language.setToolTip("The language of the page; what people typed stays as they typed it.")
        self.language.setAccessibleName("Language of the page")
        self.names = QCheckBox("names of those who did the work")
        self.names.setToolTip("Without this no person who examined, read or worked on a stone is named.")
        self.originals = QCheckBox("photographs with all the camera noted")
        self.originals.setToolTip(
            "Without this there are copies: the same pixels, but no place, serial number, owner or comment."
        )
        self.pictures = QCheckBox("annotated pictures beside it")
        self.pictures.setToolTip(
            "Write the photographs with their marks too, as PNG and SVG, into a folder 'pictures'."
        )
        self.pdf = QCheckBox("PDF for paper")
        self.pdf.setToolTip("Write it as PDF too, for print and for archives (PDF/A).")
        self.paper = QComboBox()
        self.paper.addItem("A4", "a4")
        self.paper.addItem("Letter", "letter")
        self.paper.setToolTip("Paper of the PDF.")
        self.paper.setAccessibleName("Paper of the PDF")
        self.key = QPushButton("Key …")
        self.key.setToolTip("Show the fingerprint of the workshop's key, and change its passphrase.")
        self.key.clicked.connect(lambda: show_key(self, bench))
        self.preview = QPushButton("Preview")
        self.preview.setToolTip("Show below what would leave the house now.")
        self.preview.clicked.connect(self.show_preview)
        self.write = QPushButton("Write …")
        self.write.clicked.connect(self._choose_file)
        self.open = QPushButton("Open in the browser")
        self.open.setToolTip("Open the page that was written last.")
        self.open.clicked.connect(lambda: attempt(bench, self._open))
        self.folder = QPushButton("Show the folder")
        self.folder.setToolTip("Open the folder that holds what was written last.")
        self.folder.clicked.connect(self._open_folder)
        self.count = words(small=True)
        self.working = QProgressBar()
        self.cancel = QPushButton("Cancel")
        self.cancel.setToolTip("Stop after the picture being drawn; what was written before stays as it is.")
        self.cancel.clicked.connect(self._cancel)
        self.page = QTextBrowser()
        self.page.setAccessibleName("Preview of the hand-out")
        self.page.setWordWrapMode(QTextOption.WrapMode.WordWrap)  # tables rather scroll than tear words
        self.says = words(small=True)
        self.says.hide()
        self.checking = QPushButton("Page for checking …")
        self.checking.setToolTip(
            "Save the page on which buyers check packages in their own browser, without network; put it on your site, or "
            "send it by another way than the package."
        )
        self.checking.clicked.connect(lambda: attempt(bench, self._save_checking))
        self._lay_out()
        for signal in (bench.book_changed, bench.stones_changed, bench.chosen):
            signal.connect(self._show_count)
        bench.book_changed.connect(self._forget)
        self._forget()
        self._show_form()

    def _lay_out(self) -> None:
        top = QGridLayout()
        for row, (name, choice) in enumerate(
            (("Give out", self.form), ("of", self.which), ("Language", self.language))
        ):
            label = QLabel(name)
            label.setBuddy(choice)
            top.addWidget(label, row, 0)
            top.addWidget(choice, row, 1)
        for row, box in enumerate((self.names, self.originals, self.pictures), start=3):
            top.addWidget(box, row, 0, 1, 2)
        top.addWidget(self.pdf, 6, 0)
        top.addWidget(self.paper, 6, 1)
        top.addWidget(self.preview, 7, 0)
        writing = QHBoxLayout()
        writing.addWidget(self.write, 1)
        writing.addWidget(self.key)
        top.addLayout(writing, 7, 1)
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
        opening = QHBoxLayout()
        opening.addWidget(self.open, 1)
        opening.addWidget(self.folder, 1)
        layout.addLayout(opening)
        layout.addWidget(self.checking)

    # What is shown

    @property
    def stones(self) -> list[StoneEntry]:
        """Stones that go on the page: the chosen one, or those of its object."""
        which, chosen = self.which.currentText(), self._bench.stone
        if chosen is None or which == CHOSEN:
            return [] if chosen is None else [chosen]
        there = [p for p in self._bench.progress if p.stone.object_id == chosen.object_id]
        return [p.stone for p in there if which == ALL or p.stage is Stage.SIGNED]

    def _show_form(self, *_: object) -> None:
        packed = self._is_package
        self.originals.setVisible(packed)
        self.key.setVisible(packed)
        self.checking.setVisible(packed)
        self.pictures.setVisible(not packed)
        self.write.setText("Sign and write …" if packed else "Write …")
        self.write.setToolTip(
            "Write the page with photographs, findings and readings as one .zip, signed with the workshop's key."
            if packed
            else "Write the page as one file that opens in any browser, without network."
        )
        self._allow()

    @property
    def _is_package(self) -> bool:
        return self.form.currentText() == PACKAGE

    @property
    def _paper(self) -> str | None:
        return self.paper.currentData() if self.pdf.isChecked() else None

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
        self.folder.setEnabled(self.written is not None)
        self.working.setVisible(not free)
        self.cancel.setVisible(not free)

    def _forget(self) -> None:
        self.written = None
        self._say("")
        self.page.setPlainText("Preview shows here what would leave the house.")
        self._show_count()

    # Work

    def show_preview(self) -> None:
        """Show what would leave the house now."""
        book, stones, languages = self._bench.opened, self.stones, self.language.currentData()
        texts, packed, pdf = texts_in(languages[0]), self._is_package, self.pdf.isChecked()
        leaving, now = self._leaving, datetime.now(UTC)

        def work(tell: Tell) -> tuple[tuple[str, str], Preview, list[QImage]]:
            names = packed or leaving.names  # of a package it is told who is taken out
            sheets = gather(book, stones, texts, names=names, progress=tell)
            if packed:
                contents = contents_of(
                    sheets, texts, leaving, languages=languages, pdf=pdf, workshop=book.workshop, made=now
                )
                around, page = contents_html(contents), contents.page
            else:
                around, page = ("", ""), render(sheets, texts, made=now, workshop=book.workshop)
            preview = preview_of(page)
            return around, preview, [_drawn(p) for p in preview.pictures]

        self._start("Drawing the preview", work, len(stones), self._show_page)

    @property
    def _leaving(self) -> Leaving:
        return Leaving(names=self.names.isChecked(), originals=self.originals.isChecked())

    def write_to(self, path: Path) -> None:
        """Write the page, one file a language."""
        book, stones, with_pictures = self._bench.opened, self.stones, self.pictures.isChecked()
        languages, names, paper = self.language.currentData(), self.names.isChecked(), self._paper

        def work(tell: Tell) -> Path:
            for language in languages:
                to = path if language == languages[0] else path.with_stem(f"{path.stem}-{language}")
                write_handout(book, stones, to, language=language, names=names, progress=tell)
                if paper is not None:
                    from setstone.annotate.pdf import write_pdf

                    beside = to.with_suffix(".pdf")
                    write_pdf(
                        book, stones, beside, paper=paper, language=language, names=names, progress=tell
                    )
            if with_pictures:
                from setstone.annotate.pictures import write_pictures

                for stone in stones:
                    tell(f"pictures of {stone.position}")
                    for entry in book.latest_examinations(stone):
                        write_pictures(entry, stone, book.photographs(stone), path.parent / "pictures")
            return path

        steps = len(languages) * (1 + self.pdf.isChecked()) + with_pictures
        self._start("Writing the hand-out", work, steps * len(stones), self._written)

    def write_package_to(self, path: Path, key: WorkshopKey) -> None:
        """Write the package and sign it."""
        book, stones, leaving = self._bench.opened, self.stones, self._leaving
        languages, paper = self.language.currentData(), self._paper

        def work(tell: Tell) -> Path:
            return write_package(
                book, stones, path, key, leaving=leaving, languages=languages, paper=paper, progress=tell
            )

        self._start("Writing the package", work, 2 * len(stones), self._written)

    def _start(
        self, title: str, work: Callable[[Tell], object], steps: int, done: Callable[..., None]
    ) -> None:
        if self._job is not None:
            return
        job = Job(title, work, bench=self._bench, steps=steps)
        self.working.setRange(
            0, steps + 1
        )  # a step that was told has begun, and is done when the next one is told
        self.working.setValue(0)
        self.working.setAccessibleName(title)
        job.told.connect(self._tell)
        job.done.connect(done)
        job.failed.connect(self._bench.said.emit)
        job.failed.connect(self._say)
        job.ended.connect(self._ended)
        self._job = job
        self._say("")
        self._allow()
        job.start()

    def _tell(self, step: str) -> None:
        self.working.setValue(self.working.value() + (not is_part(step)))

    def _ended(self) -> None:
        self._job = None
        self._allow()

    def _cancel(self) -> None:
        if self._job is not None:
            self._job.cancel()

    def _show_page(self, made: tuple[tuple[str, str], Preview, list[QImage]]) -> None:
        (before, behind), preview, images = made
        document = self.page.document()
        document.clear()
        for number, image in enumerate(images):
            document.addResource(QTextDocument.ResourceType.ImageResource, QUrl(f"picture:{number}"), image)
        show_page(self.page, before + preview.html + behind, _STYLE)

    def _say(self, text: str) -> None:
        self.says.setText(text)
        self.says.setVisible(bool(text))

    def _choose_file(self) -> None:
        book, stones = self._bench.book, self.stones
        if book is None or not stones:
            return
        if self._is_package:
            # Nothing is ever written over a package, so nobody is asked whether it may be.
            name, _ = QFileDialog.getSaveFileName(
                self, "Write the signed package", str(free_path(book.folder / f"{safe_stem(stones[0].object_name)}.zip")),
                "Packages (*.zip)", options=QFileDialog.Option.DontConfirmOverwrite,
            )  # fmt: skip
            key = asked_key(self, self._bench) if name else None
            if key is not None:
                self.write_package_to(Path(name if name.lower().endswith(".zip") else f"{name}.zip"), key)
            return
        offered = book.folder / "hand-out.html"
        name, _ = QFileDialog.getSaveFileName(
            self, "Write the hand-out", str(offered), "Pages for a browser (*.html)"
        )
        if name:
            path = Path(name)
            self.write_to(path if path.suffix else path.with_suffix(".html"))

    def _save_checking(self) -> None:
        offered = str(Path.home() / "check-package.html")
        name, _ = QFileDialog.getSaveFileName(self, "Save the page", offered, "Pages for a browser (*.html)")
        if name:
            self._say(f"Written: {write_page(Path(name), self.language.currentData()[0])}")

    def _written(self, path: Path) -> None:
        self.written = path
        self._say(f"Written: {path}")
        self.open.setFocus()

    def _open(self) -> None:
        if self.written is None:
            return
        page = self.written
        if page.suffix == ".zip":
            page = copied_out(page, HANDOUT, Path(self._unpacked.path()))
        if not QDesktopServices.openUrl(QUrl.fromLocalFile(str(page))):
            self._bench.said.emit(f"No browser could be started; open '{page}' by hand.")

    def _open_folder(self) -> None:
        if self.written is not None and not QDesktopServices.openUrl(
            QUrl.fromLocalFile(str(self.written.parent))
        ):
            self._bench.said.emit(f"The folder could not be opened; it is '{self.written.parent}'.")


def _drawn(picture: PreviewPicture) -> QImage:
    """Draw the marks over a small copy of a photograph; may run in a thread."""
    image = QImage.fromData(picture.jpeg)
    image = image.scaledToWidth(min(_WIDTH, image.width())).convertToFormat(QImage.Format.Format_RGB32)
    if picture.svg:
        painter = QPainter(image)
        QSvgRenderer(picture.svg.encode()).render(painter)
        painter.end()
    return image
