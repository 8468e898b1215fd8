"""How long each total, mean or maximum of a file lasts, as the map says or the rows stand."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from spraywindow.errors import describe
from spraywindow.sources.column_fields import OWN_STEP, ValueColumn
from spraywindow.sources.steps import HOUR, own_lengths

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


class Reading(NamedTuple):
    """The numbers of one column of a file, and what the map says of them."""

    part: ValueColumn
    values: Floats


class Lasting(NamedTuple):
    """Values that all last equally long [min], and the minutes at which they start, ascending."""

    length: int
    start: Integers
    values: Floats


def lasting(
    at: Integers,
    steps: Integers,
    anchor: int,
    key: str,
    found: list[Reading],
    problems: list[str],
    notes: list[str],
) -> list[Lasting]:
    """Sort the values of a column by how long they last, the shortest first.

    A map's `covers` holds for every row; ``covers = "step"`` is each row's own distance to the
    next one (from the one before, stamped at the end). Without it only rows an hour apart or
    less last from one to the next: what a row of a coarser stretch covers is not known, and so
    neither is its value.

    Parameters
    ----------
    at : integer array, shape (n,)
        Minutes of the rows, ascending.
    steps : integer array, shape (n - 1,)
        From `spraywindow.sources.steps.local_steps`.
    anchor : int
        Minute past the UTC hour at which hours begin.
    key : str
        Column of the weather table.
    found : list of Reading
        Its columns in the file.
    problems, notes : list of str
        Added to.
    """
    out = []
    for part, values in found:
        at_end = part.stamp == "end"
        if isinstance(part.covers, int):
            lengths = np.full(at.size, part.covers)
            if part.covers < HOUR and HOUR % part.covers:
                problems.append(f"{key}.covers: less than an hour, but no whole part of it")
        else:
            lengths = own_lengths(at, steps, at_end=at_end)
        if part.covers is None:
            if steps.size and (steps > HOUR).all():
                step = f"{steps.min() / HOUR:g}"
                problems.append(
                    describe(
                        f"the file is {step}-hourly: over how long is {key}?",
                        cure=f'say {key}.covers = "{step}h" or the like, and its stamp; '
                        f'"{OWN_STEP}" where each row covers its own step',
                    )
                )
            unsaid = int(np.count_nonzero((lengths > HOUR) & ~np.isnan(values)))
            if unsaid:
                notes.append(
                    f"{key}: {unsaid} values in rows more than an hour apart do not say how long "
                    f'they cover and are unknown; covers = "{OWN_STEP}" in a column map says so'
                )
            lengths = np.where(lengths > HOUR, 0, lengths)
        # The one place where a period stamped at its end moves to its start.
        start = at - lengths if at_end else at
        # A part that begins between the hours would count for the wrong ones.
        lengths = np.where((lengths >= HOUR) & ((start - anchor) % HOUR != 0), 0, lengths)
        for length in np.unique(lengths[lengths > 0]):
            rows = lengths == length
            out.append(Lasting(int(length), start[rows], values[rows]))
    return sorted(out, key=lambda one: one.length)
