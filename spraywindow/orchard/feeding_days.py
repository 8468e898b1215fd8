"""Which of the coming days the weather and the ground allow for feeding.

References
----------
.. [1] Ohio extension, fact sheet ANR-0156: no fertilizer when more
   than 25 mm are due in 12 h, nor on saturated, frozen or snow-covered ground.
.. [2] Florida model ordinance for fertilizer use: none when more than 50 mm are due in 24 h.
   From memory.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import ClassVar

import numpy as np
import pandas as pd

from spraywindow.orchard.local_days import at_clock, days_from, row_at
from spraywindow.orchard.rain_bounds import rain_between
from spraywindow.orchard.soil_water import Soil, soil_water
from spraywindow.orchard.verdicts import Finding, Verdict, hardest, not_above, working_day
from spraywindow.place import Place
from spraywindow.spray.access import Access
from spraywindow.weather.hourly import COLUMNS


@dataclass(frozen=True)
class FeedingRules:
    """Limits of weather for feeding; the user's to change.

    Parameters
    ----------
    most_rain_12h_mm, most_rain_24h_mm : float
        More than this in any 12 or 24 h of the look-ahead stops it, [1], [2].
    look_ahead_h : int
        How far ahead heavy rain counts, and light rain helps; at least 24 h (P).
    light_rain_mm : tuple of float
        Least and most rain of the look-ahead that waters the dose in (P).
    frozen_h : int
        The ground counts as frozen when the mean temperature of so many hours before is below
        0 degC (P).
    first_hour, last_hour : int
        Local clock hours between which the work is done.
    access : Access
        The site's working days.
    """

    most_rain_12h_mm: float = 25.0
    most_rain_24h_mm: float = 50.0
    look_ahead_h: int = 48
    light_rain_mm: tuple[float, float] = (3.0, 12.0)
    frozen_h: int = 48
    first_hour: int = 7
    last_hour: int = 19
    access: Access = field(default_factory=Access)

    def __post_init__(self) -> None:
        """Check the values."""
        if self.look_ahead_h < 24 or not 0 <= self.first_hour < self.last_hour <= 23:
            raise ValueError("a look-ahead of at least 24 h and ascending clock hours are needed")


@dataclass(frozen=True)
class FeedingDay:
    """A local day: verdict and reason, rain of the look-ahead [mm] as bounds, and the bonus.

    `light_rain` is None where it is not known.
    """

    json_keys: ClassVar = (
        "date=day", "verdict", "rain_low_mm:2", "rain_high_mm:2", "light_rain", "reason!",
    )  # fmt: skip

    day: date
    verdict: Verdict
    reason: str
    rain_low_mm: float
    rain_high_mm: float
    light_rain: bool | None


def feeding_days(
    weather: pd.DataFrame,
    place: Place,
    soil: Soil,
    now: pd.Timestamp,
    *,
    rules: FeedingRules | None = None,
    snow_on_ground: bool = False,
) -> tuple[FeedingDay, ...]:
    """Judge each local day from `now` to the end of the weather table.

    Parameters
    ----------
    weather : pandas.DataFrame
        Checked hourly table; a week or two before `now` settle how wet the ground is.
    place : Place
        Where the site lies.
    soil : Soil
        The ground.
    now : pandas.Timestamp
        tz-aware; a day whose last working hour is past is left out.
    rules : FeedingRules, optional
        Limits.
    snow_on_ground : bool
        Seen today: no today, unknown later.

    Returns
    -------
    tuple of FeedingDay
        Unknown rain, temperature or ground is never go.
    """  # fmt: skip
    rules = rules or FeedingRules()
    ground = soil_water(weather, place, soil)
    found = []
    for local_day in days_from(weather, place.timezone, now):
        if now >= at_clock(local_day, rules.last_hour, place.timezone):
            continue
        morning = at_clock(local_day, rules.first_hour, place.timezone)
        begin = row_at(weather, max(now, morning))
        low, high = (float(bound[0]) for bound in rain_between(
            weather, np.array([begin]), np.array([begin + rules.look_ahead_h])
        ))  # fmt: skip
        is_today = local_day.date() == now.tz_convert(place.timezone).date()
        finding = hardest((
            working_day(local_day.date(), rules.access),
            *_snow(snow_on_ground, is_today),
            *_heavy_rain(weather, begin, rules),
            _frozen(weather, begin, rules),
            _saturated(ground, local_day, soil),
        ))  # fmt: skip
        found.append(FeedingDay(local_day.date(), finding.verdict, finding.reason, low, high,
                                _within(low, high, rules.light_rain_mm)))  # fmt: skip
    return tuple(found)


def _heavy_rain(weather: pd.DataFrame, begin: int, rules: FeedingRules) -> list[Finding]:
    findings = []
    for span, most in ((12, rules.most_rain_12h_mm), (24, rules.most_rain_24h_mm)):
        starts = begin + np.arange(rules.look_ahead_h - span + 1)
        low, high = rain_between(weather, starts, starts + span)
        beyond = begin + rules.look_ahead_h > len(weather)
        findings.append(not_above(
            float(low.max()), float(high.max()), most,
            over=f"heavy rain is due: more than {most:g} mm in {span} h",
            unknown="too early to say" if beyond else "the coming rain is not known",
        ))  # fmt: skip
    return findings


def _saturated(ground: pd.DataFrame, local_day: pd.Timestamp, soil: Soil) -> Finding:
    if local_day not in ground.index:
        return Finding("unknown", "how wet the ground is, is not known")
    low, high = (ground[name].loc[local_day] for name in ("wettest_low_mm", "wettest_high_mm"))
    return not_above(
        float(low), float(high), soil.saturated_mm,
        over="the ground is saturated", unknown="how wet the ground is, is not known",
    )  # fmt: skip


def _frozen(weather: pd.DataFrame, begin: int, rules: FeedingRules) -> Finding:
    rows = np.arange(begin - rules.frozen_h, begin)
    inside = (rows >= 0) & (rows < len(weather))
    temp = np.full(rows.size, np.nan)
    temp[inside] = weather["temp_c"].to_numpy(dtype=float)[rows[inside]]
    column, unknown = COLUMNS["temp_c"], np.isnan(temp)
    coldest = float(np.where(unknown, column.low, temp).mean())
    warmest = float(np.where(unknown, column.high, temp).mean())
    return not_above(-warmest, -coldest, 0.0, over="the ground may be frozen",
                     unknown="whether the ground is frozen is not known")  # fmt: skip


def _snow(seen: bool, is_today: bool) -> list[Finding]:
    if not seen:
        return []
    if is_today:
        return [Finding("no-go", "snow lies on the ground")]
    return [Finding("unknown", "snow lay on the ground: look again")]


def _within(low: float, high: float, span: tuple[float, float]) -> bool | None:
    if span[0] <= low and high <= span[1]:
        return True
    return False if high < span[0] or low > span[1] else None
