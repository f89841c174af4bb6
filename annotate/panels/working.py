"""Long work in a thread, with progress in napari's activity dock and a cancel that works."""

from collections.abc import Callable
from typing import Any, ClassVar

from napari.qt.threading import create_worker
from napari.utils import cancelable_progress
from qtpy.QtCore import QObject, Qt, Signal

from setstone.annotate.bench.bench import Bench
from setstone.annotate.errors import AnnotateError
from setstone.capture.errors import PhotographError
from setstone.measure.errors import MeasurementError
from setstone.record.errors import BookError

#: What a person can meet: its message is a sentence to show.
EXPECTED = (AnnotateError, BookError, MeasurementError, PhotographError)

#: Called in the thread with the name of each step, which begins with a blank where it is a part of the step before;
#: raises when the work is to stop.
Tell = Callable[[str], None]


def is_part(step: str) -> bool:
    """Whether a step is a part of the one told before."""
    return step.startswith(" ")


class StoppedError(Exception):
    """A person asked the work to stop."""


class _Thread:
    """What runs in a thread, once, by the name napari shows where it asks whether to close the window meanwhile.

    napari keeps each worker for ever (`TaskStatusManager`): what has run is let go here, or its results would stay too.
    """

    def __init__(self, run: Callable[[], None], title: str) -> None:
        self._run: Callable[[], None] | None = run
        self.title = title

    def __call__(self) -> None:
        run, self._run = self._run, None
        if run is not None:
            run()

    def __str__(self) -> str:
        return f"“{self.title}”"


class Job(QObject):
    """One piece of work in a thread.

    Parameters
    ----------
    title : str
        What is done, for the activity dock.
    work : callable
        Given `Tell`; runs in the thread and must not touch the window.
    steps : int
        How many steps it will tell of; 0 when nobody knows.
    bench : Bench
        For whom: its jobs end with its window.
    """

    #: A step began: its name.
    told = Signal(str)
    #: What the work returned; not told where another book was opened meanwhile, for it speaks of the one before.
    done = Signal(object)
    #: One sentence: what went wrong.
    failed = Signal(str)
    #: In any case, last.
    ended = Signal()

    _step = Signal(str)
    _result = Signal(object, object)
    _running: ClassVar[set["Job"]] = set()

    def __init__(self, title: str, work: Callable[[Tell], Any], *, bench: Bench, steps: int = 0) -> None:
        super().__init__()
        self._title = title
        self._bench = bench
        self._book = bench.book
        self._stop = False
        self._progress = cancelable_progress(total=steps, desc=title, gui=True, leave=False)
        # From the thread into the event loop of the window.
        self._step.connect(self._on_step, Qt.ConnectionType.QueuedConnection)
        self._result.connect(self._on_result, Qt.ConnectionType.QueuedConnection)

        self._work = work
        self._worker = create_worker(_Thread(self._run, title), _start_thread=False)

    def start(self) -> "Job":
        """Begin."""
        Job._running.add(self)
        self._worker.start()
        return self

    def cancel(self) -> None:
        """Ask the work to stop at its next step."""
        self._stop = True

    @classmethod
    def stop_all(cls, bench: Bench) -> None:
        """Stop all work for a bench whose window closes; nobody is told any more."""
        for job in [j for j in cls._running if j._bench is bench]:
            job.cancel()
            job.blockSignals(True)
            job._progress.close()
            cls._running.discard(job)

    def _run(self) -> None:
        try:
            outcome, error = self._work(self._tell), None
        except Exception as caught:  # each is told in the window, none may end the thread unseen
            outcome, error = None, caught
        self._result.emit(outcome, error)

    def _tell(self, step: str) -> None:
        if self._stop or self._progress.is_canceled or self._worker.abort_requested:
            raise StoppedError
        self._step.emit(step)

    def _on_step(self, step: str) -> None:
        self._progress.set_description(f"{self._title}: {step.strip()}")
        if not is_part(step) and self._progress.total and self._progress.n < self._progress.total:
            self._progress.update(1)
        self.told.emit(step)

    def _on_result(self, outcome: object, error: Exception | None) -> None:
        Job._running.discard(self)
        self._progress.close()
        if error is None:
            if self._bench.book is self._book:
                self.done.emit(outcome)
        elif isinstance(error, StoppedError):
            self.failed.emit("Stopped; what was not finished is not in the book.")
        elif isinstance(error, EXPECTED):
            self.failed.emit(str(error))
        else:
            self.failed.emit(
                f"setstone met a fault of its own ({type(error).__name__}: {error}); the book is unharmed, please report it."
            )
        self.ended.emit()


def attempt(bench: Bench, act: Callable[[], object]) -> bool:
    """Do something; say in one sentence why where it cannot be done. Return whether it was done."""
    try:
        act()
    except EXPECTED as error:
        bench.said.emit(str(error))
        return False
    return True
