"""Copper on the wood on day 0: what the rain known since the rounds done has left of it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from spraywindow.place import Place
from spraywindow.season.copper_cover import copper_residue
from spraywindow.season.entry import Entry
from spraywindow.season.infection import spread_rain
from spraywindow.season.mornings import midnight
from spraywindow.weather.hourly import PERIOD_COLUMNS

ROUND_HOUR = 12
"""Local hour from which the rain counts on the day of a round, its hour being unknown; P."""
_WHOLE = 1.0 - 1e-6


@dataclass(frozen=True)
class CopperLeft:
    """Copper left of the rounds done.

    Attributes
    ----------
    share : float
        Of a fresh deposit, 0 to 1, mean of the trees. Hours of unknown rain took none of it, so
        with any of them it is the most that can be left.
    unknown_h : int
        Hours of unknown rain since the rounds that count [h].
    """

    share: float = 0.0
    unknown_h: int = 0


def copper_left(
    entry: Entry, first: dt.date, place: Place, tables: Sequence[pd.DataFrame]
) -> CopperLeft:
    """Give the copper left on day 0 of the rounds done before it.

    Parameters
    ----------
    entry : Entry
        The copper in the program: its rounds done, whole and in part.
    first : date
        Day 0.
    place : Place
    tables : sequence of DataFrame
        Hourly weather of the winter at hand, the more trusted first.

    Notes
    -----
    A part of a round goes on trees that the parts before it left out; a whole round on all.
    """
    visits = [(day, 1.0, True) for day in entry.done]
    visits += [(day, share, False) for day, share in entry.partly_done]
    visits = sorted(visit for visit in visits if visit[0] < first)
    if not visits:
        return CopperLeft()
    noons = [midnight(day, place) + pd.Timedelta(hours=ROUND_HOUR) for day, _, _ in visits]
    end = midnight(first, place)
    rain = _known_rain(tables, noons[0], end)
    since = begun = noons[0]  # of what is on the trees, and of the round that is open
    done, on_done, on_rest = 0.0, 0.0, 0.0  # share of trees done in the open round; their copper
    for (_, share, whole), noon, after in zip(visits, noons, [*noons[1:], end], strict=True):
        if whole:
            done, on_rest, since = 0.0, 1.0, noon
        begun = begun if done else noon
        left = 0.0 if whole else share
        while left > 1.0 - _WHOLE:
            part = min(left, 1.0 - done)
            on_done = (done * on_done + part) / (done + part)
            done, left = done + part, left - part
            if done > _WHOLE:
                done, on_rest, since, begun = 0.0, on_done, begun, noon
        kept = float(copper_residue(rain[(rain.index >= noon) & (rain.index < after)].sum()))
        on_done, on_rest = on_done * kept, on_rest * kept
    hours = round((end - since) / pd.Timedelta(hours=1))
    known = int(rain[rain.index >= since].notna().sum())
    return CopperLeft(done * on_done + (1.0 - done) * on_rest, max(hours - known, 0))


def _known_rain(
    tables: Sequence[pd.DataFrame], start: pd.Timestamp, end: pd.Timestamp
) -> pd.Series[float]:
    """Hourly rain of the first table that knows it [mm]; a longer total spread over its hours."""
    rain = pd.Series(dtype=float, index=pd.DatetimeIndex([], tz="UTC"))
    for table in tables:
        piece = table[(table.index >= start) & (table.index < end)]
        values = piece["rain_mm"].to_numpy(dtype=float)
        if PERIOD_COLUMNS[0] in piece:
            values = spread_rain(values, *(piece[name] for name in PERIOD_COLUMNS[:2]))
        own = pd.Series(values, index=piece.index).dropna()
        rain = pd.concat([rain, own[~own.index.isin(rain.index)]])
    return rain
