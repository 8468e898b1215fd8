"""When a site may be worked, and how scored hours fall on its local days."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import InputError
from spraywindow.spray.hours import Background

DURATION_H = 2.0
"""Usual length of the job [h]; P."""
NO_ACCESS = "access hours"
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Access:
    """When the site may be worked.

    Parameters
    ----------
    start_h, end_h : float or None
        Local clock hours; None leaves that side to daylight.
    weekdays : frozenset of int
        Monday is 0.
    closed : frozenset of date
        Single local days without access.
    """

    start_h: float | None = None
    end_h: float | None = None
    weekdays: frozenset[int] = frozenset(range(7))
    closed: frozenset[dt.date] = frozenset()

    def works_on(self, day: dt.date) -> bool:
        """Whether a local day is a working day."""
        return day.weekday() in self.weekdays and day not in self.closed

    def within(self, first_h: float, last_h: float) -> tuple[float, float] | None:
        """The part of a run of clock hours in which there is access; None without any."""
        start = first_h if self.start_h is None else max(first_h, self.start_h)
        end = last_h if self.end_h is None else min(last_h, self.end_h)
        return (start, end) if start < end else None


def workable(
    access: Access, clock_h: NDArray[np.float64], weekday: NDArray[np.int64], daylight: Mask
) -> Mask:
    """Hours in which the site may be worked, closed days aside; arrays of any one shape.

    A side without a clock hour is that of daylight: the morning's, or the evening's.

    Parameters
    ----------
    access : Access
    clock_h : array
        Local clock hour at the start of each hour.
    weekday : int array
        Monday is 0.
    daylight : bool array
        Whether the whole hour is light.
    """
    morning = clock_h < 12.0
    after = daylight | ~morning if access.start_h is None else clock_h >= access.start_h
    before = daylight | morning if access.end_h is None else clock_h + 1.0 <= access.end_h
    mask = after & before
    if len(access.weekdays) < 7:
        mask = mask & np.isin(weekday, sorted(access.weekdays))
    return np.asarray(mask, dtype=bool)


def background_of(hours: pd.DataFrame) -> Background:
    """What `score_hours` left beside its frame."""
    background = hours.attrs.get("background")
    if not isinstance(background, Background):
        raise ValueError("the frame does not come from score_hours: its attrs are missing")
    return background


def open_hours(hours: pd.DataFrame, access: Access | None = None) -> Mask:
    """Hours in which the site may be worked: all of the hour inside the access or daylight."""
    background = background_of(hours)
    access = access or Access()
    index = pd.DatetimeIndex(hours.index)
    local = index.tz_convert(background.place.timezone)
    clock = (local.hour + local.minute / 60).to_numpy(dtype=float)
    daylight = background.daylight.reindex(index, fill_value=False).to_numpy(dtype=bool)
    mask = workable(access, clock, np.asarray(local.day_of_week), daylight)
    if access.closed:
        mask = mask & ~np.isin(local.date, sorted(access.closed))
    return np.asarray(mask, dtype=bool)


def job_hours(duration_h: float) -> int:
    """Whole hours of a job; `InputError` outside 0 to 24 h."""
    if not 0 < duration_h <= 24:
        raise InputError(
            "job length out of range", expected="more than 0 h, at most 24", got=duration_h
        )
    return int(np.ceil(duration_h))


def local_days(index: pd.DatetimeIndex, background: Background) -> NDArray[np.int64]:
    """Number of each hour's local day since the epoch."""
    local = index.tz_convert(background.place.timezone).tz_localize(None)
    return np.asarray(local.as_unit("s").asi8 // 86400)
