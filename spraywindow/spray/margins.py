"""From a quantity to a margin: 0 at the limit, 1 a comfort width inside, negative outside."""

from __future__ import annotations

import numpy as np

from spraywindow.spray.material import Limit
from spraywindow.weather.interval import Array, Interval

ROUNDING = 1e-13
"""Nearer to an allowed value than this, in comfort widths, is that value: units were converted."""
OUTSIDE = 1e-9
"""How far outside a value lies that its bound excludes, in comfort widths."""


def margin_of(limit: Limit, quantity: Interval) -> Interval:
    """Lowest and highest margin that a limit can give, at most 1 [-].

    Parameters
    ----------
    limit : Limit
    quantity : Interval
        The lowest and highest value that the limit's quantity can have, in the limit's unit.

    Notes
    -----
    A soft limit never stops, so only its lowest margin counts and stands at both ends.
    """
    rising = limit.bound in ("at least", "above")
    excluded = limit.bound in ("above", "below")
    edge = OUTSIDE if excluded else 0.0
    # a line through -edge at the value and 1 a comfort width inside
    width = limit.width / (1.0 + edge)
    zero = limit.value + edge * width if rising else limit.value - edge * width

    def toward(values: Array) -> Array:
        margin = values - zero if rising else zero - values
        margin /= width
        np.minimum(margin, 1.0, out=margin)
        if limit.kind == "soft":
            np.maximum(margin, 0.0, out=margin)
        elif not excluded:
            margin[np.abs(margin) < ROUNDING] = 0.0
        return margin

    worst, best = (quantity.low, quantity.high) if rising else (quantity.high, quantity.low)
    low = toward(worst)
    if quantity.known or limit.kind == "soft":
        return Interval(low, low)
    high, differ = low.copy(), worst != best
    high[differ] = toward(best[differ])
    return Interval(low, high)
