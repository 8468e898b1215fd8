"""The evening's answer for one site: where weather, label, trees and what is done come together."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from spraywindow.orchard.site import Block, Site
from spraywindow.season.stages import stage_words
from spraywindow.spray.hours import score_hours
from spraywindow.spray.material import Material, season_order
from spraywindow.spray.slots import NO_ACCESS, Day, Slot, day_answers, find_slots
from spraywindow.weather.hourly import known_at

FRESH_STAGE_D = 7
"""Late in the season a stage must have been seen within so many days; P."""
BUD_SWELL_NORTH, BUD_SWELL_SOUTH = (1, 15), (7, 15)
"""Earliest likely bud swell (month, day) where the site file has none; P, mild winters."""
LEAF_FALL_NORTH, LEAF_FALL_SOUTH = (12, 1), (6, 1)
"""Usual leaf fall where the site file has none; P, mild winters."""
LEAF_FALL_SPREAD_D = 10
"""The usual date holds to so many days; P."""
WEEK_D = 7


@dataclass(frozen=True)
class BlockState:
    """Whether a block of trees may get the material on that day; `open` None is unknown."""

    block: Block
    open: bool | None
    why: str


@dataclass(frozen=True)
class Answer:
    """The answer for one day.

    `held_by` and `margin` belong to the limit nearest to letting it go; `why` is set instead
    where no limit of the weather decides (stages, spacing, access).
    """

    date: dt.date
    verdict: str
    slot: Slot | None
    held_by: str
    margin: float
    why: str = ""


@dataclass(frozen=True)
class Evening:
    """Everything that one evening's answer for a site and a material says.

    `first` is today's answer before noon, else tomorrow's.
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


def default_material(site: Site) -> str:
    """The first material of the program that still has rounds to make, else the first."""
    entries = site.program.entries
    return next((entry for entry in entries if entry.visits_owed), entries[0]).material


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
        If the weather does not hold `now`, or the material is unknown.
    """
    material = site.material(material_name)
    local_now = now.tz_convert(site.place.timezone)
    blocks = [block_state(block, site, material, local_now.date()) for block in site.blocks]
    table = known_at(weather, now)
    hours = score_hours(table, site.place, material, _stage_of(blocks), setting=site.setting)
    job_h = site.crew.job
    until = local_now.normalize() + pd.Timedelta(days=WEEK_D + 1)
    slots = [
        slot
        for slot in find_slots(hours, job_h, access=site.access, now=now)
        if slot.start < until
        and not _too_soon(site, material, slot.start.date())
        and any(state.open for state in blocks)
    ]
    days = [
        day
        for day in day_answers(hours, job_h, access=site.access, now=now)
        if day.date < until.date()
        # what is left of today after working hours is no day of its own
        and not (day.date == local_now.date() and day.held_by == NO_ACCESS)
    ]
    answers = [_answer(day, slots, site, material, blocks) for day in days]
    tomorrow = local_now.date() + dt.timedelta(days=1)
    by_date = {answer.date: answer for answer in answers}
    return Evening(
        site=site,
        material=material,
        now=local_now,
        hours=hours,
        slots=slots,
        answers=answers,
        blocks=blocks,
        today=by_date.get(local_now.date()) if local_now.hour < 12 else None,
        tomorrow=by_date.get(tomorrow, _beyond(tomorrow)),
        source=dict(table.attrs.get("source", {})),
        notes=list(table.attrs.get("notes", [])),
    )


def _beyond(date: dt.date) -> Answer:
    return Answer(date, "unknown", None, "", np.nan, "the weather does not reach so far")


def _answer(
    day: Day, slots: list[Slot], site: Site, material: Material, blocks: list[BlockState]
) -> Answer:
    if not any(state.open for state in blocks):
        unsure = next((state for state in blocks if state.open is None), None)
        why = unsure.why if unsure else blocks[0].why
        return Answer(day.date, "unknown" if unsure else "no-go", None, "stage", np.nan, why)
    soon = _too_soon(site, material, day.date)
    if soon:
        return Answer(day.date, "no-go", None, "spacing", np.nan, soon)
    slot = next((slot for slot in slots if slot.start.date() == day.date), None)
    return Answer(day.date, day.verdict, slot, day.held_by, day.margin)


def _stage_of(blocks: list[BlockState]) -> int | None:
    """The most advanced stage among the blocks that may be sprayed: the strictest for frost."""
    stages = [s.block.stage for s in blocks if s.open and s.block.stage is not None]
    return max(stages, key=season_order) if stages else None


def block_state(block: Block, site: Site, material: Material, day: dt.date) -> BlockState:
    """Tell whether a block's stage allows the material on a local day."""
    start = season_start(day, site)
    stage = block.stage
    seen = block.observed
    if seen is not None and not start <= seen <= day:
        if seen > day:
            return BlockState(block, None, f"stage dated {seen}, after today")
        stage = seen = None  # last winter's buds say nothing
    if stage is not None and season_order(stage) > season_order(material.last_stage):
        return BlockState(block, False, _past(stage, material))
    if stage is None and day < leaf_fall(site, start):
        return BlockState(block, False, "still in leaf, before the usual leaf fall")
    if day >= _dated(block.bud_swell_from or _north_south(site, "bud swell"), start):
        if seen is None:
            return BlockState(block, None, "no stage observed, and buds may be swelling")
        if (day - seen).days > FRESH_STAGE_D:
            return BlockState(
                block, None, f"stage last seen on {seen}, more than {FRESH_STAGE_D} days ago"
            )
    return BlockState(block, True, "")


def _past(stage: int, material: Material) -> str:
    words = "open flowers" if 60 <= stage < 69 else stage_words(stage)
    return f"{words}; {material.name} stops after {stage_words(material.last_stage)}"


def _north_south(site: Site, what: str) -> tuple[int, int]:
    north = site.place.latitude >= 0
    if what == "bud swell":
        return BUD_SWELL_NORTH if north else BUD_SWELL_SOUTH
    return LEAF_FALL_NORTH if north else LEAF_FALL_SOUTH


def season_start(day: dt.date, site: Site) -> dt.date:
    """First day of the growing year that holds a day: 1 July in the north, 1 January south."""
    if site.place.latitude < 0:
        return dt.date(day.year, 1, 1)
    return dt.date(day.year if day.month >= 7 else day.year - 1, 7, 1)


def _dated(month_day: tuple[int, int], start: dt.date) -> dt.date:
    """The date of a day of the year in the growing year that begins at `start`."""
    month, day = month_day
    year = start.year if (month, day) >= (start.month, start.day) else start.year + 1
    leap_safe = 28 if (month, day) == (2, 29) else day
    return dt.date(year, month, leap_safe)


def leaf_fall(site: Site, start: dt.date) -> dt.date:
    """First day on which the leaves may be down: observed, else the usual date less its spread."""
    seen = site.season.leaf_fall
    if seen is not None and start <= seen < start + dt.timedelta(days=365):
        return seen
    usual = site.season.usual_leaf_fall or _north_south(site, "leaf fall")
    return _dated(usual, start) - dt.timedelta(days=LEAF_FALL_SPREAD_D)


def _too_soon(site: Site, material: Material, day: dt.date) -> str:
    """Why a day is too near to what has been sprayed already; empty if it is not."""
    program = site.program
    for entry in program.entries:
        if entry.material == material.name:
            apart = entry.least_days
        elif material.name in program.materials:
            apart = program.days_between(material.name, entry.material)
        else:
            apart = program.between
        for done in entry.days_done:
            if 0 <= (day - done).days < apart:
                return f"{entry.material} on {done}, {apart} days apart are wanted"
    for name, dates in site.other_sprays.items():
        for done in dates:
            apart = material.days_apart.get(name, program.between)
            if 0 <= (day - done).days < apart:
                return f"{name} on {done}, {apart} days apart are wanted"
    return ""
