"""The evening's answer for one site: where weather, label, trees and what is done come together."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

import pandas as pd

from spraywindow.orchard.block_states import BlockState, block_states
from spraywindow.orchard.block_states import leaf_fall as leaf_fall
from spraywindow.orchard.block_states import season_start as season_start
from spraywindow.orchard.holes import Hole, holes
from spraywindow.orchard.site import Site
from spraywindow.orchard.site_week import NOON_H, SiteWeek, site_week
from spraywindow.orchard.site_week import SPACING as SPACING
from spraywindow.orchard.site_week import Answer as Answer
from spraywindow.orchard.spacing import in_season, next_day, refuse_future
from spraywindow.spray.material import Material, season_order
from spraywindow.spray.slots import Slot
from spraywindow.weather.hourly import AHEAD_H, known_at
from spraywindow.weather.source import WeatherSource, weather_source


@dataclass(frozen=True)
class HourScore:
    """One scored hour, in local time: the limit that holds it, and the margin of each limit."""

    time: pd.Timestamp
    verdict: str
    margin: float
    held_by: str
    limits: dict[str, float]


@dataclass(frozen=True)
class Evening:
    """Everything that one evening's answer for a site and a material says.

    `today` is None from noon on; `blocks` are as of the first answer's day; `holes` are hours
    that the weather does not tell though it goes on after them.
    """

    json_keys: ClassVar = (
        "site=site.name", "material=material.name", "now", "known_until", "source", "not_judged",
        "today?", "tomorrow", "slots", "days=answers(date verdict held_by~ reason!)", "blocks",
        "cautions!",
    )  # fmt: skip

    site: Site
    material: Material
    now: pd.Timestamp
    hours: pd.DataFrame
    slots: list[Slot]
    answers: list[Answer]
    blocks: list[BlockState]
    today: Answer | None
    tomorrow: Answer
    source: WeatherSource
    notes: list[str]
    holes: list[Hole]

    @property
    def first(self) -> Answer:
        """The answer that comes first: for the rest of today before noon, else for tomorrow."""
        return self.today or self.tomorrow

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
    """Answer for one site, one material, one evening.

    Blocks that hold the others back on the first day (taller trees in the wind, green tissue
    near frost) are left out of the answer and named in it.

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
    today = local_now.date()
    site = in_season(site, today)
    material = site.material(material_name)
    table = known_at(weather, now)
    refuse_future(site, today)
    days = [today + dt.timedelta(days=number) for number in range(AHEAD_H // 24 + 2)]
    states = {day: block_states(site, material, day) for day in days}
    first = days[0 if local_now.hour < NOON_H else 1]

    def week(names: Sequence[str]) -> SiteWeek:
        together = {d: [s for s in states[d] if s.block.name in names] for d in days}
        return site_week(site, table, material, local_now, together)

    the_week, blocks = _most_trees(week, states[first], material, first)
    return Evening(
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
        notes=list(table.attrs.get("notes", [])),
        holes=holes(table, local_now),
    )


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
    why: dict[str, tuple[str, str]] = {}
    for group in groups:
        names = [state.block.name for state in group]
        together = week([*kept, *names])
        if together.answer(first).verdict == "go":
            best, kept = together, [*kept, *names]
            continue
        alone = week(names).answer(first)
        why.update(dict.fromkeys(names, (alone.verdict, _held_words(alone, material))))
    if best is None:
        return whole, states
    return best, [
        replace(state, open=False if why[name][0] != "unknown" else None, why=why[name][1])
        if (name := state.block.name) in why
        else state
        for state in states
    ]


def _held_words(alone: Answer, material: Material) -> str:
    """What holds blocks that stay behind."""
    if alone.verdict == "go":
        return "not in the same hours"
    limit = next((limit for limit in material.limits if limit.name == alone.held_by), None)
    words = limit.words if limit is not None else alone.why or "no slot"
    return words if alone.verdict == "no-go" else f"{words} not ruled out"
