"""The one kernel for tonight, thirty winters and every replay: arrays in, verdicts out.

A margin is 0 at a limit, 1 a comfort width inside, negative outside; the least of them holds the
hour. Arrays are [hour, ...]: tonight [hour], past winters [hour, winter].
"""

from __future__ import annotations

from dataclasses import dataclass
from numbers import Integral

import numpy as np
from numpy.typing import NDArray

from spraywindow.errors import InputError
from spraywindow.spray.conditions import Conditions, Setting
from spraywindow.spray.material import STAGE, Kind, Limit, Material, season_order
from spraywindow.spray.quantities import QUANTITIES, Quantity, looked_at
from spraywindow.weather import Array, Interval

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
    low = toward(worst)  # (hour, ...), as all here
    if quantity.known or limit.kind == "soft":
        return Interval(low, low)
    high, differ = low.copy(), worst != best
    high[differ] = toward(best[differ])  # (those that differ,)
    return Interval(low, high)


VERDICTS = ("go", "no-go", "unknown")
GO, NO_GO, UNKNOWN = range(3)


@dataclass(frozen=True, eq=False)
class Scores:
    """Scored hours as arrays, time on the first axis.

    Attributes
    ----------
    verdict : int array
        Index into `VERDICTS`.
    margin : array
        The least margin [-]: 0 at a limit, 1 a comfort width inside; NaN where unknown.
    held : int array
        Index into `names`: the limit that holds the hour.
    decided : bool array
        Whether every hard limit of the hour is decided.
    names : tuple of str
        The limits judged.
    margins : dict of str to array
        Per limit; NaN where it is unknown.
    not_judged : tuple of str
        Limits whose optional column the table does not carry.
    """

    verdict: NDArray[np.int8]
    margin: Array
    held: NDArray[np.int8]
    decided: NDArray[np.bool_]
    names: tuple[str, ...]
    margins: dict[str, Array]
    not_judged: tuple[str, ...]


def score_arrays(
    conditions: Conditions,
    material: Material,
    stage: int | None = None,
    rows: slice = slice(None),
) -> Scores:
    """Score a block of hours.

    Parameters
    ----------
    conditions : Conditions
        Arrays with time on the first axis, any axes after it.
    material : Material
    stage : int, optional
        BBCH stage of the trees; without it the stage is not judged.
    rows : slice
        The hours to score; those around them are looked at only where a limit's window reaches.

    Returns
    -------
    Scores

    Raises
    ------
    InputError
        If a limit names an unknown quantity, measures it in another unit or lacks its window, the
        stage is no BBCH code, or no limit can be judged.
    """
    shape = np.broadcast_to(0, conditions.shape)[rows].shape  # (row,) or (row, winter)
    tally = _Tally(shape)
    not_judged = [] if stage is not None else [STAGE]
    if stage is not None:
        if isinstance(stage, bool) or not isinstance(stage, Integral) or not 0 <= stage <= 99:
            raise InputError("stage", expected="a BBCH code, 0 to 99", got=stage)
        behind = season_order(material.last_stage) - season_order(stage)
        flat = np.full(shape, 1.0 if behind >= 0 else -1.0)
        tally.take(STAGE, "hard", Interval(flat, flat))
    for limit in material.limits:
        if not applies(limit, material, stage, conditions.setting):
            continue
        quantity = _quantity(limit, f"material {material.name}, limit {limit.name}")
        if any(column not in conditions.columns for column in quantity.needs):
            not_judged.append(limit.name)
            continue
        whole = looked_at(conditions, limit)  # (hour, ...): windows reach past the rows
        values = whole.map(lambda ends: ends[rows])  # (row, ...)
        tally.take(limit.name, limit.kind, margin_of(limit, values))
    if not tally.names:
        raise InputError("no limit can be judged", where=f"material {material.name}")
    return tally.scores(tuple(not_judged))


def _quantity(limit: Limit, where: str) -> Quantity:
    """What a limit looks at, in the limit's own unit."""
    quantity = QUANTITIES.get(limit.quantity)
    if quantity is None:
        expected = "one of " + ", ".join(QUANTITIES)
        raise InputError("unknown quantity", where=where, expected=expected, got=limit.quantity)
    if limit.unit != quantity.unit:
        raise InputError(
            f"{limit.quantity} is judged in another unit",
            where=where,
            expected=quantity.unit,
            got=limit.unit,
            cure="convert value and width",
        )
    return quantity


def applies(limit: Limit, material: Material, stage: int | None, setting: Setting) -> bool:
    """Whether a limit speaks at this site and stage."""
    if limit.quantity == "degrees_off_downwind":
        return bool(setting.neighbours_deg)
    if limit.name == "green and frost":
        return stage is not None and material.green_stage <= season_order(stage)
    return True


class _Tally:
    """The least margins so far, and the limits that give them.

    The soft limits never fall below 0, so the least lowest margin is also that of the hard ones
    wherever it is negative; the least highest is of the hard limits alone.
    """

    def __init__(self, shape: tuple[int, ...]) -> None:
        # all (row, ...): the least margins, and the number of the limit that gives each
        self.low, self.high, self.open = (np.full(shape, np.inf) for _ in range(3))
        self.held_low, self.held_high, self.held_open = (
            np.zeros(shape, dtype=np.int8) for _ in range(3)
        )
        self.names: list[str] = []
        self.margins: dict[str, Array] = {}

    def take(self, name: str, kind: Kind, margin: Interval) -> None:
        """Take the margins of one more limit in."""
        low, high = margin
        number = len(self.names)
        self.names.append(name)
        self.margins[name] = low
        if not margin.known:
            undecided = (low < 0.0) & (high >= 0.0)
            decided = np.where(low < 0.0, high, low)
            decided[undecided] = np.nan
            self.margins[name] = decided
        if kind == "caution":
            return
        _keep(self.low, self.held_low, low, number)
        if kind == "soft":
            return
        _keep(self.high, self.held_high, high, number)
        if not margin.known and undecided.any():
            _keep(self.open, self.held_open, np.where(undecided, high, np.inf), number)

    def scores(self, not_judged: tuple[str, ...]) -> Scores:
        """Give the verdicts: no-go if any limit is, else unknown if any is, else go."""
        go, no_go = self.low >= 0.0, self.high < 0.0
        margin = np.where(go, self.low, self.high)
        margin[~(go | no_go)] = np.nan
        return Scores(
            verdict=np.where(go, GO, np.where(no_go, NO_GO, UNKNOWN)).astype(np.int8),
            margin=margin,
            held=np.where(go, self.held_low, np.where(no_go, self.held_high, self.held_open)),
            decided=np.isinf(self.open),
            names=tuple(self.names),
            margins=self.margins,
            not_judged=not_judged,
        )


def _keep(least: Array, held: NDArray[np.int8], margin: Array, number: int) -> None:
    """Lower the least margins, in place, and note the limit that did."""
    np.copyto(held, np.int8(number), where=margin < least)
    np.minimum(least, margin, out=least)
