"""The object: marks as read, age and maker as claimed, and how the chosen stone sits in it."""

from collections.abc import Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray
from qtpy.QtCore import QSignalBlocker, Qt
from qtpy.QtWidgets import QHBoxLayout, QLabel, QLineEdit, QPushButton, QScrollArea, QVBoxLayout, QWidget

from setstone.annotate.bench.bench import Bench
from setstone.annotate.bench.pixels import reduced
from setstone.annotate.panels.looks import caution, offer, scrolls, title, words
from setstone.annotate.panels.object_picture import ObjectPicture
from setstone.annotate.panels.settings import ask_for_pictures
from setstone.annotate.panels.when_seen import WhenSeen
from setstone.annotate.panels.working import Job, Tell, attempt
from setstone.annotate.png import eight_bit
from setstone.record.entries import FactEntry, ObjectEntry, ObjectPhotograph, StoneEntry
from setstone.record.facts import wording_caution
from setstone.record.photographs import stored_pixels
from setstone.record.vocabulary import BACKS, FACTS_CAUTION, SETTINGS, Fact

#: What may stand in each field, and how it is to be worded.
_TIPS = {
    Fact.METAL: "As it looks, for example yellow metal; which metal it is, an assay tells.",
    Fact.FINENESS: "The figure as it stands there, for example 750, last figure worn. A mark is no assay.",
    Fact.HALLMARK: "Each mark as read, unclear ones described, for example crowned G, last figure worn.",
    Fact.DATE: "As claimed, and by whom where that is known, for example about 1790, family tradition.",
    Fact.MAKER: "As claimed, for example attributed to …, or mark of …",
    Fact.SETTING: "How this stone is held, as seen; choose or type.",
    Fact.BACK: (
        "Whether the setting is open or closed behind this stone, as seen. Behind a closed back there may be foil or "
        "paint, which alter colour and mislead tests with light."
    ),
}
#: Longer side of the picture of the object, in pixels: a panel over a whole screen shows no more.
_WIDEST = 1200
_OFFERED = {Fact.SETTING: SETTINGS, Fact.BACK: BACKS}


class ObjectPanel(QScrollArea):
    """Takes what is said of the object of the chosen stone, and of its setting.

    Parameters
    ----------
    bench : Bench
    """

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench = bench
        self._stone: StoneEntry | None = None
        self._object: ObjectEntry | None = None
        scrolls(self)
        self.facts = {fact: self._fact_edit(fact) for fact in Fact}
        self.said_by = {fact: words(small=True) for fact in Fact}
        self.caution = caution(FACTS_CAUTION)
        self.object_title, self.stone_title = title(), title()
        self.picture = ObjectPicture()
        self.picture.placed.connect(lambda at: attempt(bench, lambda: self._place(at)))
        self.choose = QPushButton("Photograph of the whole …")
        self.choose.setToolTip(
            "Choose a photograph of the object as a whole; then click where each stone sits. It stands at the head of the hand-out."
        )
        self.choose.clicked.connect(lambda: attempt(bench, self._choose))
        self.away = QPushButton("Show none")
        self.away.setToolTip("Show no photograph of the whole any more; those before are kept in the book.")
        self.away.clicked.connect(lambda: attempt(bench, self._take_away))
        self._shown: tuple[object, ...] = ()
        content = QWidget()
        layout = QVBoxLayout(content)
        layout.setContentsMargins(6, 6, 6, 6)
        choices = QHBoxLayout()
        choices.addWidget(self.choose, 1)
        choices.addWidget(self.away)
        for heading, of_stone in ((self.object_title, False), (self.stone_title, True)):
            layout.addWidget(heading)
            if not of_stone:
                layout.addWidget(self.picture)
                layout.addLayout(choices)
            layout.addLayout(self._form([f for f in Fact if f.of_stone is of_stone]))
        layout.addWidget(self.caution)
        layout.addStretch()
        self.setWidget(content)
        self._seen = WhenSeen(
            self,
            bench,
            (bench.chosen, bench.notes_changed, bench.stones_changed, bench.book_changed),
            self._show,
        )

    def _fact_edit(self, fact: Fact) -> QLineEdit:
        edit = QLineEdit()
        edit.setAccessibleName(f"{fact}, {fact.known_how}")
        edit.setToolTip(f"{_TIPS[fact]} Kept as soon as you leave the field or press Enter.")
        if fact in _OFFERED:
            offer(edit, _OFFERED[fact])
            edit.setPlaceholderText(", ".join(_OFFERED[fact][:3]) + " …")
        edit.textChanged.connect(self._show_caution)
        edit.editingFinished.connect(partial(self._keep, fact))
        return edit

    def _form(self, those: Sequence[Fact]) -> QVBoxLayout:
        """Each field as wide as the panel, for marks take many words; above it its name and who said so."""
        form = QVBoxLayout()
        for fact in those:
            label = QLabel(f"{str(fact).capitalize()}, {fact.known_how}")
            label.setBuddy(self.facts[fact])
            self.said_by[fact].setAlignment(Qt.AlignmentFlag.AlignRight)
            above = QHBoxLayout()
            above.addWidget(label)
            above.addWidget(self.said_by[fact], 1)
            field = QVBoxLayout()
            field.setSpacing(1)
            field.addLayout(above)
            field.addWidget(self.facts[fact])
            form.addLayout(field)
        return form

    # What is shown

    def _show(self) -> None:
        self._keep_typed()
        book, stone = self._bench.book, self._bench.stone
        self.widget().setEnabled(book is not None and stone is not None)
        self._stone, self._object = stone, None
        if book is None or stone is None:
            self.object_title.setText("Choose a stone first.")
            self.stone_title.setText("")
            self._fill(())
            self._show_picture(None)
            return
        here = self._bench.here
        self._object = book.object((stone if here is None else here.stone).object_name)
        self.object_title.setText(self._object.name)
        self.stone_title.setText(f"{stone.position} {stone.claimed_as}")
        self._fill((*book.facts(self._object), *book.facts(stone)))
        self._show_picture(book.object_photograph(self._object))

    def _show_picture(self, photograph: ObjectPhotograph | None) -> None:
        self.away.setVisible(photograph is not None)
        stones = {p.stone_id: p.position for p in self._bench.progress}
        placed = () if photograph is None else tuple(photograph.places.items())
        places = {stones[stone]: at for stone, at in placed if stone in stones}
        chosen = "" if self._stone is None else self._stone.position
        now = (photograph and photograph.sha256, places, chosen)
        if now == self._shown:
            return
        self._shown = now
        if photograph is None:
            self.picture.put(None, {}, "")
            return

        def decode(_tell: Tell) -> NDArray[np.uint8]:
            return reduced(np.asarray(eight_bit(stored_pixels(photograph)), np.uint8), _WIDEST)

        job = Job("Opening the photograph of the object", decode, bench=self._bench)
        job.done.connect(
            lambda image: self.picture.put(image, places, chosen) if now == self._shown else None
        )
        job.failed.connect(self._bench.said.emit)
        job.start()

    def _fill(self, said: Sequence[FactEntry]) -> None:
        known = {f.fact: f for f in said}
        for fact, edit in self.facts.items():
            entry = known.get(fact)
            self.said_by[fact].setText(f"{entry.by}, {entry.at.astimezone():%Y-%m-%d}" if entry else "")
            if edit.isModified() and edit.hasFocus():
                continue  # somebody is typing there
            if edit.text() != (entry.value if entry else ""):
                with QSignalBlocker(edit):
                    edit.setText(entry.value if entry else "")
                edit.setCursorPosition(0)
            edit.setModified(False)
        self._show_caution()

    def _show_caution(self, *_: object) -> None:
        """Warn of the wording that claims most; where there is none, say how all of this is known."""
        found = (wording_caution(fact, edit.text()) for fact, edit in self.facts.items())
        self.caution.setText(next(filter(None, found), FACTS_CAUTION))

    # What a person does

    def _choose(self) -> None:
        files = ask_for_pictures(self)
        if files and self._object is not None:
            self._bench.picture_object(self._object, files[0])

    def _take_away(self) -> None:
        if self._object is not None:
            self._bench.picture_object(self._object, None)

    def _place(self, at: tuple[float, float] | None) -> None:
        if self._stone is not None:
            self._bench.place_stone(self._stone, at)

    def _keep(self, fact: Fact) -> None:
        """Keep what was typed of the object and stone that are shown."""
        edit = self.facts[fact]
        of = self._stone if fact.of_stone else self._object
        if of is None or not edit.isModified():
            return
        edit.setModified(False)
        if not attempt(self._bench, lambda: self._bench.state_fact(of, fact, edit.text())):
            edit.setModified(True)

    def _keep_typed(self) -> None:
        """Keep what was typed and not entered yet, before another stone is shown."""
        if (
            self._stone is not None
            and self._bench.stone is not None
            and self._bench.stone.id != self._stone.id
        ):
            for fact in Fact:
                self._keep(fact)
