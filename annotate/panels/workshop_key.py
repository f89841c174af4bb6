"""The workshop's key at the window: made on first use, its passphrase asked for, changed in a dialog."""

from qtpy.QtCore import Qt
from qtpy.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QFormLayout,
    QInputDialog,
    QLineEdit,
    QVBoxLayout,
    QWidget,
)

from setstone.annotate.bench.bench import Bench
from setstone.annotate.package.key import (
    WorkshopKey,
    change_passphrase,
    is_locked,
    key_file,
    workshop_key,
)
from setstone.annotate.panels.looks import line_height, words
from setstone.annotate.panels.working import attempt


def asked_key(parent: QWidget, bench: Bench) -> WorkshopKey | None:
    """Read the workshop's key, asking for its passphrase where it has one; the first time let a person make it.

    Returns
    -------
    WorkshopKey or None
        None where the person thinks better of it, or it cannot be read: then that is said.
    """
    read: list[WorkshopKey] = []

    def read_key(passphrase: str = "") -> None:
        read.append(workshop_key(passphrase=passphrase))

    file = key_file()
    if not file.exists():
        asking = KeyDialog(None, parent)
        if asking.exec() == QDialog.DialogCode.Accepted:
            attempt(bench, lambda: read_key(asking.passphrase.text()))
    elif _locked():
        passphrase, given = QInputDialog.getText(
            parent, "Sign", "Passphrase of the workshop's key", QLineEdit.EchoMode.Password
        )
        if given:
            attempt(bench, lambda: read_key(passphrase))
    else:
        attempt(bench, read_key)
    return read[0] if read else None


def _locked() -> bool:
    try:
        return is_locked(key_file().read_bytes())
    except OSError:  # told where it is read
        return False


def show_key(parent: QWidget, bench: Bench) -> None:
    """Show the key's fingerprint and let a person change its passphrase."""
    key = asked_key(parent, bench)
    if key is None:
        return
    dialog = KeyDialog(key, parent)
    if dialog.exec() == QDialog.DialogCode.Accepted and attempt(
        bench, lambda: change_passphrase(key, dialog.passphrase.text())
    ):
        bench.said.emit(
            "The key has its new passphrase." if dialog.passphrase.text() else "The key has no passphrase."
        )


class KeyDialog(QDialog):
    """Shows a key, or says that one will be made, and takes a passphrase for it.

    Parameters
    ----------
    key : WorkshopKey or None
        None where one is to be made.
    parent : QWidget, optional
    """

    def __init__(self, key: WorkshopKey | None, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("The workshop's key")
        self.passphrase, self.again = QLineEdit(), QLineEdit()
        for edit in (self.passphrase, self.again):
            edit.setEchoMode(QLineEdit.EchoMode.Password)
            edit.setPlaceholderText("may stay empty" if key is None else "")
        self.passphrase.setToolTip(
            "Asked for each time something is signed. Empty: whoever uses this computer can sign."
        )
        self.again.setToolTip("The same once more.")
        self.says = words(_about(key), small=True)
        self.says.setMinimumWidth(34 * line_height(self.says))
        form = QFormLayout()
        form.addRow("&Passphrase" if key is None else "New &passphrase", self.passphrase)
        form.addRow("&Again", self.again)
        box = QDialogButtonBox(QDialogButtonBox.StandardButton.Ok | QDialogButtonBox.StandardButton.Cancel)
        self.ok = box.button(QDialogButtonBox.StandardButton.Ok)
        close = box.button(QDialogButtonBox.StandardButton.Cancel)
        if key is not None:
            close.setText("Close")
            close.setDefault(True)
        #: What the button does with a passphrase, and with none; nothing where there is none to take away.
        self._filled = "Make the key" if key is None else "Change the passphrase"
        self._empty = "Make the key" if key is None else "Take the passphrase away" if _locked() else ""
        self._allow()
        for edit in (self.passphrase, self.again):
            edit.textChanged.connect(self._allow)
        box.accepted.connect(self.accept)
        box.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        layout.addWidget(self.says)
        layout.addLayout(form)
        layout.addWidget(box)
        self.passphrase.setFocus(Qt.FocusReason.OtherFocusReason)

    def _allow(self) -> None:
        new = self.passphrase.text()
        does = self._filled if new else self._empty
        self.ok.setText(does or self._filled)
        self.ok.setEnabled(bool(does) and new == self.again.text())


def _about(key: WorkshopKey | None) -> str:
    if key is None:
        return (
            f"The workshop has no key yet. It will be made and kept in '{key_file()}', readable by you only. "
            "Keep a copy in a safe place: without it you can sign no more as the same workshop, and whoever has it can "
            "sign for you."
        )
    return (
        f"Fingerprint, for buyers who ask by telephone:\n{key.fingerprint}\n\n"
        f"The key lies in '{key_file()}'. Keep a copy in a safe place; whoever has it can sign for you."
    )
