"""Undo and redo: every step knows how to be done and how to be taken back."""

from collections.abc import Callable
from dataclasses import dataclass

from psygnal import Signal


@dataclass(frozen=True)
class Step:
    """Something a person did that can be taken back.

    Parameters
    ----------
    title : str
        In a few words, for the menu: ``"accept 3"``.
    do, undo : callable
        Write to the book; what they raise leaves the step where it was.
    examines : int, optional
        Number of the stone whose next examination makes this step one that cannot be taken back.
    """

    title: str
    do: Callable[[], None]
    undo: Callable[[], None]
    examines: int | None = None


class Steps:
    """The steps done and taken back so far.

    Examples
    --------
    >>> there = []
    >>> steps = Steps()
    >>> steps.take(Step("add", lambda: there.append(1), lambda: there.clear()))
    >>> steps.undo(), there
    ('add', [])
    >>> steps.redo(), there
    ('add', [1])
    """

    changed = Signal()

    def __init__(self) -> None:
        self._done: list[Step] = []
        self._undone: list[Step] = []

    @property
    def to_undo(self) -> str:
        """Title of the step `undo` takes back; empty when there is none."""
        return self._done[-1].title if self._done else ""

    @property
    def to_redo(self) -> str:
        """Title of the step `redo` does again; empty when there is none."""
        return self._undone[-1].title if self._undone else ""

    def take(self, step: Step) -> None:
        """Do a step."""
        step.do()
        self._done.append(step)
        self._undone.clear()
        self.changed.emit()

    def undo(self) -> str:
        """Take the last step back; return its title, empty when there is none."""
        return self._move(self._done, self._undone, lambda step: step.undo())

    def redo(self) -> str:
        """Do the step again that was taken back last; return its title, empty when there is none."""
        return self._move(self._undone, self._done, lambda step: step.do())

    def forget(self, examined: int | None = None) -> None:
        """Forget all steps, or those that an examination of this stone ends: what they speak of is no longer there."""
        for steps in (self._done, self._undone):
            steps[:] = [s for s in steps if examined is not None and s.examines != examined]
        self.changed.emit()

    def _move(self, source: list[Step], target: list[Step], act: Callable[[Step], None]) -> str:
        if not source:
            return ""
        act(source[-1])
        step = source.pop()
        target.append(step)
        self.changed.emit()
        return step.title
