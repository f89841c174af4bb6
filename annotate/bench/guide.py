"""What to do next, in one sentence: nobody has to know the order of the work by heart."""

from setstone.annotate.bench.bench import Bench
from setstone.record.progress import Stage


def next_step(bench: Bench) -> str:
    """Say what to do next at a bench.

    Returns
    -------
    str
        One sentence.

    Examples
    --------
    >>> next_step(Bench())
    'Open a book, or start a new one.'
    """
    if bench.book is None:
        return "Open a book, or start a new one."
    if not bench.progress:
        return "Add the first stone: panel Stones, button Add."
    here = bench.here
    if here is None:
        return "Choose a stone in the panel Stones."
    if here.stage is Stage.NO_PHOTOGRAPH:
        return f"Drop the photographs of {here.stone.position} on the panel Photographs."
    if here.stage is Stage.TO_EXAMINE:
        return f"Examine {here.stone.position}: panel Examination, or key F5."
    if here.stage is Stage.TO_REVIEW:
        review = bench.review
        if review is not None and review.left:
            return f"Judge {_candidates(review.left)} of {here.stone.position}: G accepts, Q rejects."
        if bench.left_elsewhere:
            left = bench.left_elsewhere
            return f"All is judged here; {_candidates(left)} {'waits' if left == 1 else 'wait'} at another occasion of {here.stone.position}."
        return f"Show more in the panel Review (key ,): {_candidates(here.left)} of {here.stone.position} {'is' if here.left == 1 else 'are'} not shown."
    if here.stage is Stage.REVIEWED:
        return f"{here.stone.position} is reviewed: enter its readings, then sign it."
    open_ones = [p.position for p in bench.progress if p.stage is not Stage.SIGNED]
    if open_ones:
        return f"{here.stone.position} is signed; go on with {open_ones[0]}."
    return "All stones are signed: write the hand-out."


def _candidates(count: int) -> str:
    return "one candidate" if count == 1 else f"{count} candidates"
