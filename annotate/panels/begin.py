"""Where to begin: open a book, or start a new one."""

from pathlib import Path

from qtpy.QtWidgets import QFileDialog, QFormLayout, QLabel, QLineEdit, QPushButton, QVBoxLayout, QWidget

from setstone.annotate.bench.bench import Bench
from setstone.annotate.panels.working import attempt

_STEPS = """<p>A <b>book</b> is a folder that keeps the photographs and all you find out.</p>
<ol><li>Open a book, or start a new one.</li><li>Add a stone for each position of the object.</li>
<li>Drop its photographs in white and blue light.</li><li>Examine it.</li>
<li>Judge each candidate: G accepts, Q rejects.</li><li>Enter readings, sign, write the hand-out.</li></ol>"""


class BeginPanel(QWidget):
    """Opens a book.

    Parameters
    ----------
    bench : Bench
    """

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench = bench
        steps = QLabel(_STEPS)
        steps.setWordWrap(True)
        open_book = QPushButton("Open a book …")
        open_book.setToolTip("Choose the folder of a book.")
        open_book.clicked.connect(self._open)
        start = QPushButton("Start a new book …")
        start.setToolTip("Choose a place and a name; a folder of that name is made.")
        start.clicked.connect(self._start)
        self.workshop = QLineEdit()
        self.workshop.setPlaceholderText("as shown on the hand-out")
        self.workshop.setToolTip("Name of the workshop, for a new book; it is shown on the hand-out.")
        form = QFormLayout()
        form.addRow("Workshop", self.workshop)
        layout = QVBoxLayout(self)
        layout.addWidget(steps)
        layout.addWidget(open_book)
        layout.addLayout(form)
        layout.addWidget(start)
        layout.addStretch()

    def _open(self) -> None:
        folder = QFileDialog.getExistingDirectory(self, "Folder of the book")
        if folder:
            attempt(self._bench, lambda: self._bench.open(Path(folder)))

    def _start(self) -> None:
        folder, _ = QFileDialog.getSaveFileName(self, "Name of the new book")
        if folder:
            attempt(self._bench, lambda: self._bench.start(Path(folder), workshop=self.workshop.text()))
