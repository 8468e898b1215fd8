"""A long hourly temperature record cut into winters, with chill and heat summed day by day.

A winter is named by the year it starts in: "2023/24" (July to June) in the north, "2024"
(January to December) in the south. Days are those of the solar time zone (longitude / 15,
whole hours), free of summer time. Every winter has 365 days; a leap year loses its last one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.days import next_date
from spraywindow.errors import WeatherError
from spraywindow.place import Place
from spraywindow.trees.chill import chill_portions, fill_short_gaps, growing_degree_hours

Floats = NDArray[np.float64]

DAYS = 365
MOST_UNKNOWN_H = 363
"""A past winter with more unknown temperatures among those that are needed is left out: 5 % of the
hours from where chill starts to count (P: common practice, no source)."""
CHILL_FROM = (9, 1)
"""Month and day from which chill counts in the north (M: the usual start of chill-portion
accounts in California, from memory); half a year later in the south."""
_SMOOTH_DAYS = 7


@dataclass(frozen=True)
class WinterSums:
    """Chill and heat of every winter of a record, by day.

    Parameters
    ----------
    starts : tuple of datetime.date
        First day of each winter, shape (winters,).
    labels : tuple of str
        Their names, such as "2023/24".
    chill, heat : array, shape (366, winters)
        Chill portions and growing degree hours [degC h] before the *start* of each day, both
        from the day on which chill starts to count: row 0 is zero, row 365 the whole year.
    known_days : array of int, shape (winters,)
        Days up to the last hour that the record holds; later days of that winter are filled.
    needed : array of int, shape (2, winters)
        The days whose temperatures the answer needs: from the first up to before the second.
    unknown_h : array of int, shape (winters,)
        Hours of these in which the mean of the usable winters stands in for a missing temperature.
    usable : array of bool, shape (winters,)
        Winters complete enough to serve as a past winter.
    """

    starts: tuple[date, ...]
    labels: tuple[str, ...]
    chill: Floats
    heat: Floats
    known_days: NDArray[np.int64]
    needed: NDArray[np.int64]
    unknown_h: NDArray[np.int64]
    usable: NDArray[np.bool_]

    def day_number(self, day: date, column: int) -> int:
        """Count days from the start of a winter; 0 is its first day."""
        return (day - self.starts[column]).days


def winter_start(day: date, latitude: float) -> date:
    """Give the first day of the winter season that a date belongs to."""
    if latitude < 0:
        return date(day.year, 1, 1)
    return date(day.year if day.month >= 7 else day.year - 1, 7, 1)


def chill_start(start: date, latitude: float, chill_from: tuple[int, int] = CHILL_FROM) -> date:
    """Give the day from which chill counts in the winter that begins at `start`."""
    month, day = chill_from
    if latitude < 0:
        month = (month + 5) % 12 + 1
    return next_date((month, day), start)


def winter_label(day: date, latitude: float) -> str:
    """Name the winter that a date belongs to: "2023/24" in the north, "2024" in the south."""
    start = winter_start(day, latitude)
    return f"{start.year}" if latitude < 0 else f"{start.year}/{(start.year + 1) % 100:02d}"


def past_starts(
    sums: WinterSums, first: date, latitude: float, record_end: date
) -> tuple[list[int], list[date]]:
    """Columns of the record's winters before the one of `first`, and day 0 in each of them."""
    own = winter_label(first, latitude)
    day = 28 if (first.month, first.day) == (2, 29) else first.day
    columns, starts = [], []
    for column, (start, label) in enumerate(zip(sums.starts, sums.labels, strict=True)):
        if label == own or start > first:
            continue
        late = (first.month, day) < (start.month, start.day)
        here = date(start.year + late, first.month, day)
        if here < record_end:
            columns.append(column)
            starts.append(here)
    return columns, starts


def split_winters(
    values: pd.Series[float], place: Place
) -> tuple[tuple[date, ...], tuple[str, ...], Floats]:
    """Cut an hourly record into winters side by side.

    Parameters
    ----------
    values : pandas.Series
        On a gap-free hourly UTC index, stamps at the start of the hour (as `check_hourly` gives).
    place : Place
        Its longitude sets the solar day, its latitude the season.

    Returns
    -------
    starts, labels, array of shape (8760, winters)
        Winters of which the record holds at least one hour; hours outside it are NaN.
    """
    offset = pd.Timedelta(hours=round(place.longitude / 15))
    index = pd.DatetimeIndex(values.index)
    if len(index) == 0:
        raise WeatherError("the temperature record is empty")
    local = (index + offset).tz_localize(None)
    numbers = values.to_numpy(dtype=float)
    starts, columns = [], []
    start = winter_start(local[0].date(), place.latitude)
    while start <= local[-1].date():
        first = int((pd.Timestamp(start) - local[0]) / pd.Timedelta(hours=1))
        piece = numbers[max(first, 0) : max(first + 24 * DAYS, 0)]
        column = np.full(24 * DAYS, np.nan)
        column[max(-first, 0) : max(-first, 0) + len(piece)] = piece
        if len(piece):
            starts.append(start)
            columns.append(column)
        start = start.replace(year=start.year + 1)
    labels = tuple(winter_label(start, place.latitude) for start in starts)
    return tuple(starts), labels, np.stack(columns, axis=1)


def winter_sums(
    temp_c: pd.Series[float],
    place: Place,
    *,
    chill_from: tuple[int, int] = CHILL_FROM,
    needed: Callable[[date], tuple[date, date]] | None = None,
) -> WinterSums:
    """Sum chill and heat over every winter of a record (and of the forecast behind it).

    Gaps of up to three hours are bridged by a line. A longer gap takes the mean of the usable
    winters at that hour of the year (a week to either side), so the sums go on; how many needed
    hours did so stands in `unknown_h`. The same fills a winter that is still running beyond its
    last hour. Without one usable winter, sums are NaN from the first unknown hour on. Sums begin
    behind the hours that no usable winter knows, where these come before what is needed.

    Parameters
    ----------
    temp_c : pandas.Series
        Hourly air temperature [degC], gap-free UTC index; NaN is unknown.
    place : Place
    chill_from : (month, day)
        From where chill and heat count, given for the north; half a year later in the south.
    needed : callable, optional
        Gives of the winter that begins on a date the days whose temperatures are needed: the first
        one, and the one after the last. By default all from where chill counts.
    """
    starts, labels, temp = split_winters(temp_c, place)
    # Feb 29 moves the later dates of one winter in four by a day, which the sums ignore.
    anchor = date(2001, 1, 1) if place.latitude < 0 else date(2001, 7, 1)
    chill_day = (chill_start(anchor, place.latitude, chill_from) - anchor).days

    temp = fill_short_gaps(temp)
    there = ~np.isnan(temp)
    last = np.where(there.any(axis=0), temp.shape[0] - np.argmax(there[::-1], axis=0), 0)
    spans = [[(day - start).days for day in needed(start)] if needed else [chill_day, DAYS]
             for start in starts]  # fmt: skip
    span = np.clip(np.array(spans).T, chill_day, DAYS)
    hour = np.arange(24 * DAYS)[:, None]
    wanted = (hour >= 24 * span[0]) & (hour < 24 * span[1])
    unknown_h = np.count_nonzero(wanted & ~there, axis=0)
    usable = unknown_h <= MOST_UNKNOWN_H
    if usable.any():
        usual = _usual(temp[:, usable])
        temp = np.where(there, temp, usual[:, None])
        # what no winter knows before it is needed is left out of all of them alike
        gone = np.flatnonzero(np.isnan(usual[: 24 * span[0].min()]))
        chill_day = max([chill_day, *(gone[-1:] // 24 + 1)])

    chill = np.zeros((DAYS + 1, len(labels)))
    heat = np.zeros((DAYS + 1, len(labels)))
    counted = temp[24 * chill_day :]
    chill[chill_day + 1 :] = chill_portions(counted)[23::24]
    heat[chill_day + 1 :] = np.cumsum(growing_degree_hours(counted), axis=0)[23::24]
    return WinterSums(
        starts, labels, chill, heat, last // 24, span, unknown_h.astype(np.int64), usable
    )


def _usual(temp: Floats) -> Floats:
    """Mean of the winters at each hour of the year, over a week of days to either side."""
    by_day = temp.reshape(DAYS, 24, -1)
    there = ~np.isnan(by_day)
    total = np.where(there, by_day, 0.0).sum(axis=2)
    count = there.sum(axis=2)
    window = np.arange(DAYS)[:, None] + np.arange(-_SMOOTH_DAYS, _SMOOTH_DAYS + 1)
    window = np.clip(window, 0, DAYS - 1)
    with np.errstate(invalid="ignore"):
        mean = total[window].sum(axis=1) / count[window].sum(axis=1)
    return np.asarray(mean.reshape(-1))
