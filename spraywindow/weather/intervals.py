"""Unknown is an interval: the lowest and the highest value that a quantity could still take.

Every look-ahead works on intervals along the first axis (time); further axes (sites, issue
times, members) ride along. A known value has both ends equal; a missing one runs from -inf to
inf. So taking data away can only widen an answer, never turn it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class Interval(NamedTuple):
    """Lowest and highest possible values, arrays of one shape; the same object where known."""

    low: Array
    high: Array

    def __neg__(self) -> Interval:
        """Mirror the interval."""
        low = -self.high
        return Interval(low, low if self.known else -self.low)

    @property
    def known(self) -> bool:
        """Whether both ends are the same object, so that work is done once."""
        return self.low is self.high

    def map(self, rising: Callable[[Array], Array]) -> Interval:
        """Apply a function that never falls as its argument rises."""
        low = rising(self.low)
        return Interval(low, low if self.known else rising(self.high))


def interval(values: Array, low: float = -np.inf, high: float = np.inf) -> Interval:
    """Make an interval of values; NaN becomes ``low`` to ``high``.

    Parameters
    ----------
    values : array
        Time on the first axis; NaN is unknown.
    low, high : float
        The bounds of what an unknown value could be.
    """
    unknown = np.isnan(values)
    if not unknown.any():
        return Interval(values, values)
    return Interval(np.where(unknown, low, values), np.where(unknown, high, values))


def forward_lowest(values: Interval, hours: int, start: int = 0) -> Interval:
    """Lowest value of the stamps ``t + start`` to ``t + start + hours``, both included.

    Parameters
    ----------
    values : Interval
        Instants, time on the first axis.
    hours, start : int
        Length and beginning of the window [h], from each stamp.

    Returns
    -------
    Interval
        Same shape. Past the end of the data nothing is known: the low end is -inf there, the
        high end is the lowest of what is known.
    """
    return _forward(values, hours, start, np.minimum)


def lowest_around(values: Interval, hours: int) -> Interval:
    """Lowest value from `hours` before the stamp to `hours` after it; see `forward_lowest`."""
    padding = np.full((hours, *values.low.shape[1:]), np.inf)
    low = np.concatenate([-padding, values.low])
    padded = Interval(low, np.concatenate([padding, values.high]))
    around = forward_lowest(padded, 2 * hours)
    count = len(values.low)
    return Interval(around.low[:count], around.high[:count])


def lowest_until(values: Interval, hours: Interval) -> Interval:
    """Lowest value of the stamps ``t`` to ``t + hours[t]``, both included; whole hours >= 0.

    Where the number of hours is itself an interval, the longer one makes the low end.
    """

    def lowest(series: Array, spans: Array, beyond: float) -> Array:
        spans = spans.astype(np.int64)
        out = np.full(series.shape, np.inf)
        width, window = 1, series
        rows = np.arange(len(series)).reshape(-1, *[1] * (series.ndim - 1))
        while width <= int(spans.max(initial=0)) + 1:
            here = (spans + 1 >= width) & (spans + 1 < 2 * width)
            second = rows + spans + 1 - width
            late = np.take_along_axis(window, np.clip(second, 0, len(series) - 1), axis=0)
            late = np.where(second < len(series), late, beyond)
            out = np.where(here, np.minimum(window, late), out)
            shifted = np.full(window.shape, beyond)
            shifted[: max(len(window) - width, 0)] = window[width:]
            window = np.minimum(window, shifted)
            width *= 2
        return out

    return Interval(lowest(values.low, hours.high, -np.inf), lowest(values.high, hours.low, np.inf))


def forward_highest(values: Interval, hours: int, start: int = 0) -> Interval:
    """Highest value of the stamps ``t + start`` to ``t + start + hours``: see `forward_lowest`."""
    return _forward(values, hours, start, np.maximum)


def _forward(values: Interval, hours: int, start: int, pick: np.ufunc) -> Interval:
    low = _slide(values.low, hours + 1, start, -np.inf, pick)
    if not values.known:
        return Interval(low, _slide(values.high, hours + 1, start, np.inf, pick))
    high = low.copy()
    edge = max(len(low) - hours - start, 0)  # only from here on do windows pass the end
    high[edge:] = _slide(values.high[edge:], hours + 1, start, np.inf, pick)
    return Interval(low, high)


def _slide(values: Array, width: int, start: int, beyond: float, pick: np.ufunc) -> Array:
    """Least or greatest of `width` rows from row t + start on, by doubling; `beyond` at the end."""
    count = len(values)
    padding = np.full((width - 1 + start, *values.shape[1:]), beyond)
    window = np.concatenate([values, padding])[start:] if len(padding) else values
    reach = 1
    while reach < width:
        step = min(reach, width - reach)
        window = pick(window[:-step], window[step:])
        reach += step
    return window[:count]


def ends_lowest(values: Interval) -> Interval:
    """The lower of an instant's values at both ends of its hour."""
    return forward_lowest(values, 1)


def ends_highest(values: Interval) -> Interval:
    """The higher of an instant's values at both ends of its hour."""
    return forward_highest(values, 1)


def lesser(first: Interval, second: Interval) -> Interval:
    """The lesser of two quantities."""
    low = np.minimum(first.low, second.low)
    known = first.known and second.known
    return Interval(low, low if known else np.minimum(first.high, second.high))
