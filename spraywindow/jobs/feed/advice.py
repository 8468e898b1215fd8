"""When to feed, how much, and why not now: which days the weather and the ground allow.

References
----------
.. [1] Ohio extension, fact sheet ANR-0156: no fertilizer when more
   than 25 mm are due in 12 h, nor on saturated, frozen or snow-covered ground.
.. [2] Florida model ordinance for fertilizer use: none when more than 50 mm are due in 24 h.
   From memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import ClassVar, Literal

import numpy as np
import pandas as pd

from spraywindow.days import at_clock, days_from, row_at
from spraywindow.errors import InputError
from spraywindow.handbook import (
    Dose,
    DosePlan,
    Fertilizer,
    Given,
    NitrogenCheck,
    Soil,
    check_nitrogen,
    last_feeding_day,
    plan_doses,
    soil_water,
)
from spraywindow.place import Place
from spraywindow.reasons import Amount, Reason
from spraywindow.spray import (
    RAIN_UNKNOWN,
    TOO_EARLY,
    Access,
    Finding,
    Verdict,
    hardest,
    not_above,
    working_day,
)
from spraywindow.weather import COLUMNS, rain_between

WETNESS_UNKNOWN = Reason("how wet the ground is, is not known")
DOSE_GIVEN = Reason("the year's dose is given")
TOO_LATE = "too late in the year: none after {}"


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
        The site's working days, and the hours of them with access.
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

    @property
    def hours(self) -> tuple[float, float]:
        """Local clock hours of the work: those with access, where any of its own have."""
        own = self.first_hour, self.last_hour
        return self.access.within(*own) or own


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
    reason: Reason | None
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
    first_h, last_h = rules.hours
    for local_day in days_from(weather, place.timezone, now):
        if now >= at_clock(local_day, last_h, place.timezone):
            continue
        morning = at_clock(local_day, first_h, place.timezone)
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
            over=Reason("heavy rain is due: more than {} in {} h", (Amount(most, "mm"), str(span))),
            unknown=TOO_EARLY if beyond else RAIN_UNKNOWN,
        ))  # fmt: skip
    return findings


def _saturated(ground: pd.DataFrame, local_day: pd.Timestamp, soil: Soil) -> Finding:
    if local_day not in ground.index:
        return Finding("unknown", WETNESS_UNKNOWN)
    low, high = (ground[name].loc[local_day] for name in ("wettest_low_mm", "wettest_high_mm"))
    return not_above(
        float(low), float(high), soil.saturated_mm,
        over=Reason("the ground is saturated"), unknown=WETNESS_UNKNOWN,
    )  # fmt: skip


def _frozen(weather: pd.DataFrame, begin: int, rules: FeedingRules) -> Finding:
    rows = np.arange(begin - rules.frozen_h, begin)
    inside = (rows >= 0) & (rows < len(weather))
    temp = np.full(rows.size, np.nan)
    temp[inside] = weather["temp_c"].to_numpy(dtype=float)[rows[inside]]
    column, unknown = COLUMNS["temp_c"], np.isnan(temp)
    coldest = float(np.where(unknown, column.low, temp).mean())
    warmest = float(np.where(unknown, column.high, temp).mean())
    return not_above(-warmest, -coldest, 0.0, over=Reason("the ground may be frozen"),
                     unknown=Reason("whether the ground is frozen is not known"))  # fmt: skip


def _snow(seen: bool, is_today: bool) -> list[Finding]:
    if not seen:
        return []
    if is_today:
        return [Finding("no-go", Reason("snow lies on the ground"))]
    return [Finding("unknown", Reason("snow lay on the ground: look again"))]


def _within(low: float, high: float, span: tuple[float, float]) -> bool | None:
    if span[0] <= low and high <= span[1]:
        return True
    return False if high < span[0] or low > span[1] else None


CAUTIONS = (
    "Follow the bag; measure, do not guess. Too much phosphorus is toxic and slow to undo: have "
    "the soil tested first.",
    "Spread at and inside the drip line, away from the trunk, and water in.",
)
FLOWERING_MONTHS_NORTH = range(1, 7)
"""Months in which stone fruit may flower north of the equator; P."""


@dataclass(frozen=True)
class Wake:
    """When the trees wake: flowering seen, or forecast."""

    day: date
    observed: bool


@dataclass(frozen=True)
class FedTree:
    """One tree (or many alike): the year's dose, the product, and what it had.

    `trunk_diameter_m` [m] and `age_years` serve the nitrogen check; `parts` overrides one part a
    month, `last_day` the middle of August or February.
    """

    annual: Dose
    fertilizer: Fertilizer
    given: tuple[Given, ...] = ()
    trunk_diameter_m: float | None = None
    age_years: float | None = None
    parts: int | None = None
    last_day: date | None = None


@dataclass(frozen=True)
class FeedingWindow:
    """A run of days that are good for feeding; `best` has light rain coming, if any has."""

    start: date
    stop: date
    best: date
    light_rain: bool


@dataclass(frozen=True)
class FeedingAdvice:
    """The answer: state and reason, windows, days, the dose plan and its checks; the nitrogen's
    warnings stand with it.

    `state` is "dormant" (refused), "open", "fed" (the year's dose is given) or "over" (too late
    in the year). `plan` and `last_day` are None while no waking is known.
    """

    state: Literal["dormant", "open", "fed", "over"]
    reason: Reason | None
    windows: tuple[FeedingWindow, ...]
    days: tuple[FeedingDay, ...]
    plan: DosePlan | None
    last_day: date | None
    nitrogen: NitrogenCheck
    warnings: tuple[Reason, ...]


def feeding_advice(
    days: tuple[FeedingDay, ...],
    place: Place,
    tree: FedTree,
    now: pd.Timestamp,
    *,
    wake: Wake | None,
) -> FeedingAdvice:
    """Say whether and when to feed.

    Parameters
    ----------
    days : tuple of FeedingDay
        What weather and ground allow (`feeding_days`): the same for all trees of a place.
    place : Place
        Where the site lies.
    tree : FedTree
        What is fed, with what.
    now : pandas.Timestamp
        tz-aware time of the question.
    wake : Wake or None
        Flowering of this year; None when none was seen or forecast.

    Raises
    ------
    InputError
        If flowering is said to be seen in the future, or a dose given then.
    """
    today = now.tz_convert(place.timezone).date()
    nitrogen = check_nitrogen(
        tree.annual,
        tree.fertilizer,
        trunk_diameter_m=tree.trunk_diameter_m,
        age_years=tree.age_years,
    )
    if wake is None:
        asleep = Reason("no flowering is seen or forecast, and dormant trees are not fed")
        return FeedingAdvice("dormant", asleep, (), tuple(_stop(day, asleep) for day in days),
                             None, None, nitrogen, ())  # fmt: skip
    if wake.observed and wake.day > today:
        raise InputError(
            "a date in the future",
            where="flowering seen",
            expected=f"at most {today}",
            got=str(wake.day),
        )
    last_day = tree.last_day or last_feeding_day(wake.day, place.latitude)
    if last_day <= wake.day:
        raise InputError(
            "the last feeding day is not after flowering",
            where="last_day",
            expected=f"after {wake.day}",
            got=str(last_day),
        )
    plan = plan_doses(tree.annual, tree.fertilizer, tree.given, wake=wake.day, last_day=last_day,
                      today=today, parts=tree.parts)  # fmt: skip
    state, reason = _state(wake, plan, last_day, today)
    judged = tuple(_in_season(day, wake, plan, last_day) for day in days)
    warnings = (*plan.warnings, *_wake_warnings(wake, today, place))
    return FeedingAdvice(state, reason, feeding_windows(judged), judged, plan, last_day, nitrogen,
                         warnings)  # fmt: skip


def feeding_windows(days: Sequence[FeedingDay]) -> tuple[FeedingWindow, ...]:
    """Join days in a row that are go into windows."""
    runs: list[list[FeedingDay]] = []
    for day in days:
        if day.verdict != "go":
            continue
        if runs and (day.day - runs[-1][-1].day).days == 1:
            runs[-1].append(day)
        else:
            runs.append([day])
    windows = []
    for run in runs:
        best = next((day for day in run if day.light_rain), run[0])
        windows.append(FeedingWindow(run[0].day, run[-1].day, best.day, best.light_rain is True))
    return tuple(windows)


def _state(wake: Wake, plan: DosePlan, last_day: date, today: date
           ) -> tuple[Literal["dormant", "open", "fed", "over"], Reason | None]:  # fmt: skip
    if today < wake.day:
        return "dormant", Reason("the trees are dormant; flowering is forecast for {}", (wake.day,))
    if today > last_day:
        return "over", Reason(TOO_LATE, (last_day,))
    if plan.left <= 0:
        return "fed", DOSE_GIVEN
    if plan.next_part is None:
        return "fed", Reason("this year's last part is given")
    return "open", None


def _in_season(day: FeedingDay, wake: Wake, plan: DosePlan, last_day: date) -> FeedingDay:
    part = plan.next_part
    if day.day < wake.day:
        return _stop(day, Reason("the trees are dormant"))
    if day.day > last_day:
        return _stop(day, Reason(TOO_LATE, (last_day,)))
    if part is None:
        return _stop(day, DOSE_GIVEN)
    due = Reason("the next part is due from {}", (part.start,))
    return _stop(day, due) if day.day < part.start else day


def _stop(day: FeedingDay, reason: Reason) -> FeedingDay:
    return replace(day, verdict="no-go", reason=reason)


def _wake_warnings(wake: Wake, today: date, place: Place) -> list[Reason]:
    warnings = []
    if not wake.observed:
        warnings.append(
            Reason("flowering on {} is a forecast: look at the trees first", (wake.day,))
        )
    northern_month = wake.day.month if place.latitude >= 0 else (wake.day.month + 5) % 12 + 1
    if northern_month not in FLOWERING_MONTHS_NORTH:
        warnings.append(Reason("flowering on {} is an odd time of the year", (wake.day,)))
    if (today - wake.day).days > 366:
        warnings.append(Reason("flowering on {} is more than a year ago", (wake.day,)))
    return warnings
