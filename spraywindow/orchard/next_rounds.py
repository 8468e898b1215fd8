"""What is next in a season that has begun: for each material the next day allowed, and a morning.

The day follows from what is done and from the end of the season; the morning is known from the
forecast alone. Which blocks are open to it on that day is the business of the evening's answer.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd

from spraywindow.orchard.site import Site
from spraywindow.season.past import Season
from spraywindow.season.program import Program
from spraywindow.spray.days import day_margins
from spraywindow.spray.hours import score_hours


@dataclass(frozen=True)
class NextRound:
    """The next round of one material.

    Attributes
    ----------
    material : str
    owed : int
        Rounds still to make.
    allowed : date or None
        First day, from tomorrow on, that what is done leaves free; None where the season is
        forecast to be over by then.
    morning : date or None
        First usable day from then on that the forecast already tells; None where it tells none.
    known_until : date or None
        Last day of which the forecast tells every hour.
    """

    material: str
    owed: int
    allowed: dt.date | None
    morning: dt.date | None
    known_until: dt.date | None


def next_rounds(
    site: Site, program: Program, season: Season, forecast: pd.DataFrame | None
) -> tuple[NextRound, ...]:
    """Say what is next for every material of which a round is owed.

    Parameters
    ----------
    site : Site
    program : Program
        With what is done.
    season : Season
        From tomorrow on.
    forecast : DataFrame, optional
        Hourly table that holds the coming days.
    """
    rows = []
    days = pd.date_range(season.first, periods=len(season.free))
    for number, (owed, material) in enumerate(
        zip(program.visits_allowed, season.materials, strict=True)
    ):
        if owed == 0:
            continue
        then = season.ending.then[0, number]
        last = float(np.median(then)) if then.size else np.inf
        free = season.free[:, number] & (np.arange(len(days)) <= last)
        allowed = days[int(free.argmax())].date() if free.any() else None
        morning = known_until = None
        if forecast is not None:
            hours = score_hours(forecast, site.place, material, setting=site.setting)
            known_until = _last_whole_day(hours, site)
            margins = day_margins(hours, site.job_h, access=site.access).reindex(days[free])
            usable = margins.index[margins.notna()]
            morning = usable[0].date() if len(usable) else None
        rows.append(NextRound(material.name, owed, allowed, morning, known_until))
    return tuple(rows)


def _last_whole_day(hours: pd.DataFrame, site: Site) -> dt.date | None:
    known: pd.Timestamp | None = hours.attrs["known_until"]
    if known is None:
        return None
    end = (known + pd.Timedelta(hours=1)).tz_convert(site.place.timezone)
    return (end.normalize() - pd.Timedelta(days=1)).date()
