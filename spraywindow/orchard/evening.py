"""The evening's answer for one site: where weather, label, trees and what is done come together."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from spraywindow.orchard.block_states import BlockState, block_states, trees_finding
from spraywindow.orchard.block_states import leaf_fall as leaf_fall
from spraywindow.orchard.block_states import season_start as season_start
from spraywindow.orchard.local_days import local_dates
from spraywindow.orchard.site import Site
from spraywindow.orchard.spacing import in_season, next_day, refuse_future, spacing_finding
from spraywindow.orchard.verdicts import Finding
from spraywindow.spray.hours import STAGE, score_hours
from spraywindow.spray.material import Material, season_order
from spraywindow.spray.slots import NO_ACCESS, Day, Slot, day_answers, find_slots, open_hours
from spraywindow.weather.hourly import AHEAD_H, known_at

WEEK_D = 7
NOON_H = 12
SPACING = "spacing"
"""What holds a day too near to a spray that is done; a column of the hours, as `STAGE` is."""


@dataclass(frozen=True)
class Answer:
    """The answer for one day.

    `held_by` and `margin` belong to the limit nearest to letting it go; `why` is set instead
    where no limit of the weather decides (stages, spacing, the end of the weather). `early`: it
    is unknown because the weather known does not reach far enough.
    """

    date: dt.date
    verdict: str
    slot: Slot | None
    held_by: str
    margin: float
    why: str = ""
    early: bool = False


@dataclass(frozen=True)
class Evening:
    """Everything that one evening's answer for a site and a material says.

    `today` is None from noon on; `blocks` are as of the first answer's day.
    """

    site: Site
    material: Material
    now: pd.Timestamp
    hours: pd.DataFrame
    slots: list[Slot]
    answers: list[Answer]
    blocks: list[BlockState]
    today: Answer | None
    tomorrow: Answer
    source: dict[str, Any]
    notes: list[str]

    @property
    def first(self) -> Answer:
        """The answer that comes first: for the rest of today before noon, else for tomorrow."""
        return self.today or self.tomorrow

    @property
    def known_until(self) -> pd.Timestamp | None:
        """Last hour with every limit decided, in the site's time."""
        until = self.hours.attrs["known_until"]
        return None if until is None else until.tz_convert(self.site.place.timezone)


def default_material(site: Site, day: dt.date) -> str:
    """The material that may go on first from a day on, among those with rounds still to make."""
    entries = in_season(site, day).program.entries
    owed = [entry.material for entry in entries if entry.visits_owed]
    return min(
        owed or [entries[0].material], key=lambda name: next_day(site, site.material(name), day)
    )


def evening(site: Site, weather: pd.DataFrame, now: pd.Timestamp, material_name: str) -> Evening:
    """Answer for one site, one material, one evening.

    Parameters
    ----------
    site : Site
    weather : DataFrame
        Hourly table that holds `now`; what is after it counts as forecast.
    now : Timestamp
        tz-aware.
    material_name : str

    Raises
    ------
    WeatherError, InputError
        If the weather does not hold `now`, the material is unknown, or the site file calls a
        round done on a day after `now`.
    """
    local_now = now.tz_convert(site.place.timezone)
    site = in_season(site, local_now.date())
    material = site.material(material_name)
    today, tomorrow = local_now.date(), local_now.date() + dt.timedelta(days=1)
    table = known_at(weather, now)
    refuse_future(site, today)
    days = [today + dt.timedelta(days=number) for number in range(AHEAD_H // 24 + 2)]
    last = days[WEEK_D]
    states = {day: block_states(site, material, day) for day in days}
    trees = {day: trees_finding(states[day]) for day in days}
    spacing = {day: spacing_finding(site, material, day) for day in days}

    stage = _strictest(states, material)
    hours = score_hours(table, site.place, material, stage, setting=site.setting)
    hours = _held(_held(hours, site, SPACING, spacing), site, STAGE, trees)

    job_h, access = site.crew.job, site.access
    slots = [
        slot
        for slot in find_slots(hours, job_h, access=access, now=now)
        if slot.start.date() <= last
    ]
    morning = local_now.hour < NOON_H
    cut_day = _cut_day(hours, site)
    answers = [
        _beyond(day.date)
        if day.date == cut_day and day.verdict == "no-go" and day.held_by not in (SPACING, STAGE)
        else _answer(day, slots, {SPACING: spacing, STAGE: trees}, hours.attrs["known_until"])
        for day in day_answers(hours, job_h, access=access, now=now)
        if day.date <= last
        # what is left of an afternoon after working hours is no day of its own
        and (morning or day.date != today or day.held_by != NO_ACCESS)
    ]
    by_date = {answer.date: answer for answer in answers}
    return Evening(
        site=site,
        material=material,
        now=local_now,
        hours=hours,
        slots=slots,
        answers=answers,
        blocks=states[today if morning else tomorrow],
        today=by_date.get(today, _beyond(today)) if morning else None,
        tomorrow=by_date.get(tomorrow, _beyond(tomorrow)),
        source=dict(table.attrs.get("source", {})),
        notes=list(table.attrs.get("notes", [])),
    )


def _beyond(date: dt.date) -> Answer:
    return Answer(date, "unknown", None, "", np.nan, "the weather ends before that", early=True)


def _cut_day(hours: pd.DataFrame, site: Site) -> dt.date | None:
    """The last day of the weather, where it ends before that day's last working hour."""
    times = pd.DatetimeIndex(hours.index).tz_convert(site.place.timezone)
    working = times[open_hours(hours, site.access)]
    last = times[-1]
    latest = max(working.hour, default=0)
    works = last.weekday() in site.access.weekdays and last.date() not in site.access.closed
    return last.date() if works and last.hour < latest else None


def _answer(
    day: Day,
    slots: list[Slot],
    held: Mapping[str, Mapping[dt.date, Finding]],
    known_until: pd.Timestamp | None,
) -> Answer:
    why = held[day.held_by][day.date].reason if day.held_by in held else ""
    slot = next((slot for slot in slots if slot.start.date() == day.date), None)
    early = known_until is None or (day.start is not None and day.start > known_until)
    early = early and day.verdict == "unknown" and not why
    return Answer(day.date, day.verdict, slot, day.held_by, day.margin, why, early)


def _strictest(states: Mapping[dt.date, list[BlockState]], material: Material) -> int | None:
    """The stage to judge the hours by.

    The most advanced among the blocks that may be sprayed, the strictest for frost; where none
    may, the least advanced.
    """
    seen = [state for each in states.values() for state in each if state.block.stage is not None]
    past = season_order(material.last_stage)
    usable = [s.block.stage for s in seen if s.open and s.block.stage is not None]
    usable = [stage for stage in usable if season_order(stage) <= past]
    return max(usable, key=season_order) if usable else None


def _held(
    hours: pd.DataFrame, site: Site, name: str, findings: Mapping[dt.date, Finding]
) -> pd.DataFrame:
    """Lay findings about whole days over the scored hours, as a limit of that name."""
    days = local_dates(pd.DatetimeIndex(hours.index), site.place.timezone)
    verdicts = {pd.Timestamp(day): finding.verdict for day, finding in findings.items()}
    of_hour = np.asarray(pd.Series(days).map(verdicts).fillna("go"), dtype=object)
    stop = of_hour == "no-go"
    open_end = (of_hour == "unknown") & np.asarray(hours["verdict"] != "no-go")
    changed = stop | open_end
    if name in hours.columns and not changed.any():
        return hours
    least = np.fmin(hours["margin"].to_numpy(dtype=float), -1.0)
    margin = np.where(stop, least, np.where(open_end, np.nan, hours["margin"]))
    column = np.where(stop, -1.0, np.where(of_hour == "unknown", np.nan, 1.0))
    verdict = np.where(stop, "no-go", np.where(open_end, "unknown", hours["verdict"]))
    held_by = np.where(changed, name, np.asarray(hours["held_by"], dtype=object))
    out = hours.assign(
        verdict=pd.Categorical(verdict, categories=hours["verdict"].cat.categories),
        go=hours["go"] & ~changed,
        margin=margin,
        held_by=pd.Categorical(held_by),
        **{name: column},
    )
    out.attrs = {
        **hours.attrs,
        "not_judged": [other for other in hours.attrs["not_judged"] if other != name],
    }
    return out
