"""Settings, and the dialog for a new book."""

from dataclasses import replace
from pathlib import Path

from qtpy.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QFileDialog,
    QFormLayout,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from setstone.annotate.bench.settings import keep_settings, read_settings
from setstone.annotate.files import free_path, safe_stem
from setstone.annotate.panels.looks import choose_folder, line_height, words
from setstone.capture.watching import NAMED


class FolderEdit(QWidget):
    """A folder as text, with a button to choose it.

    Parameters
    ----------
    tip : str
        What the folder is for.
    """

    def __init__(self, tip: str) -> None:
        super().__init__()
        self.edit = QLineEdit()
        self.edit.setToolTip(tip)
        self.edit.setMinimumWidth(24 * line_height(self.edit))
        choose = QPushButton("Choose …")
        choose.setToolTip("Choose the folder from a list.")
        choose.setAutoDefault(False)
        choose.clicked.connect(self._choose)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self.edit, 1)
        row.addWidget(choose)
        self.setFocusProxy(self.edit)

    def _choose(self) -> None:
        chosen = choose_folder(self, "Choose a folder", Path(self.edit.text() or "."))
        if chosen is not None:
            self.edit.setText(str(chosen))


class SettingsDialog(QDialog):
    """Asks for what a person sets once; none of it is needed to begin."""

    def __init__(self, parent: QWidget | None = None, file: Path | None = None) -> None:
        super().__init__(parent)
        self._file = file
        kept = read_settings(file)
        self.setWindowTitle("Settings")
        self.operator = QLineEdit(kept.operator)
        self.operator.setPlaceholderText(kept.by)
        self.operator.setToolTip(
            "Stands beside everything you decide, enter or sign. Empty: your login name."
        )
        self.books = FolderEdit("Where new books are made.")
        self.books.edit.setText(kept.books_folder)
        self.books.edit.setPlaceholderText(str(kept.new_books))
        self.camera = FolderEdit(
            "Where the camera's program saves its pictures; it can be watched for new ones."
        )
        self.camera.edit.setText(kept.camera_folder)
        form = QFormLayout()
        form.addRow("&Your name", self.operator)
        form.addRow("Folder for new &books", self.books)
        form.addRow("Folder of the &camera", self.camera)
        _finish(self, form, "Keep", "They are kept for you on this computer.")

    def accept(self) -> None:
        """Keep the settings."""
        kept = read_settings(self._file)
        settings = replace(
            kept,
            operator=self.operator.text().strip(),
            books_folder=self.books.edit.text().strip(),
            camera_folder=self.camera.edit.text().strip(),
        )
        keep_settings(settings, self._file)
        super().accept()


class NewBookDialog(QDialog):
    """Asks for what a new book needs: an object, and a folder offered for it."""

    def __init__(self, by: str, folder: Path, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Start a new book")
        self._folder = folder
        self._offered = ""
        self.name = QLineEdit()
        self.name.setPlaceholderText("for example: Presentation snuff box")
        self.name.setToolTip("What the antique piece is called; you can change it later.")
        self.folder = FolderEdit("The book is kept here: photographs, figures and decisions in one folder.")
        self.workshop = QLineEdit()
        self.workshop.setPlaceholderText("shown on the hand-out; may stay empty")
        self.workshop.setToolTip("Whose book it is. It stands on the hand-out for the buyer.")
        self.by = QLineEdit(by)
        self.by.setToolTip("Stands beside everything you decide, enter or sign.")
        self.name.textChanged.connect(self._offer)
        self.folder.edit.textChanged.connect(self._allow)
        form = QFormLayout()
        form.addRow("&Object", self.name)
        form.addRow("&Folder", self.folder)
        form.addRow("&Workshop", self.workshop)
        form.addRow("&Your name", self.by)
        box = _finish(
            self,
            form,
            "Start the book",
            "A book is a folder that keeps the photographs of an object unaltered, with all that is measured and "
            "decided. It can hold several objects.",
        )
        self._start = box.button(QDialogButtonBox.StandardButton.Ok)
        self._offer("")

    @property
    def path(self) -> Path:
        """The folder to make."""
        return Path(self.folder.edit.text().strip()).expanduser()

    def _offer(self, name: str) -> None:
        """Offer a folder named like the object, unless another one was typed."""
        if self.folder.edit.text() == self._offered:
            self._offered = str(free_path(self._folder / safe_stem(name))) if name.strip() else ""
            self.folder.edit.setText(self._offered)
        self._allow()

    def _allow(self) -> None:
        self._start.setEnabled(bool(self.name.text().strip() and self.folder.edit.text().strip()))


def ask_for_pictures(parent: QWidget) -> list[Path]:
    """Ask for files of photographs."""
    names, _ = QFileDialog.getOpenFileNames(
        parent,
        "Photographs of the stone",
        "",
        f"Photographs ({' '.join(f'*{suffix}' for suffix in sorted(NAMED))});;All files (*)",
    )
    return [Path(name) for name in names]


def _finish(dialog: QDialog, form: QFormLayout, word: str, text: str) -> QDialogButtonBox:
    box = QDialogButtonBox(QDialogButtonBox.StandardButton.Ok | QDialogButtonBox.StandardButton.Cancel)
    box.button(QDialogButtonBox.StandardButton.Ok).setText(word)
    box.accepted.connect(dialog.accept)
    box.rejected.connect(dialog.reject)
    layout = QVBoxLayout(dialog)
    layout.addWidget(words(text))
    layout.addLayout(form)
    layout.addWidget(box)
    return box
