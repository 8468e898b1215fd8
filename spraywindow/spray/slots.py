"""From scored hours to days and slots: runs of go hours long enough for the job, ranked.

Of every local day: whether it has a slot, and how good its best one is.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import pandas as pd
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from spraywindow.spray.access import (
    DURATION_H,
    NO_ACCESS,
    Access,
    Mask,
    background_of,
    job_hours,
    local_days,
    open_hours,
)
from spraywindow.spray.chance import chance_of_holding
from spraywindow.spray.hours import Background
from spraywindow.weather import Array


@dataclass(frozen=True)
class Day:
    """A local day: its verdict and, unless go, the limit nearest to letting it go.

    `margin` is that limit's margin in the best stretch, NaN where unknown.
    """

    date: dt.date
    verdict: str
    held_by: str
    margin: float
    start: pd.Timestamp | None = None


def day_margins(
    hours: pd.DataFrame, duration_h: float = DURATION_H, *, access: Access | None = None
) -> pd.Series:
    """The margin of each local day's best slot.

    Parameters
    ----------
    hours, duration_h, access
        As for `find_slots`.

    Returns
    -------
    Series
        Indexed by local day (naive midnight), one for each day in the data; NaN without a slot.
    """
    need = job_hours(duration_h)
    background = background_of(hours)
    index = pd.DatetimeIndex(hours.index)
    days = local_days(index, background)
    go = hours["go"].to_numpy(dtype=bool) & open_hours(hours, access)
    calendar = np.arange(days[0], days[-1] + 1)
    margin = np.where(go, hours["margin"].to_numpy(dtype=float), -np.inf)
    best = best_of_day(margin, days - days[0], len(calendar), need)[0]
    return pd.Series(best, index=pd.to_datetime(calendar, unit="D"), name="margin")


def best_of_day(
    margin: Array, day: NDArray[np.int64], days: int, need: int
) -> tuple[Array, NDArray[np.int64]]:
    """Best least margin of the jobs within each day, and the row of the earliest such job.

    Parameters
    ----------
    margin : array [hour, ...]
        -inf where the hour is not to be worked.
    day : int array [hour, ...]
        The local day of each hour; below 0 and from `days` on it is none of those asked for.
    days : int
    need : int
        Whole hours of the job.

    Returns
    -------
    tuple of array [day, ...]
        NaN and -1 without a job.
    """
    hours = margin.reshape(len(margin), -1)  # (hour, column), whatever the axes were
    own = day.reshape(hours.shape)
    best = np.full((days, hours.shape[1]), -np.inf)
    rows = np.full(best.shape, len(hours), dtype=np.int64)
    if len(hours) >= need:
        least = sliding_window_view(hours, need, axis=0).min(axis=-1)  # (first hour, column)
        first, last = own[: len(least)], own[need - 1 :]
        fits = (first == last) & (first >= 0) & (first < days) & np.isfinite(least)
        columns = np.broadcast_to(np.arange(hours.shape[1]), first.shape)
        np.maximum.at(best, (first[fits], columns[fits]), least[fits])
        fits[fits] = least[fits] == best[first[fits], columns[fits]]
        hour, column = np.nonzero(fits)
        np.minimum.at(rows, (first[hour, column], column), hour)
    none, shape = np.isinf(best), (days, *margin.shape[1:])
    return np.where(none, np.nan, best).reshape(shape), np.where(none, -1, rows).reshape(shape)


def day_answers(
    hours: pd.DataFrame,
    duration_h: float = DURATION_H,
    *,
    access: Access | None = None,
    now: pd.Timestamp | None = None,
) -> list[Day]:
    """Say of each local day whether it has a slot, and if not, which limit is nearest.

    Parameters
    ----------
    hours, duration_h, access, now
        As for `find_slots`.

    Returns
    -------
    list of Day
        A day is "go" with a slot; "unknown" where a stretch of job length has no no-go hour but
        an unknown one; else "no-go". Days without a workable stretch are "no-go" by
        ``"access hours"``.
    """
    need = job_hours(duration_h)
    background = background_of(hours)
    index = pd.DatetimeIndex(hours.index)
    workable = open_hours(hours, access)
    if now is not None:
        workable = workable & np.asarray(index >= now)
    days = local_days(index, background)
    margin = hours["margin"].to_numpy(dtype=float)
    verdict = np.asarray(hours["verdict"], dtype=object)
    # an unknown hour ranks below every go hour and above every no-go hour
    rank = np.where(verdict == "no-go", margin - 1.0, np.where(verdict == "go", margin, -0.5))
    number = days - days[0]
    first = best_of_day(np.where(workable, rank, -np.inf), number, int(number[-1]) + 1, need)[1]
    answers = []
    for day in np.unique(days):
        date = dt.date(1970, 1, 1) + dt.timedelta(days=int(day))
        if now is not None and index[int(np.flatnonzero(days == day)[-1])] < now:
            continue
        best = int(first[day - days[0]])
        if best < 0:
            answers.append(Day(date, "no-go", NO_ACCESS, np.nan))
            continue
        worst = best + int(np.argmin(rank[best : best + need]))
        stretch = set(verdict[best : best + need])
        answer = "no-go" if "no-go" in stretch else "unknown" if "unknown" in stretch else "go"
        answers.append(
            Day(
                date,
                answer,
                str(hours["held_by"].iloc[worst]),
                float(margin[worst]),
                index[best].tz_convert(background.place.timezone),
            )
        )
    return answers


FAR_END = "end of the data"


@dataclass(frozen=True)
class Slot:
    """A run of go hours on one local day.

    Attributes
    ----------
    start, end : Timestamp
        In the site's time; the end is the end of the last hour.
    best_start : Timestamp
        Start of the stretch of job length with the greatest least margin.
    duration_h : float
        Length of the run [h].
    margin : float
        The least margin of that stretch [-].
    chance : float
        That the stretch holds [0-1]; 1 for past records.
    opens, closes : str
        The limit that held the hour before and the one that stops the hour after.
    tightest : str
        The limit that gives the margin.
    dry_h_after : float
        Hours known to stay without measurable rain after the best stretch [h].
    material : str
    """

    json_keys: ClassVar = (
        "start", "end", "best_start", "duration_h", "margin", "chance:3", "opens!", "closes!",
        "dry_h_after:1",
    )  # fmt: skip

    start: pd.Timestamp
    end: pd.Timestamp
    best_start: pd.Timestamp
    duration_h: float
    margin: float
    chance: float
    opens: str
    closes: str
    tightest: str
    dry_h_after: float
    material: str


def find_slots(
    hours: pd.DataFrame,
    duration_h: float = DURATION_H,
    *,
    access: Access | None = None,
    now: pd.Timestamp | None = None,
) -> list[Slot]:
    """Find the runs of go hours that are long enough for the job, the likeliest first.

    Parameters
    ----------
    hours : DataFrame
        From `spraywindow.spray.hours.score_hours`.
    duration_h : float
        Length of the job [h], more than 0, at most 24; whole hours are taken, rounded up.
    access : Access, optional
        Default: daylight.
    now : Timestamp, optional
        Hours that have begun before it are left out.

    Returns
    -------
    list of Slot
        Best first: by the chance that they hold, then by margin, then the earlier one.

    Raises
    ------
    InputError
        If `duration_h` is out of range.
    """
    need = job_hours(duration_h)
    background = background_of(hours)
    index = pd.DatetimeIndex(hours.index)
    workable = open_hours(hours, access)
    if now is not None:
        workable = workable & np.asarray(index >= now)
    go = hours["go"].to_numpy(dtype=bool) & workable
    slots = [
        _slot(hours, background, index, first, last, need)
        for first, last in _runs(go, local_days(index, background))
        if last - first >= need
    ]
    return sorted(slots, key=lambda slot: (-round(slot.chance, 6), -slot.margin, slot.start))


def _runs(go: Mask, days: NDArray[np.int64]) -> Iterator[tuple[int, int]]:
    """First row and the row after the last of each run of go hours on one day."""
    rows = np.flatnonzero(go)
    if not len(rows):
        return
    breaks = np.flatnonzero((np.diff(rows) > 1) | (np.diff(days[rows]) != 0)) + 1
    for run in np.split(rows, breaks):
        yield int(run[0]), int(run[-1]) + 1


def _slot(
    hours: pd.DataFrame,
    background: Background,
    index: pd.DatetimeIndex,
    first: int,
    last: int,
    need: int,
) -> Slot:
    margin = hours["margin"].to_numpy(dtype=float)
    least = sliding_window_view(margin[first:last], need).min(axis=1)
    best = first + int(np.argmax(least))
    job = slice(best, best + need)
    zone = background.place.timezone
    material = background.material
    dry_h = float(background.dry_h_after.reindex(index[best + need - 1 : best + need]).iloc[0])
    chance = 1.0
    issued = background.forecast_from
    if issued is not None and index[best + need - 1] >= issued:
        held = chance_of_holding(
            {limit.name: hours[limit.name].to_numpy(dtype=float)[job]
             for limit in material.limits if limit.name in hours.columns},
            material.limits,
            np.asarray((index[job] - issued) / pd.Timedelta(hours=1), dtype=float),
            dry_h - material.dry_spell_h,
        )  # fmt: skip
        chance = float(held)
    return Slot(
        start=index[first].tz_convert(zone),
        end=(index[last - 1] + pd.Timedelta(hours=1)).tz_convert(zone),
        best_start=index[best].tz_convert(zone),
        duration_h=float(last - first),
        margin=float(least.max()),
        chance=chance,
        opens=_held(hours, first - 1),
        closes=_held(hours, last),
        tightest=str(hours["held_by"].iloc[best + int(np.argmin(margin[job]))]),
        dry_h_after=dry_h,
        material=material.name,
    )


def _held(hours: pd.DataFrame, row: int) -> str:
    """What holds the hour at a row beside a run."""
    if not 0 <= row < len(hours):
        return FAR_END
    if not hours["go"].iloc[row]:
        return str(hours["held_by"].iloc[row])
    return NO_ACCESS
