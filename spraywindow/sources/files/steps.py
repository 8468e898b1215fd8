"""The steps of a file: how far apart its rows stand, where that changes, and where rows lack.

A distance between neighbouring rows is a step of the file where it comes at least twice running
and is the usual one or is followed by none finer: forecasts grow coarser with their lead, and no
record does. Every longer distance is a hole. So two rows missing from an hourly record are never
taken for a 3-hourly stretch. How long each total, mean or maximum lasts, the map says or the rows
stand. Times are whole minutes since 1970 as integers.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import describe
from spraywindow.sources import LONGEST_PLAIN_STEP_H
from spraywindow.sources.files.column_map import OWN_STEP, ValueColumn

Integers = NDArray[np.int64]
HOUR = 60
LONGEST_BRIDGE = 6 * HOUR
"""Longest step between reports that instants are interpolated over; P: common practice, no
source."""
_NONE = np.iinfo(np.int64).max


def usual_step(at: Integers) -> int:
    """The commonest distance between neighbouring stamps, in minutes (60 for a single one)."""
    if at.size < 2:
        return HOUR
    steps, counts = np.unique(np.diff(at), return_counts=True)
    return int(steps[np.argmax(counts)])


def local_steps(at: Integers) -> Integers:
    """Give the step of the file at each distance between neighbouring rows [min].

    Parameters
    ----------
    at : integer array, shape (n,)
        Minutes of the rows, ascending.

    Returns
    -------
    integer array, shape (n - 1,)
        The finer of the steps before and after; rows are missing where the distance is longer.
    """
    gaps = np.diff(at)
    running = np.zeros(gaps.size, dtype=bool)
    running[1:] |= gaps[1:] == gaps[:-1]
    running[:-1] |= gaps[1:] == gaps[:-1]
    finest_after = np.minimum.accumulate(np.where(running, gaps, _NONE)[::-1])[::-1]
    sure = running & ((gaps == usual_step(at)) | (gaps <= finest_after))
    if not sure.any():
        return np.full(gaps.size, usual_step(at), dtype=np.int64)
    rows = np.arange(gaps.size)
    before = np.maximum.accumulate(np.where(sure, rows, -1))
    after = np.minimum.accumulate(np.where(sure, rows, gaps.size)[::-1])[::-1]
    padded = np.append(gaps, _NONE)  # both ends lead there
    finer: Integers = np.minimum(padded[before], padded[after])
    return finer


def own_lengths(at: Integers, steps: Integers, *, at_end: bool) -> Integers:
    """How long the total of each row is, if it reaches to the next row, or from the one before.

    Parameters
    ----------
    at : integer array, shape (n,)
        Minutes of the rows.
    steps : integer array, shape (n - 1,)
        From `local_steps`.
    at_end : bool
        Whether a total is stamped at its end.

    Returns
    -------
    integer array, shape (n,)
        Minutes; 0 where it cannot be told: beside a hole and at the file's ends, except among
        rows an hour apart or less, and where a part fits no hour.
    """
    if at.size < 2:
        return np.full(at.size, HOUR, dtype=np.int64)
    own = np.where(np.diff(at) == steps, steps, 0)
    lengths = np.insert(own, 0, 0) if at_end else np.append(own, 0)
    around = np.maximum(np.append(steps, 0), np.insert(steps, 0, 0))
    lengths = np.where((lengths == 0) & (around <= HOUR), around, lengths)
    fits = np.where(lengths > HOUR, lengths % HOUR == 0, HOUR % np.maximum(lengths, 1) == 0)
    return np.where(fits, lengths, 0)


def spans(at: Integers, steps: Integers) -> Integers:
    """How long each row's reading stands for [min]: its step, at most an hour."""
    if at.size < 2:
        return np.full(at.size, HOUR, dtype=np.int64)
    own: Integers = np.append(np.minimum(np.diff(at), steps), steps[-1])
    return np.minimum(own, HOUR)


def step_notes(at: Integers, steps: Integers, anchor: int, name: str) -> list[str]:
    """Say which rows stand more than an hour apart, and how many hours have no row at all."""
    gaps = np.diff(at)
    whole = gaps <= steps
    notes = []
    for step in np.unique(steps[whole & (steps > HOUR)]):
        rows = np.flatnonzero(whole & (steps == step))
        part = wide = ""
        if step > LONGEST_PLAIN_STEP_H * HOUR:
            wide = ", and temperature and wind may lie on either side of that"
        if not (steps == step).all():
            part = f" from {_stamp(at[rows[0]])} to {_stamp(at[rows[-1] + 1])}"
        notes.append(
            f"{name} is {step / HOUR:g}-hourly{part}: "
            + (
                "temperature, dew point and wind between the reports are interpolated, where no "
                f"report is missing{wide}"
                if step <= LONGEST_BRIDGE
                else "the hours between the reports are unknown, too far apart to interpolate"
            )
        )
    hours = (at - anchor) // HOUR
    missing = int(np.maximum(np.diff(hours) - 1, 0)[~whole].sum())
    if missing:
        notes.append(f"{missing} missing hours are unknown")
    return notes


def _stamp(minute: int) -> str:
    return f"{pd.Timestamp(int(minute), unit='m'):%Y-%m-%d %H:%M} UTC"


Floats = NDArray[np.float64]


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
        From `spraywindow.sources.files.steps.local_steps`.
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
