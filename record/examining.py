"""Examine stones of the book: their photographs in, examinations kept.

Many stones are measured by several processes side by side, here or on a cluster; the book is read and written by
this one alone.
"""

import contextlib
import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Collection, Generator, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from multiprocessing.synchronize import Event
from pathlib import Path
from tempfile import TemporaryDirectory

import cv2

from setstone.capture.photograph import Lamp
from setstone.measure.candidates import LampName
from setstone.measure.depth import Index
from setstone.measure.errors import MeasurementError
from setstone.measure.examination import Examination, Flag
from setstone.measure.examine import examine
from setstone.measure.label import parse_length
from setstone.measure.scale import Scale
from setstone.measure.spots import undimmed
from setstone.record.cluster import on_cluster
from setstone.record.entries import ExaminationEntry, PhotographEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.examinations import save_examination
from setstone.record.occasions import occasions, spelt
from setstone.record.photographs import photographs, stored_pixels
from setstone.record.progress import progress as how_far
from setstone.record.series import Series, claimed_index, measured_depths, series_of
from setstone.record.setups import calibrated_scale
from setstone.record.store import Store
from setstone.record.text import key, operator
from setstone.record.vocabulary import OCCASIONS

#: Relative standard uncertainty taken for a scale that came without one (common practice, no source).
_U_WITHOUT = 0.005

#: A further process takes as long to start as two examinations last, and half a gigabyte of memory.
_STONES_PER_WORKER, _MOST_WORKERS = 4, 8

_KILLED = (
    "Its examination was ended by the system, most likely because memory ran out; "
    "close other programs and examine it again."
)

# Spawned: a copy of a process that runs threads, as a window does, may hang.
_SPAWN = multiprocessing.get_context("spawn")

Tell = Callable[[str], None]


def given_length(text: str) -> float:
    """Read a length a person typed, such as ``"1 mm"`` or ``"500 µm"``, in micrometres.

    Raises
    ------
    BookError
        When it has no unit or is no length.
    """
    length = parse_length(text)
    if length is None:
        raise BookError(f"'{text}' is no length with a unit; write it as '1 mm' or '500 µm'.")
    return length


def given_scale(um_per_px: float) -> Scale:
    """Scale as stated by a person, in micrometres per pixel, with a relative uncertainty of 0.5 %."""
    return Scale(um_per_px, _U_WITHOUT * um_per_px, "given")


def examine_stone(
    book: Store,
    stone: StoneEntry,
    *,
    occasion: str | None = None,
    scale: Scale | None = None,
    bar_length_um: float | None = None,
    by: str,
    progress: Tell | None = None,
) -> ExaminationEntry:
    """Examine the latest white and blue photograph of a stone and keep the result.

    Parameters
    ----------
    book : Book
    stone : StoneEntry
    occasion : str, optional
        Which photographs; those of the occasion photographed last when not given.
    scale : Scale, optional
        Used before any other. Else one that a person measured on the photograph is used before the
        calibration of its setup, that before the scale bar, and that before the file's own.
    bar_length_um : float, optional
        Length printed at the scale bar, in micrometres, when it cannot be read.
    by : str
        Who examines.
    progress : callable, optional
        Told the name of each step; whatever it raises ends the examination and nothing is kept.

    Returns
    -------
    ExaminationEntry

    Raises
    ------
    BookError
        When there is no photograph of that occasion, or one was altered since it was added.
    MeasurementError
        When the photographs show no stone.
    """
    by = operator(by, required=True)
    order = _order(book, stone, occasion, scale, bar_length_um)
    return _keep(book, stone, order, _measured(order, progress=progress), by)


def to_examine(book: Store, occasion: str = "") -> Sequence[tuple[StoneEntry, str]]:
    """List what is photographed and not examined since: stones and occasions, or those of one occasion."""
    return [
        (row.stone, open_)
        for row in how_far(book)
        for open_ in row.to_examine
        if not occasion or key(open_) == key(occasion)
    ]


@dataclass(frozen=True)
class Outcome:
    """What became of one stone.

    Parameters
    ----------
    stone : StoneEntry
    entry : ExaminationEntry or None
    error : str
        Why there is no examination, as a sentence; else empty.
    """

    stone: StoneEntry
    entry: ExaminationEntry | None
    error: str = ""


def examine_stones(
    book: Store,
    stones: Sequence[tuple[StoneEntry, str | None]],
    *,
    scale: Scale | None = None,
    bar_length_um: float | None = None,
    by: str,
    progress: Tell | None = None,
    workers: int | None = None,
    cluster: str = "",
) -> Generator[Outcome, None, None]:
    """Examine many stones and keep each result as it comes; a stone that fails does not stop the others.

    The results are those of `examine_stone`, in the order given, whatever the number of workers.

    Parameters
    ----------
    book : Book
    stones : sequence of (StoneEntry, str or None)
        Each with its occasion, None for the one photographed last.
    scale, bar_length_um, by
        As for `examine_stone`.
    progress : callable, optional
        Told a text as the turn of each stone comes, and one that begins with a blank for each step where there
        is one worker only. Whatever it raises ends the work; what is done is kept.
    workers : int, optional
        Processes that measure side by side. When not given one for each processor, fewer for few stones. A
        script that has several must begin its work under ``if __name__ == "__main__":``.
    cluster : str, optional
        Address of the scheduler of a Dask cluster that measures instead, such as ``"tcp://host:8786"``. Each
        photograph is sent to it; its workers need setstone, and not the book.

    Yields
    ------
    Outcome
        Closing the generator ends the work.

    Raises
    ------
    BookError
        When the cluster cannot be reached, or is lost meanwhile; what was yielded is kept.
    """
    by = operator(by, required=True)
    tell = progress or (lambda _text: None)
    if workers is None:
        workers = min(os.cpu_count() or 1, len(stones) // _STONES_PER_WORKER, _MOST_WORKERS)
    orders = (_order_or_why_not(book, stone, when, scale, bar_length_um) for stone, when in stones)
    if cluster:
        results = _far_away(orders, cluster)
    elif workers > 1:
        results = _side_by_side(orders, workers)
    else:
        results = _one_by_one(orders, lambda step: tell(f" {step}"))
    try:
        for stone, _ in stones:
            tell(f"Examining {stone.position}")
            order, result = next(results)
            if isinstance(order, str):
                yield Outcome(stone, None, order)
            elif isinstance(result, str):
                yield Outcome(stone, None, result)
            else:
                yield Outcome(stone, _keep(book, stone, order, result, by))
    finally:
        results.close()


@dataclass(frozen=True)
class _Order:
    """All that measuring a stone needs: no book, so that another process can do it."""

    white: PhotographEntry | None
    blue: PhotographEntry | None
    occasion: str
    scale: Scale | None
    bar_length_um: float | None
    file_scale: Scale | None
    flags: tuple[Flag, ...]
    #: Where a photograph is a focus stack whose step is known.
    series: Mapping[LampName, Series]
    index: Index | None

    def photographs(self) -> Iterator[PhotographEntry]:
        """All it measures, the frames of stacks too."""
        yield from (p for p in (self.white, self.blue) if p is not None)
        for series in self.series.values():
            yield from series.frames

    def moved(self, folder: Path, there: Collection[str]) -> "_Order":
        """The same with those photographs in another folder, under their SHA-256."""

        def at(entry: PhotographEntry) -> PhotographEntry:
            return replace(entry, path=folder / entry.sha256) if entry.sha256 in there else entry

        return replace(
            self,
            white=self.white and at(self.white),
            blue=self.blue and at(self.blue),
            series={name: replace(s, frames=tuple(map(at, s.frames))) for name, s in self.series.items()},
        )


#: A result, or in a sentence why there is none.
_Results = Generator[tuple[_Order | str, Examination | str], None, None]


def _order(
    book: Store, stone: StoneEntry, occasion: str | None, scale: Scale | None, bar_length_um: float | None
) -> _Order:
    with book.snapshot():
        known = occasions(book, stone)
        last = known[-1] if occasion is None and known else spelt(book, stone, occasion or OCCASIONS[0])
        # The one added last of each lamp: a better one is added after the one it replaces.
        latest = {p.lamp: p for p in photographs(book, stone, last)}
    if not latest:
        when = "" if occasion is None else f" of the occasion '{last}'"
        raise BookError(f"{stone.full_name} has no photographs{when}; add them first.")
    white, blue = latest.get(Lamp.WHITE), latest.get(Lamp.BLUE)
    first = white or blue
    if first is None:
        raise BookError(
            f"{stone.full_name} has no photograph under white or blue light ({last}); "
            "state the light of those it has, or add one."
        )
    calibrated, doubts = calibrated_scale(book, first)
    stated = scale or first.scale
    flags = dict.fromkeys(f for p in (white, blue) if p is not None for f in p.flags)
    lamps: tuple[tuple[LampName, PhotographEntry | None], ...] = (("white", white), ("blue", blue))
    series = {name: s for name, p in lamps if p is not None and (s := series_of(book, stone, p)) is not None}
    return _Order(
        white=white,
        blue=blue,
        occasion=last,
        scale=stated or calibrated,
        bar_length_um=bar_length_um,
        file_scale=_file_scale(first),
        flags=(*flags, *(doubts if stated is None else ())),
        series=series,
        index=claimed_index(stone) if series else None,
    )


def _order_or_why_not(
    book: Store, stone: StoneEntry, occasion: str | None, scale: Scale | None, bar_length_um: float | None
) -> _Order | str:
    try:
        return _order(book, stone, occasion, scale, bar_length_um)
    except BookError as error:
        return str(error)


def _compiled_here() -> bool:
    """Whether the parts of the measuring that numba compiles are kept on this computer from an earlier run."""
    kept = undimmed.stats.cache_path
    return kept is not None and any(Path(kept).glob("*.undimmed-*.nbi"))


def _measured(order: _Order, *, progress: Tell | None = None, threads: int = 2) -> Examination:
    if progress is not None and not _compiled_here():
        told = progress

        def progress(step: str) -> None:
            told(f"{step} (the first time on this computer: up to a minute)")

    try:
        result = examine(
            None if order.white is None else stored_pixels(order.white),
            None if order.blue is None else stored_pixels(order.blue),
            scale=order.scale,
            bar_length_um=order.bar_length_um,
            file_scale=order.file_scale,
            progress=progress,
            threads=threads,
        )
        if order.series:
            (progress or (lambda _step: None))("telling depths")
            result = measured_depths(result, order.series, order.index)
    except MeasurementError as error:
        names = " and ".join(f"'{p.name}'" for p in (order.white, order.blue) if p is not None)
        raise MeasurementError(f"{names}: {error}") from error
    return replace(result, flags=result.flags + order.flags)


def _keep(book: Store, stone: StoneEntry, order: _Order, result: Examination, by: str) -> ExaminationEntry:
    return save_examination(
        book,
        stone,
        result,
        occasion=order.occasion,
        white=None if order.white is None else order.white.sha256,
        blue=None if order.blue is None else order.blue.sha256,
        by=by,
    )


def _one_by_one(orders: Iterator[_Order | str], progress: Tell) -> _Results:
    for order in orders:
        yield order, _measured_or_why_not(order, progress=progress)


def _far_away(orders: Iterator[_Order | str], address: str) -> _Results:
    killed: Examination | str = _KILLED
    pieces = ((order, _files(order)) for order in orders)
    yield from on_cluster(address, _measured_there, pieces, killed=killed)


def _side_by_side(orders: Iterator[_Order | str], workers: int) -> _Results:
    """Measure in several processes; results come in the order of the stones."""
    ended = _SPAWN.Event()
    pool = _pool(workers, ended)
    running: deque[tuple[_Order | str, Future[Examination | str]]] = deque()
    try:
        while True:
            while len(running) < 2 * workers and (order := next(orders, None)) is not None:
                running.append((order, _started(pool, order)))
            if not running:
                return
            order, future = running.popleft()
            try:
                result = future.result()
            except BrokenProcessPool:
                # A worker was ended from outside, and all that ran with it. Whose fault it was shows alone.
                pool.shutdown()
                pool = _pool(workers, ended)
                try:
                    result = _started(pool, order).result()
                except BrokenProcessPool:
                    pool.shutdown()
                    pool = _pool(workers, ended)
                    result = _KILLED
                running = deque((other, _started(pool, other)) for other, _ in running)
            yield order, result
    finally:
        ended.set()
        pool.shutdown(cancel_futures=True)


def _pool(workers: int, ended: Event) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(workers, mp_context=_SPAWN, initializer=_begin_worker, initargs=(ended,))


class _EndedError(Exception):
    """Nobody waits for the result any more."""


#: In a worker: tells it that the work was ended.
_ended: Event | None = None


def _begin_worker(ended: Event) -> None:
    global _ended
    _ended = ended
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C ends the work where the book is
    cv2.setNumThreads(1)  # the other processors have work of their own
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """End this worker when the process it works for is gone, however that ended: it would wait for ever."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _unless_ended(_step: str) -> None:
    if _ended is not None and _ended.is_set():
        raise _EndedError


def _started(pool: ProcessPoolExecutor, order: _Order | str) -> Future[Examination | str]:
    try:
        return pool.submit(_measured_or_why_not, order, threads=1)
    except BrokenProcessPool as error:
        broken: Future[Examination | str] = Future()
        broken.set_exception(error)
        return broken


def _measured_or_why_not(
    order: _Order | str, *, progress: Tell = _unless_ended, threads: int = 2
) -> Examination | str:
    if isinstance(order, str):
        return order
    stopped: list[BaseException] = []

    def step(text: str) -> None:
        try:
            progress(text)
        except BaseException as error:
            stopped.append(error)
            raise

    try:
        return _measured(order, progress=step, threads=threads)
    except (BookError, MeasurementError) as error:
        return str(error)
    except Exception as error:
        if error in stopped:
            raise
        # No photograph, whatever is in it, ends the work on the others.
        return own_fault(error)


def own_fault(error: Exception) -> str:
    """Say in a sentence that the program itself failed on a photograph."""
    return f"setstone met a fault of its own ({type(error).__name__}: {error}); the book is unharmed, please report it."


def _files(order: _Order | str) -> dict[str, bytes]:
    """The photographs an order needs, by SHA-256; one that cannot be read is missed where it is measured."""
    files = {}
    for entry in () if isinstance(order, str) else order.photographs():
        with contextlib.suppress(OSError):
            files[entry.sha256] = entry.path.read_bytes()
    return files


def _measured_there(order: _Order | str, files: Mapping[str, bytes]) -> Examination | str:
    """Measure where the book is not, from the photographs that came along."""
    if isinstance(order, str):
        return order
    with TemporaryDirectory(prefix="setstone-") as folder:
        for sha256, data in files.items():
            Path(folder, sha256).write_bytes(data)
        return _measured_or_why_not(order.moved(Path(folder), files), progress=lambda _step: None, threads=1)


def _file_scale(entry: PhotographEntry) -> Scale | None:
    if entry.um_per_px is None:
        return None
    return Scale(entry.um_per_px, _U_WITHOUT * entry.um_per_px, "file", entry.name)
