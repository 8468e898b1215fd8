"""From scored hours to days: whether each local day has a slot, and how good its best one is."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.lib.stride_tricks import sliding_window_view

from spraywindow.spray.access import (
    DURATION_H,
    NO_ACCESS,
    Access,
    background_of,
    job_hours,
    local_days,
    open_hours,
)
from spraywindow.weather.interval import Array


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
    best = np.full(int(days[-1] - days[0]) + 1, -np.inf)
    if len(go) >= need:
        margin = np.where(go, hours["margin"].to_numpy(dtype=float), -np.inf)
        least = sliding_window_view(margin, need).min(axis=-1)
        same_day = days[need - 1 :] == days[: len(days) - need + 1]
        np.maximum.at(best, (days[: len(least)] - days[0])[same_day], least[same_day])
    calendar = pd.to_datetime(np.arange(days[0], days[-1] + 1), unit="D")
    return pd.Series(np.where(np.isinf(best), np.nan, best), index=calendar, name="margin")


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
    answers = []
    for day in np.unique(days):
        rows = np.flatnonzero(days == day)
        date = dt.date(1970, 1, 1) + dt.timedelta(days=int(day))
        if now is not None and index[int(rows[-1])] < now:
            continue
        starts = [
            row for row in rows if row + need <= rows[-1] + 1 and workable[row : row + need].all()
        ]
        if not starts:
            answers.append(Day(date, "no-go", NO_ACCESS, np.nan))
            continue
        least: Array = np.array([rank[row : row + need].min() for row in starts])
        best = int(starts[int(np.argmax(least))])
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
