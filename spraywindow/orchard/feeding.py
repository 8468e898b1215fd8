"""When to feed, how much, and why not now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

import pandas as pd

from spraywindow.errors import InputError, describe
from spraywindow.orchard.feeding_days import FeedingDay, FeedingRules, feeding_days
from spraywindow.orchard.feeding_dose import DosePlan, Given, last_feeding_day, plan_doses
from spraywindow.orchard.fertilizer import Dose, Fertilizer, NitrogenCheck, check_nitrogen
from spraywindow.orchard.soil_water import SOILS, Soil
from spraywindow.place import Place

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
    """The answer: state and reason, windows, days, the dose plan and its checks.

    `state` is "dormant" (refused), "open", "fed" (the year's dose is given) or "over" (too late
    in the year). `plan` and `last_day` are None while no waking is known.
    """

    state: Literal["dormant", "open", "fed", "over"]
    reason: str
    windows: tuple[FeedingWindow, ...]
    days: tuple[FeedingDay, ...]
    plan: DosePlan | None
    last_day: date | None
    nitrogen: NitrogenCheck
    warnings: tuple[str, ...]


def feeding_advice(
    weather: pd.DataFrame,
    place: Place,
    tree: FedTree,
    now: pd.Timestamp,
    *,
    wake: Wake | None,
    soil: Soil = SOILS["loam"],
    rules: FeedingRules | None = None,
    snow_on_ground: bool = False,
) -> FeedingAdvice:
    """Say whether and when to feed.

    Parameters
    ----------
    weather : pandas.DataFrame
        Checked hourly table, from a week or two before `now` to the end of the forecast.
    place : Place
        Where the site lies.
    tree : FedTree
        What is fed, with what.
    now : pandas.Timestamp
        tz-aware time of the question.
    wake : Wake or None
        Flowering of this year; None when none was seen or forecast.
    soil, rules, snow_on_ground
        As in `feeding_days`.

    Raises
    ------
    InputError
        If flowering is said to be seen in the future, or a dose given then.
    """  # fmt: skip
    today = now.tz_convert(place.timezone).date()
    nitrogen = check_nitrogen(
        tree.annual,
        tree.fertilizer,
        trunk_diameter_m=tree.trunk_diameter_m,
        age_years=tree.age_years,
    )
    days = feeding_days(weather, place, soil, now, rules=rules, snow_on_ground=snow_on_ground)
    if wake is None:
        reason = "no flowering is seen or forecast, and dormant trees are not fed"
        return FeedingAdvice("dormant", reason, (), tuple(_stop(day, reason) for day in days),
                             None, None, nitrogen, nitrogen.warnings)  # fmt: skip
    if wake.observed and wake.day > today:
        raise InputError(describe("a date in the future", where="flowering seen",
                                  expected=f"at most {today}", got=str(wake.day)))  # fmt: skip
    last_day = tree.last_day or last_feeding_day(wake.day, place.latitude)
    if last_day <= wake.day:
        raise InputError(describe("the last feeding day is not after flowering", where="last_day",
                                  expected=f"after {wake.day}", got=str(last_day)))  # fmt: skip
    plan = plan_doses(tree.annual, tree.fertilizer, tree.given, wake=wake.day, last_day=last_day,
                      today=today, parts=tree.parts)  # fmt: skip
    state, reason = _state(wake, plan, last_day, today)
    judged = tuple(_in_season(day, wake, plan, last_day) for day in days)
    warnings = (*plan.warnings, *nitrogen.warnings, *_wake_warnings(wake, today, place))
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
           ) -> tuple[Literal["dormant", "open", "fed", "over"], str]:  # fmt: skip
    if today < wake.day:
        return "dormant", f"the trees are dormant; flowering is forecast for {wake.day}"
    if today > last_day:
        return "over", f"too late in the year: none after {last_day}"
    if plan.left <= 0:
        return "fed", "the year's dose is given"
    if plan.next_part is None:
        return "fed", "this year's last part is given"
    return "open", ""


def _in_season(day: FeedingDay, wake: Wake, plan: DosePlan, last_day: date) -> FeedingDay:
    part = plan.next_part
    if day.day < wake.day:
        return _stop(day, "the trees are dormant")
    if day.day > last_day:
        return _stop(day, f"too late in the year: none after {last_day}")
    if part is None:
        return _stop(day, "the year's dose is given")
    return _stop(day, f"the next part is due from {part.start}") if day.day < part.start else day


def _stop(day: FeedingDay, reason: str) -> FeedingDay:
    return replace(day, verdict="no-go", reason=reason)


def _wake_warnings(wake: Wake, today: date, place: Place) -> list[str]:
    warnings = []
    if not wake.observed:
        warnings.append(f"flowering on {wake.day} is a forecast: look at the trees first")
    northern_month = wake.day.month if place.latitude >= 0 else (wake.day.month + 5) % 12 + 1
    if northern_month not in FLOWERING_MONTHS_NORTH:
        warnings.append(f"flowering on {wake.day} is an odd time of the year")
    if (today - wake.day).days > 366:
        warnings.append(f"flowering on {wake.day} is more than a year ago")
    return warnings
