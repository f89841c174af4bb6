"""Examinations run in a thread for the window."""

from collections.abc import Sequence

from qtpy.QtCore import QObject, Qt, Signal

from setstone.annotate.bench.bench import Bench
from setstone.annotate.panels.working import EXPECTED, Job, StoppedError, Tell
from setstone.record.book import Book
from setstone.record.entries import ExaminationEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.examining import examine_stone, given_length, own_fault

#: Steps one examination tells of, with both photographs.
_STEPS = 6


class Examining(QObject):
    """Examines stones of a bench, one at a time.

    Parameters
    ----------
    bench : Bench
    """

    #: An examination began or ended.
    changed = Signal()
    #: What is being done, in words.
    told = Signal(str)

    _kept = Signal(object, object)

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench = bench
        self._job: Job | None = None
        #: Length printed at the scale bar, as typed; empty where it is to be read from the picture.
        self.bar_length = ""
        self._kept.connect(self._on_kept, Qt.ConnectionType.QueuedConnection)  # from the thread
        bench.book_changed.connect(self.cancel)

    @property
    def running(self) -> bool:
        """Whether an examination runs."""
        return self._job is not None

    def this_stone(self) -> None:
        """Examine the chosen stone at the chosen occasion.

        Raises
        ------
        BookError
            When no stone is chosen, it has no photographs, or an examination runs already.
        """
        bench = self._bench
        if bench.stone is None:
            raise BookError("No stone is chosen; choose one in the list first.")
        if not bench.photographs:
            raise BookError(f"{bench.stone.position} has no photographs yet; add them first.")
        self._run([(bench.stone, bench.occasion)])

    def all_unexamined(self) -> None:
        """Examine all that is photographed and not examined.

        Raises
        ------
        BookError
            When there is nothing to examine, or an examination runs already.
        """
        waiting = self._bench.to_examine()
        if not waiting:
            raise BookError("All photographs are examined already.")
        self._run(waiting)

    def cancel(self) -> None:
        """Stop at the next step; what is finished stays."""
        if self._job is not None:
            self._job.cancel()
            self.told.emit("Stopping after this step.")

    def _run(self, stones: Sequence[tuple[StoneEntry, str]]) -> None:
        if self._job is not None:
            raise BookError("An examination is running; wait for it, or cancel it.")
        book, by = self._bench.opened, self._bench.by
        length = given_length(self.bar_length) if self.bar_length.strip() else None

        def work(tell: Tell) -> list[str]:
            failed = []
            for stone, occasion in stones:
                name = f"{stone.position}, {occasion}"

                def step(text: str, name: str = name) -> None:
                    tell(f"{name}: {text}")

                try:
                    entry = examine_stone(
                        book, stone, occasion=occasion, bar_length_um=length, by=by, progress=step
                    )
                except EXPECTED as error:
                    failed.append(f"{name}: {error}")
                except StoppedError:
                    raise
                except Exception as error:  # nothing in one photograph ends the work on the others
                    failed.append(f"{name}: {own_fault(error)}")
                else:
                    self._kept.emit(book, entry)
            return failed

        self._job = Job("Examining", work, bench=self._bench, steps=_STEPS * len(stones))
        self._job.told.connect(self.told)
        self._job.done.connect(self._finished)
        self._job.failed.connect(self._bench.said.emit)
        self._job.ended.connect(self._ended)
        self._job.start()
        self.changed.emit()

    def _on_kept(self, book: Book, entry: ExaminationEntry) -> None:
        if book is self._bench.book:  # another one may hold a stone of the same number
            self._bench.examined(entry)

    def _finished(self, failed: list[str]) -> None:
        for sentence in failed:
            self._bench.said.emit(sentence)

    def _ended(self) -> None:
        self._job = None
        self.changed.emit()
