"""The evening's answer for one site: where weather, label, trees and what is done come together.

The coming week is scored once for the blocks of trees that are sprayed together.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np
import pandas as pd

from spraywindow.days import local_dates
from spraywindow.handbook import SOILS, STRESS_SHARE, soil_water
from spraywindow.jobs.slots.advice import Decision
from spraywindow.reasons import Reason
from spraywindow.site import (
    BlockState,
    Site,
    block_states,
    in_season,
    leaf_fall_doubts,
    next_day,
    refuse_future,
    spacing_finding,
    trees_finding,
)
from spraywindow.spray import (
    NO_ACCESS,
    NO_GO,
    STAGE,
    UNKNOWN,
    CameTrue,
    Day,
    Finding,
    Looked,
    Material,
    Setting,
    Slot,
    background_of,
    came_true,
    look_at_hours,
    open_hours,
    season_order,
    slots_and_days,
)
from spraywindow.weather import (
    AHEAD_H,
    Hole,
    WeatherSource,
    forecasts_of,
    holes,
    known_at,
    rain_between,
    weather_source,
)

WEEK_D = 7
NOON_H = 12
SPACING = "spacing"
"""What holds a day too near to a spray that is done; a column of the hours, as `STAGE` is."""


@dataclass(frozen=True)
class DayAnswer:
    """The answer for one day.

    `held_by` and `margin` belong to the limit nearest to letting it go; `why` is set instead
    where no limit of the weather decides (stages, spacing, the end of the weather). `early`: it
    is unknown because the weather known does not reach far enough. `best_start` and the chances
    are those of the day's likeliest stretch, go or not (`spraywindow.spray.Slot`); None on days
    without one, and on those that trees or spacing close. `general` is the chance before what the
    site's own answers teach. `decision` says whether to go or to wait; it is made of all the
    program's evenings together, where they are at hand. `if_open` is the day's answer if the
    trees may be sprayed after all, where that is unknown.
    """

    json_keys: ClassVar = (
        "date", "verdict", "start=slot.start", "end=slot.end", "margin=best_margin", "reason!",
        "best_start", "chance:3", "chance_dry:3", "advice=decision.advice",
        "worth_now=decision.worth_now:2", "worth_waiting=decision.worth_waiting:2",
        "wait_for=decision.wait_for", "if_open_verdict=if_open.verdict",
        "if_open_start=if_open.slot.start", "if_open_end=if_open.slot.end",
    )  # fmt: skip

    date: dt.date
    verdict: str
    slot: Slot | None
    held_by: str
    margin: float
    why: Reason | None = None
    early: bool = False
    best_start: pd.Timestamp | None = None
    chance: float | None = None
    chance_dry: float | None = None
    general: float | None = None
    decision: Decision | None = None
    if_open: DayAnswer | None = None

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
    answers: list[DayAnswer]
    forecasts: tuple[SiteWeek, ...] = ()
    """The week by each forecast alone, where it is by the worse of two."""

    def answer(self, date: dt.date) -> DayAnswer:
        """The answer for a local day."""
        found = next((each for each in self.answers if each.date == date), None)
        return found or beyond(date)


def site_week(
    site: Site,
    table: pd.DataFrame,
    material: Material,
    now: pd.Timestamp,
    states: Mapping[dt.date, Sequence[BlockState]],
    looks: dict[tuple[Setting, tuple[str, ...]], Looked],
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
    looks : dict
        Looks at this table, by setting and columns, which all of an evening's materials share;
        added to.
    """
    last = now.date() + dt.timedelta(days=WEEK_D)
    trees = {day: trees_finding(each) for day, each in states.items()}
    spacing = {day: spacing_finding(site, material, day) for day in states}
    setting = replace(site.setting, tree_height_m=_tallest(states))
    stage, told = _strictest(states, material), site.with_required(table, material)
    look = (setting, tuple(map(str, told)))
    if look not in looks:
        looks[look] = look_at_hours(told, site.place, setting=setting)
    hours = looks[look].scored(material, stage)
    spaced = _held(hours, site, SPACING, spacing)
    week = _week(site, spaced, now, setting, spacing, trees, last)
    apart = [
        _week(site, _held(frame, site, SPACING, spacing), now, setting, spacing, trees, last)
        for frame in background_of(hours).forecasts
    ]
    week = replace(week, forecasts=tuple(apart))
    unseen = [day for day, finding in trees.items() if finding.verdict == "unknown"]
    if not unseen:
        return week
    seen = {**trees, **dict.fromkeys(unseen, Finding("go"))}
    if_open = _week(site, spaced, now, setting, spacing, seen, last)
    answers = [
        replace(each, if_open=if_open.answer(each.date))
        if each.held_by == STAGE and each.verdict == "unknown"
        else each
        for each in week.answers
    ]
    return replace(week, answers=answers)


def _week(
    site: Site,
    hours: pd.DataFrame,
    now: pd.Timestamp,
    setting: Setting,
    spacing: Mapping[dt.date, Finding],
    trees: Mapping[dt.date, Finding],
    last: dt.date,
) -> SiteWeek:
    """Slots and days of scored hours, held by what is found of the trees."""
    today = now.date()
    hours = _held(hours, site, STAGE, trees)
    found, days = slots_and_days(
        hours, site.job_h, access=site.access, now=now, learned=site.learned
    )
    slots = [slot for slot in found if slot.start.date() <= last]
    cut_day = _cut_day(hours, site)
    answers = [
        beyond(day.date)
        if day.date == cut_day and day.verdict == "no-go" and day.held_by not in (SPACING, STAGE)
        else _answer(day, slots, {SPACING: spacing, STAGE: trees}, hours.attrs["known_until"])
        for day in days
        if day.date <= last
        # what is left of an afternoon after working hours is no day of its own
        and (now.hour < NOON_H or day.date != today or day.held_by != NO_ACCESS)
    ]
    return SiteWeek(setting, hours, slots, answers)


def beyond(date: dt.date) -> DayAnswer:
    """A day that the weather does not reach."""
    return DayAnswer(
        date, "unknown", None, "", np.nan, Reason("the weather ends before that"), early=True
    )


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
) -> DayAnswer:
    why = held[day.held_by][day.date].reason if day.held_by in held else None
    slot = next((slot for slot in slots if slot.start.date() == day.date), None)
    early = known_until is None or (day.start is not None and day.start > known_until)
    early = early and day.verdict == "unknown" and not why
    closed = day.held_by in held and day.verdict == "no-go"
    likely = () if closed else (day.best_start, day.chance, day.chance_dry, day.general)
    return DayAnswer(day.date, day.verdict, slot, day.held_by, day.margin, why, early, *likely)


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
    number, distinct = pd.factorize(days)
    found = [findings.get(day.date(), Finding("go")).verdict for day in distinct]
    stop, unknown = (np.array([each == said for each in found])[number]
                     for said in ("no-go", "unknown"))  # fmt: skip
    out = pd.DataFrame(hours)  # bare: a column read copies attrs
    verdict, holds = out["verdict"].array, out["held_by"].array
    open_end = unknown & (verdict.codes != NO_GO)
    changed = stop | open_end
    if name in out.columns and not changed.any():
        return hours
    margin = out["margin"].to_numpy(dtype=float)
    names = list(dict.fromkeys([*holds.categories, name]))
    out = out.assign(
        verdict=pd.Categorical.from_codes(
            np.where(stop, NO_GO, np.where(open_end, UNKNOWN, verdict.codes)), dtype=verdict.dtype
        ),
        go=out["go"].to_numpy() & ~changed,
        margin=np.where(stop, np.fmin(margin, -1.0), np.where(open_end, np.nan, margin)),
        held_by=pd.Categorical.from_codes(
            np.where(changed, names.index(name), holds.codes), dtype=pd.CategoricalDtype(names)
        ),
        **{name: np.where(stop, -1.0, np.where(unknown, np.nan, 1.0))},
    )
    out.attrs = {
        **hours.attrs,
        "not_judged": [other for other in hours.attrs["not_judged"] if other != name],
    }
    return out


@dataclass(frozen=True)
class HourScore:
    """One scored hour, in local time: the limit that holds it, and the margin of each limit."""

    time: pd.Timestamp
    verdict: str
    margin: float
    held_by: str
    limits: dict[str, float]


@dataclass(frozen=True)
class ForecastDay:
    """A day by one of two forecasts: its slot, and its least and most rain from now on [mm]."""

    date: dt.date
    verdict: str
    start: pd.Timestamp | None
    end: pd.Timestamp | None
    rain_low_mm: float
    rain_high_mm: float


@dataclass(frozen=True)
class Forecast:
    """What one of two forecasts says alone; `view` is the evening as it would be by it."""

    json_keys: ClassVar = ("source", "known_until=view.known_until", "days")

    source: WeatherSource
    days: tuple[ForecastDay, ...]
    view: Evening

    @property
    def last(self) -> dt.date:
        """The day of the last hour that it tells whole; before all days where it tells none."""
        until = self.view.known_until
        return dt.date.min if until is None else until.date()

    def day(self, date: dt.date) -> ForecastDay:
        """What it says of a day of the answer."""
        return next(day for day in self.days if day.date == date)


@dataclass(frozen=True)
class Evening:
    """Everything that one evening's answer for a site and a material says.

    `today` is None from noon on; `blocks` are as of the first answer's day; `holes` are hours
    that the weather does not tell though it goes on after them. `thirsty`: whether the trees are,
    where the material burns such; None is not known. `forecasts` are those of two that were asked
    for; empty where one was.
    """

    json_keys: ClassVar = (
        "site=site.name", "material=material.name", "now", "known_until", "source", "not_judged",
        "today?", "tomorrow", "slots",
        "days=answers(date verdict held_by~ reason! best_start chance:3 chance_dry:3)",
        "forecasts", "blocks", "basis=first.decision.basis", "skip=first.decision.skip",
        "plan=first.decision.plan", "chance_known", "chance_from=site.learned",
        "in_doubt=site.in_doubt", "cautions!",
    )  # fmt: skip

    site: Site
    material: Material
    now: pd.Timestamp
    hours: pd.DataFrame
    slots: list[Slot]
    answers: list[DayAnswer]
    blocks: list[BlockState]
    today: DayAnswer | None
    tomorrow: DayAnswer
    source: WeatherSource
    notes: list[str]
    holes: list[Hole]
    thirsty: bool | None
    forecasts: tuple[Forecast, ...] = ()

    def answer(self, date: dt.date) -> DayAnswer:
        """The answer for a local day."""
        return next((each for each in self.answers if each.date == date), None) or beyond(date)

    @property
    def first(self) -> DayAnswer:
        """The answer that comes first: for the rest of today before noon, else for tomorrow."""
        return self.today or self.tomorrow

    @property
    def chance_known(self) -> CameTrue | None:
        """How general chances like that of the first answer came true; None where it has none."""
        first = self.first
        if first.general is None:
            return None
        return came_true(first.general, max((first.date - self.now.date()).days, 1))

    @property
    def known_until(self) -> pd.Timestamp | None:
        """Last hour with every limit decided, in the site's time."""
        until = self.hours.attrs["known_until"]
        return None if until is None else until.tz_convert(self.site.place.timezone)

    @property
    def not_judged(self) -> list[str]:
        """Limits that the weather table does not tell."""
        return list(self.hours.attrs["not_judged"])

    @property
    def hours_ahead(self) -> pd.DataFrame:
        """The scored hours from now on, through the days that the answer covers; local times."""
        last = max((answer.date for answer in self.answers), default=self.now.date())
        end = pd.Timestamp(last, tz=self.site.place.timezone) + pd.Timedelta(days=1)
        ahead = self.hours[(self.hours.index >= self.now.floor("h")) & (self.hours.index < end)]
        return ahead.tz_convert(self.site.place.timezone)

    @property
    def hour_scores(self) -> tuple[HourScore, ...]:
        """The same, a value an hour."""
        hours = self.hours_ahead
        limits = hours.columns.drop(["verdict", "go", "margin", "held_by"])
        return tuple(
            HourScore(
                time, row["verdict"], row["margin"], str(row["held_by"]),
                {name: row[name] for name in limits},
            )
            for time, row in zip(hours.index, hours.to_dict("records"), strict=True)
        )  # fmt: skip


def default_material(site: Site, day: dt.date) -> str:
    """The material that may go on first from a day on, among those with rounds still to make."""
    program = in_season(site, day).program
    visits = zip(program.materials, program.visits_allowed, strict=True)
    owed = [name for name, number in visits if number]
    return min(
        owed or [program.materials[0]], key=lambda name: next_day(site, site.material(name), day)
    )


def evening(site: Site, weather: pd.DataFrame, now: pd.Timestamp, material_name: str) -> Evening:
    """Answer for one site, one material, one evening; as `evening_of_each`."""
    return evening_of_each(site, weather, now, [material_name])[0]


def evening_of_each(
    site: Site, weather: pd.DataFrame, now: pd.Timestamp, materials: Iterable[str]
) -> list[Evening]:
    """Answer for one site and one evening, for each of several materials.

    Blocks that hold the others back on the first day (taller trees in the wind, green tissue
    near frost) are left out of the answer and named in it.

    Parameters
    ----------
    site : Site
    weather : DataFrame
        Hourly table that holds `now`; what is after it counts as forecast.
    now : Timestamp
        tz-aware.
    materials : iterable of str
        Their names.

    Raises
    ------
    WeatherError, InputError
        If the weather does not hold `now`, a material is unknown, or the site file calls a
        round done on a day after `now`.
    """
    local_now = now.tz_convert(site.place.timezone)
    today = local_now.date()
    site = in_season(site, today)
    chosen = [site.material(name) for name in materials]
    table = known_at(weather, now)
    refuse_future(site, today)
    looks: dict[tuple[Setting, tuple[str, ...]], Looked] = {}
    return [_evening(site, weather, table, local_now, each, looks) for each in chosen]


def _evening(
    site: Site,
    weather: pd.DataFrame,
    table: pd.DataFrame,
    local_now: pd.Timestamp,
    material: Material,
    looks: dict[tuple[Setting, tuple[str, ...]], Looked],
) -> Evening:
    """The answer for one material; `table` is the weather as known now."""
    today = local_now.date()
    days = [today + dt.timedelta(days=number) for number in range(AHEAD_H // 24 + 2)]
    states = {day: block_states(site, material, day) for day in days}
    first = days[0 if local_now.hour < NOON_H else 1]

    def week(names: Sequence[str]) -> SiteWeek:
        together = {d: [s for s in states[d] if s.block.name in names] for d in days}
        return site_week(site, table, material, local_now, together, looks)

    the_week, blocks = _most_trees(week, states[first], material, first)
    whole = Evening(
        site=replace(site, setting=the_week.setting),
        material=material,
        now=local_now,
        hours=the_week.hours,
        slots=the_week.slots,
        answers=the_week.answers,
        blocks=blocks,
        today=the_week.answer(today) if first == today else None,
        tomorrow=the_week.answer(days[1]),
        source=weather_source(table, local_now),
        notes=[
            *table.attrs.get("notes", []),
            *site.notes,
            *leaf_fall_doubts(site, today),
        ],
        holes=holes(table, local_now),
        thirsty=thirsty(site, weather, local_now) if material.burns_thirsty else None,
    )
    apart = zip(forecasts_of(table), the_week.forecasts or (the_week,), strict=False)
    return replace(whole, forecasts=tuple(_forecast(whole, *each) for each in apart))


def _forecast(whole: Evening, table: pd.DataFrame, week: SiteWeek) -> Forecast:
    """One of two forecasts alone, day by day of the answer."""
    zone, index = whole.site.place.timezone, pd.DatetimeIndex(table.index)
    days = []
    for answer in whole.answers:
        alone = week.answer(answer.date)
        edges = [pd.Timestamp(answer.date, tz=zone) + pd.DateOffset(days=add) for add in (0, 1)]
        first, last = (
            round((max(edge, whole.now.floor("h")) - index[0]) / pd.Timedelta(hours=1))
            for edge in edges
        )
        low, high = rain_between(table, [first], [last])
        start, end = (alone.slot.start, alone.slot.end) if alone.slot else (None, None)
        days.append(
            ForecastDay(answer.date, alone.verdict, start, end, float(low[0]), float(high[0]))
        )
    view = replace(whole, hours=week.hours, slots=week.slots, answers=week.answers)
    return Forecast(weather_source(table, whole.now), tuple(days), view)


def _most_trees(
    week: Callable[[Sequence[str]], SiteWeek],
    states: list[BlockState],
    material: Material,
    first: dt.date,
) -> tuple[SiteWeek, list[BlockState]]:
    """The week for all blocks, or where they hold each other back, for the most trees that go.

    Returns the states of the first day as well, of blocks left out with what holds them.
    """
    whole = week([state.block.name for state in states])
    alike: dict[tuple[bool, float], list[BlockState]] = {}
    for state in states:
        if state.open:
            stage = state.block.stage
            green = stage is not None and season_order(stage) >= material.green_stage
            alike.setdefault((green, state.block.height), []).append(state)
    if len(alike) < 2 or whole.answer(first).verdict == "go":
        return whole, states
    groups = sorted(alike.values(), key=lambda group: -sum(s.block.trees for s in group))
    best: SiteWeek | None = None
    kept: list[str] = []
    why: dict[str, tuple[str, Reason]] = {}
    for group in groups:
        names = [state.block.name for state in group]
        together = week([*kept, *names])
        if together.answer(first).verdict == "go":
            best, kept = together, [*kept, *names]
            continue
        alone = week(names).answer(first)
        why.update(dict.fromkeys(names, (alone.verdict, _why_behind(alone, material))))
    if best is None:
        return whole, states
    return best, [
        replace(state, open=False if why[name][0] != "unknown" else None, why=why[name][1])
        if (name := state.block.name) in why
        else state
        for state in states
    ]


def _why_behind(alone: DayAnswer, material: Material) -> Reason:
    """What holds blocks that stay behind."""
    if alone.verdict == "go":
        return Reason("not in the same hours")
    limit = next((limit for limit in material.limits if limit.name == alone.held_by), None)
    held = Reason("{}", (limit.words,)) if limit else alone.why or Reason("no slot")
    return held if alone.verdict == "no-go" else Reason("{} not ruled out", (held,))


LEAFLESS = 0.55
"""Crop coefficient of stone fruit before leaf, without ground cover or killing frosts: FAO-56
table 12, from memory."""
BACK_D = 120
"""Days of weather before now that settle what the soil holds [d]: older rain tells no more; P."""


def thirsty(site: Site, weather: pd.DataFrame, now: pd.Timestamp) -> bool | None:
    """Whether the water that trees take freely was used up at the end of the last whole day.

    Parameters
    ----------
    site : Site
        Its `[feeding]` may name the soil; loam otherwise.
    weather : DataFrame
        Checked hourly table that holds `now`, as much before it as there is.
    now : Timestamp
        In the site's time.

    Returns
    -------
    bool or None
        None where the weather at hand is too short, or its rain too little known, to tell:
        neither thirsty nor watered.

    Notes
    -----
    FAO-56 eq. 84: stress begins where half of the available water is used. What was watered is not
    known.
    """
    soil = SOILS[site.feeding.soil if site.feeding else "loam"]
    past = pd.DataFrame(weather).loc[now - pd.Timedelta(days=BACK_D) : now - pd.Timedelta(hours=1)]
    if past.empty:
        return None
    ends = soil_water(past, site.place, soil, LEAFLESS)
    ends = ends[ends.index < pd.Timestamp(now.date())]
    if ends.empty:
        return None
    stressed_mm = soil.wilting_mm + (1 - STRESS_SHARE) * (soil.capacity_mm - soil.wilting_mm)
    if ends["end_high_mm"].iloc[-1] < stressed_mm:
        return True
    return False if ends["end_low_mm"].iloc[-1] >= stressed_mm else None
