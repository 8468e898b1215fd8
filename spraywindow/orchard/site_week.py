"""The coming week at one site for blocks of trees that are sprayed together."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np
import pandas as pd

from spraywindow.orchard.block_states import BlockState, trees_finding
from spraywindow.orchard.local_days import local_dates
from spraywindow.orchard.site import Site
from spraywindow.orchard.spacing import spacing_finding
from spraywindow.orchard.verdicts import Finding
from spraywindow.spray.conditions import Setting
from spraywindow.spray.hours import STAGE, score_hours
from spraywindow.spray.material import Material, season_order
from spraywindow.spray.slots import NO_ACCESS, Day, Slot, day_answers, find_slots, open_hours

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

    json_keys: ClassVar = (
        "date", "verdict", "start=slot.start", "end=slot.end", "margin=best_margin", "reason!",
    )  # fmt: skip

    date: dt.date
    verdict: str
    slot: Slot | None
    held_by: str
    margin: float
    why: str = ""
    early: bool = False

    @property
    def best_margin(self) -> float:
        """The margin of its slot, else of the limit nearest to letting it go."""
        return self.slot.margin if self.slot else self.margin


@dataclass(frozen=True)
class SiteWeek:
    """Scored hours, slots and an answer a day, for blocks that are sprayed together."""

    setting: Setting
    hours: pd.DataFrame
    slots: list[Slot]
    answers: list[Answer]

    def answer(self, date: dt.date) -> Answer:
        """The answer for a local day."""
        found = next((each for each in self.answers if each.date == date), None)
        return found or beyond(date)


def site_week(
    site: Site,
    table: pd.DataFrame,
    material: Material,
    now: pd.Timestamp,
    states: Mapping[dt.date, Sequence[BlockState]],
) -> SiteWeek:
    """Answer every day of the week from `now` on.

    Parameters
    ----------
    site : Site
        With its program as of this season.
    table : DataFrame
        Checked hourly table as known at `now`.
    material : Material
    now : Timestamp
        In the site's time.
    states : mapping of date to sequence of BlockState
        Of the blocks to spray together, from today on. Where several may be sprayed, the hours
        are judged by the tallest trees and the most advanced stage.
    """
    today, last = now.date(), now.date() + dt.timedelta(days=WEEK_D)
    trees = {day: trees_finding(each) for day, each in states.items()}
    spacing = {day: spacing_finding(site, material, day) for day in states}
    setting = replace(site.setting, tree_height_m=_tallest(states))
    hours = score_hours(table, site.place, material, _strictest(states, material), setting=setting)
    hours = _held(_held(hours, site, SPACING, spacing), site, STAGE, trees)
    job_h, access = site.job_h, site.access
    slots = [
        slot
        for slot in find_slots(hours, job_h, access=access, now=now)
        if slot.start.date() <= last
    ]
    cut_day = _cut_day(hours, site)
    answers = [
        beyond(day.date)
        if day.date == cut_day and day.verdict == "no-go" and day.held_by not in (SPACING, STAGE)
        else _answer(day, slots, {SPACING: spacing, STAGE: trees}, hours.attrs["known_until"])
        for day in day_answers(hours, job_h, access=access, now=now)
        if day.date <= last
        # what is left of an afternoon after working hours is no day of its own
        and (now.hour < NOON_H or day.date != today or day.held_by != NO_ACCESS)
    ]
    return SiteWeek(setting, hours, slots, answers)


def beyond(date: dt.date) -> Answer:
    """A day that the weather does not reach."""
    return Answer(date, "unknown", None, "", np.nan, "the weather ends before that", early=True)


def _cut_day(hours: pd.DataFrame, site: Site) -> dt.date | None:
    """The last day of the weather, where it ends before that day's last working hour."""
    times = pd.DatetimeIndex(hours.index).tz_convert(site.place.timezone)
    working = times[open_hours(hours, site.access)]
    last = times[-1]
    latest = max(working.hour, default=0)
    return last.date() if site.access.works_on(last.date()) and last.hour < latest else None


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


def _tallest(states: Mapping[dt.date, Sequence[BlockState]]) -> float:
    """Height of the tallest trees that may be sprayed, else that perhaps may, else of all [m]."""
    seen = [state for each in states.values() for state in each]
    perhaps = [state for state in seen if state.open is not False]
    ready = [state for state in seen if state.open] or perhaps or seen
    return max(0.5, *(state.block.height for state in ready))


def _strictest(states: Mapping[dt.date, Sequence[BlockState]], material: Material) -> int | None:
    """The stage to judge the hours by.

    The most advanced among the blocks that may be sprayed, the strictest for frost; where none
    may, the least advanced.
    """
    seen = [state for each in states.values() for state in each if state.block.stage is not None]
    usable = [s.block.stage for s in seen if s.open and s.block.stage is not None]
    usable = [stage for stage in usable if not material.stops(stage)]
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
