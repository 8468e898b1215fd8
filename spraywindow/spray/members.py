"""Members of an ensemble through the kernel, and the chance that they earn.

Each limit is judged member by member, so that what belongs together in a member stays together.
The share of members in which a job is go is no chance: as a chance of a dry day it is worse than
the season's own frequency. What is calibrated by the event is said as a chance, nothing else.

References
----------
.. [1] Wilks (2009), Extending logistic regression to provide full-probability-distribution MOS
   forecasts, Meteorological Applications 16:361, doi:10.1002/met.134.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.lib.stride_tricks import sliding_window_view

from spraywindow.place import Place
from spraywindow.spray.conditions import Conditions, Setting
from spraywindow.spray.hours import sun_of
from spraywindow.spray.kernel import GO, NO_GO, Scores, score_arrays
from spraywindow.spray.material import Material
from spraywindow.weather import Array, Interval, Sun, pressure_at_kpa


def score_members(
    columns: Mapping[str, Array],
    index: pd.DatetimeIndex,
    place: Place,
    material: Material,
    stage: int | None = None,
    *,
    setting: Setting | None = None,
    forecast_from: pd.Timestamp | None = None,
) -> Scores:
    """Score each hour of each member for a material.

    Parameters
    ----------
    columns : mapping of str to array [hour, member]
        Columns of the weather table, checked; NaN is unknown.
    index : DatetimeIndex
        The hours, UTC.
    place, material, stage, setting
        As for `spraywindow.spray.hours.score_hours`.
    forecast_from : Timestamp, optional
        As there: from here on frost is judged with a single forecast's uncertainty. Without it
        the members' own spread is all of it.

    Returns
    -------
    Scores
        Arrays [hour, member]: those that `score_hours` gives for each member alone.
    """
    shape = columns["temp_c"].shape
    sun = sun_of(index, place)
    wide = (
        np.broadcast_to(part[:, np.newaxis], shape)
        for part in (sun.elevation_deg, sun.hours_from_rise_or_set, sun.clear_wm2)
    )
    conditions = Conditions(
        columns,
        Sun(*wide),
        setting or Setting(),
        forecast=None if forecast_from is None else np.asarray(index >= forecast_from),
        pressure_kpa=pressure_at_kpa(place.elevation_m),
    )
    return score_arrays(conditions, material, stage)


def go_shares(scores: Scores, need: int) -> Interval:
    """Share of members in which every hour of a job is go. It is not a chance.

    Parameters
    ----------
    scores : Scores
        Arrays [hour, member].
    need : int
        Whole hours of the job.

    Returns
    -------
    Interval
        By the hour at which the job starts [0-1]: members that are surely go, and those that are
        not surely no-go. A job that passes the end of the data may be go in none or in all.
    """
    low, high = np.zeros(len(scores.verdict)), np.ones(len(scores.verdict))
    count = len(low) - need + 1
    if count > 0:
        jobs = sliding_window_view(scores.verdict, need, axis=0)  # [start, member, hour of job]
        low[:count] = (jobs == GO).all(axis=-1).mean(axis=-1)
        high[:count] = 1.0 - (jobs == NO_GO).any(axis=-1).mean(axis=-1)
    return Interval(low, high)


@dataclass(frozen=True)
class DryEvent:
    """The calibrated chance that a window stays dry, from the rain of its members.

    ``1 / (1 + exp(-(constant + root * r + share * s)))`` with r the mean of the members' square
    roots of rain [mm^0.5] and s the share of members in the event [1].

    Attributes
    ----------
    most_mm : float
        The event: no more rain than this in the window.
    hours, first_h, last_h : int
        Length of the window, and between which hours after the issue it lay in the data [h].
    constant, root, share : float
        The coefficients. Rain lowers the chance by both.
    cases : int
        Days that they were fitted to.
    skill, calibration_error : float
        Brier skill over the other years' frequency, and mean difference of said and came, on
        years left out in turn.
    source, script : str
        Of what data, over which years; what fitted them.
    """

    most_mm: float
    hours: int
    first_h: int
    last_h: int
    constant: float
    root: float
    share: float
    cases: int
    skill: float
    calibration_error: float
    source: str
    script: str

    def chance(self, rain_mm: Array) -> Array:
        """The chance of the event [0-1].

        Parameters
        ----------
        rain_mm : array [..., member]
            Rain of the window in each member, the most that it could be where it is not known
            exactly; NaN and inf are unknown.

        Returns
        -------
        array [...]
            NaN where a member is unknown: leaving it out could raise the chance.
        """
        known = np.asarray(np.isfinite(rain_mm).all(axis=-1))
        rain = np.where(known[..., np.newaxis], rain_mm, 0.0)
        line = self.constant + self.root * np.sqrt(rain).mean(axis=-1)
        line = line + self.share * (rain <= self.most_mm).mean(axis=-1)
        return np.where(known, 1.0 / (1.0 + np.exp(-line)), np.nan)


_FRANKFURT = (
    "Frankfurt airport, 2007-01 to 2013-12, 24 h rain of a gauge beside 52 members of ECMWF: "
    "rain.dat of the public repository evwalz/isodisreg, commit 413b052d (MIT)"
)
_SCRIPT = "notebooks/member_calibration.py"
DRY_EVENTS = (
    DryEvent(0.254, 24, 6, 30, 2.9852, -2.5831, 1.3483, 2531, 0.584, 0.019, _FRANKFURT, _SCRIPT),
    DryEvent(2.0, 24, 6, 30, 3.5150, -1.9795, 1.4197, 2531, 0.541, 0.014, _FRANKFURT, _SCRIPT),
)
"""No measurable rain in a day, and at most 2 mm. The raw share of members has skill 0.11 and 0.39
there, and -0.83 for no rain at all. Further ahead, over longer windows, in another climate or with
another ensemble nothing is known of it."""
