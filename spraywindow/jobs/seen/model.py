"""What the model says of a morning that somebody looked at: dry from when, how cold the night."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from spraywindow.days import HOUR, at_clock
from spraywindow.site import Site
from spraywindow.spray import OIL, background_of, score_hours
from spraywindow.weather import REQUIRED, check_hourly

NOON, MORNING = 12, 10
"""A night's lowest is read in the morning, and lies between these clock hours; P."""


def model_dry(site: Site, weather: pd.DataFrame, day: dt.date) -> dt.datetime | None:
    """From when on the bark is surely dry on a local day, as answers go by it; in the site's time.

    `site` is as its file says, without what notes teach. None where the weather does not tell
    every hour from the noon before, or the bark is surely dry in no daylight hour of the day.
    """
    table, zone = check_hourly(weather), site.place.timezone
    background = background_of(score_hours(table, site.place, OIL, setting=site.setting))
    first = at_clock(pd.Timestamp(day), 0, zone)
    of_day = (table.index >= first) & (table.index < first + 24 * HOUR)
    dry = table.index[of_day & background.daylight & background.surely_dry]
    if not len(dry) or not _told(table, list(REQUIRED), day, zone, dry[0] + HOUR).all():
        return None
    found: dt.datetime = dry[0].tz_convert(zone).to_pydatetime()
    return found


def model_lowest(site: Site, weather: pd.DataFrame, day: dt.date) -> float | None:
    """The lowest temperature of the night before a local day [degC], the site's hollow taken in.

    None where the weather does not tell every hour of it.
    """
    table, zone = check_hourly(weather), site.place.timezone
    conditions = background_of(score_hours(table, site.place, OIL, setting=site.setting)).conditions
    told = _told(table, ["temp_c"], day, zone, at_clock(pd.Timestamp(day), MORNING, zone))
    if not told.all():
        return None
    night = np.asarray(table.index.isin(told.index))
    return round(float(conditions.temp.low[night].min()), 2)


def _told(
    table: pd.DataFrame, columns: list[str], day: dt.date, zone: str, end: pd.Timestamp
) -> pd.Series[bool]:
    """Of every hour from the noon before a local day to `end`, whether its columns are known."""
    start = at_clock(pd.Timestamp(day) - pd.Timedelta(days=1), NOON, zone).tz_convert("UTC")
    hours = pd.date_range(start, end.tz_convert("UTC"), freq="h", inclusive="left")
    return table[columns].reindex(hours).notna().all(axis=1)
