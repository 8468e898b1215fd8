"""The feasibility report of one site: which season is meant, what its blocks need, what is next.

In a season that has begun, the next day allowed for each material follows from what is done and
from the end of the season; the morning is known from the forecast alone. Which blocks are open to
it on that day is the business of the evening's answer.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import ClassVar

import numpy as np
import pandas as pd

from spraywindow.errors import InputError
from spraywindow.jobs.season.groups import Group, group_notes
from spraywindow.jobs.season.what_if import asked_changes, usual_changes
from spraywindow.program import MaterialRounds, Program
from spraywindow.show import reason_words
from spraywindow.site import (
    Block,
    Site,
    block_need,
    changed_site,
    in_season,
    refuse_future,
    season_leaf_fall,
    season_start,
    spacing_finding,
)
from spraywindow.spray import Material, day_margins, score_hours
from spraywindow.trees import Flowering, Need
from spraywindow.weather import WeatherSource, known_at, weather_source
from spraywindow.winters import PastWinters, SeasonOutlook, Span, program_span, season_outlook


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
    site: Site, program: Program, season: PastWinters, forecast: pd.DataFrame | None
) -> tuple[NextRound, ...]:
    """Say what is next for every material of which a round is owed.

    Parameters
    ----------
    site : Site
    program : Program
        With what is done.
    season : PastWinters
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
        then = season.ending.forecast[0, number]
        last = float(np.median(then)) if then.size else np.inf
        free = season.free[:, number] & (np.arange(len(days)) <= last)
        allowed = days[int(free.argmax())].date() if free.any() else None
        morning = known_until = None
        if forecast is not None:
            told = site.with_required(forecast, material)
            hours = score_hours(told, site.place, material, setting=site.setting)
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


@dataclass(frozen=True)
class RoundsOwed:
    """A material of the program, and the rounds of it that are owed within the maxima."""

    json_keys: ClassVar = (
        "material=entry.material", "rounds=entry.rounds", "done=entry.days_done", "owed",
        "least_days=entry.least_days",
    )  # fmt: skip

    entry: MaterialRounds
    owed: int


@dataclass(frozen=True, eq=False)
class SeasonAnswer:
    """A site's feasibility report; the first group has the most trees.

    `program` holds what was done in the season meant.

    `begun` tells whether the season has begun, so that day 0 is tomorrow; `ended` is the day
    before which the season at hand was over, when the report is for the next one. `in_flower`
    are blocks that were seen in flower already. `upcoming` says what is next in a season that has
    begun, for the first group. `source` is of the record, with notes on it.
    """

    json_keys: ClassVar = (
        "site=site.name", "now",
        "season=.(start=outlook.season.first end=outlook.last begun)", "ends=outlook.ends",
        "first_flower=outlook.season.flowering", "program=rounds", "winters=outlook.winters",
        "finish=.(hindsight=outlook.finish_hindsight as_it_comes=outlook.finish_coming "
        "hindsight_effective=outlook.finish_hindsight_effective "
        "as_it_comes_effective=outlook.finish_coming_effective "
        "bounds_with_winters_left_out=outlook.bounds forecast_spliced=outlook.spliced)",
        "days=.(first_to_last_round=span.median_days n=span.finished "
        "fit_in_35_days=span.in_five_weeks)",
        "latest_start=outlook.latest_start", "start_shares=outlook.starts", "weeks=outlook.weeks",
        "rounds_short=outlook.short", "limits=outlook.limits",
        "dry_spell=outlook.dry_spells(hours usable_mornings:2 finish_share=finish.share)",
        "eased=outlook.eased(change=name usable_mornings:2 finish_share=finish.share)",
        "what_if=outlook.what_if",
        "leaf_curl=outlook.curl", "blocks=groups", "next=upcoming", "notes=all_notes",
        "in_doubt=site.in_doubt", "cautions!",
        "source", "source_notes",
    )  # fmt: skip

    site: Site
    program: Program
    now: pd.Timestamp
    groups: tuple[Group, ...]
    begun: bool
    ended: dt.date | None
    in_flower: tuple[Block, ...]
    notes: tuple[str, ...]
    source: WeatherSource
    upcoming: tuple[NextRound, ...] = ()
    source_notes: tuple[str, ...] = ()

    @property
    def outlook(self) -> SeasonOutlook:
        """Of the group with the most trees."""
        return self.groups[0].outlook

    @property
    def flowers(self) -> dict[str, Flowering]:
        """First flower by block, as far as it is known."""
        return {
            name: group.outlook.season.flowering
            for group in self.groups
            for name in group.block_names
            if group.outlook.season.flowering
        }

    @property
    def rounds(self) -> tuple[RoundsOwed, ...]:
        """The program, and what is owed of it."""
        return tuple(map(RoundsOwed, self.program.entries, self.program.visits_allowed))

    @cached_property
    def span(self) -> Span:
        """How many days the rounds owed take; worked out when it is first asked for."""
        return program_span(self.outlook.season, self.program, self.outlook.seen)

    @property
    def all_notes(self) -> tuple[str, ...]:
        """Its notes, and those of the site and the program."""
        return (*self.notes, *self.site.notes, *self.program.notes())


def program_of_season(site: Site, today: dt.date) -> Program:
    """The program with what was done in the season at hand: rounds of earlier winters are over.

    Raises
    ------
    InputError
        If a round done lies after today.
    """
    refuse_future(site, today)
    return in_season(site, today).program


def ended_by(winters: pd.DataFrame, now: pd.Timestamp, today: dt.date) -> pd.DataFrame:
    """The hours of a record that have ended by `now`; `InputError` if there are none."""
    known = winters[winters.index < now.tz_convert("UTC").floor("h")]
    if known.empty:
        raise InputError(
            "no past winter in the record",
            expected=f"a whole winter before {today}",
            got=f"{winters.index[0].date()} to {winters.index[-1].date()}",
        )
    return known


def prospect(
    site: Site,
    winters: pd.DataFrame,
    now: pd.Timestamp,
    *,
    forecast: pd.DataFrame | None = None,
    dry_spell_h: float | None = None,
    what_if: Sequence[str] | None = None,
) -> SeasonAnswer:
    """Make the report.

    Parameters
    ----------
    site : Site
    winters : DataFrame
        Hourly record of past winters; what it holds from `now` on is not known yet.
    now : Timestamp
    forecast : DataFrame, optional
        Hourly table that holds `now`; used once the season has begun, as far as an evening's
        answer looks ahead.
    dry_spell_h : float, optional
        Another dry spell wanted after the spray [h], for every material that wants one as long.
    what_if : sequence of str, optional
        Changes that are asked for, as `changed_site` takes them; the usual ones are tried beside
        them. None: nothing is tried.

    Raises
    ------
    InputError
        If the site file has no leaf fall, the record no past winter, or a change cannot be tried.
    """
    today = now.tz_convert(site.place.timezone).date()
    known = ended_by(winters, now, today)
    start = season_start(today, site)
    materials = {name: site.material(name) for name in site.program.materials}
    for text in what_if or ():
        changed_site(site, text)  # a slip is told before the winters are read
    if dry_spell_h is not None:
        longest = max(material.dry_spell_h for material in materials.values())
        materials = {
            name: m.with_dry_spell(dry_spell_h) if m.dry_spell_h == longest else m
            for name, m in materials.items()
        }
    tomorrow = today + dt.timedelta(days=1)
    fall = season_leaf_fall(site, start)
    begun = tomorrow > fall
    program = program_of_season(site, today)
    over = tuple(block for block in site.blocks if begun and _flowers(block, site, today))
    blocks = tuple(block for block in site.blocks if block not in over)
    # what an evening works with: a file may run on for months, as if it were known
    ahead = known_at(forecast, now) if begun and forecast is not None else None
    every = _groups(site, blocks, program, known, materials, tomorrow if begun else fall, fall,
                    today, ahead, what_if)  # fmt: skip
    groups = [group for group in every if not (begun and group.over(today))]
    notes = tuple(
        f"{group.names}: the season of {group.need_name} is over by the forecast"
        for group in every
        if group not in groups
    )
    ended = None
    if not groups:
        ended, begun, over, notes = tomorrow, False, (), ()
        fall = season_leaf_fall(site, season_start(start + dt.timedelta(days=400), site))
        program = program.not_begun()
        groups = _groups(site, site.blocks, program, known, materials, fall, fall, None, None,
                         what_if)  # fmt: skip
    upcoming = next_rounds(site, program, groups[0].outlook.season, ahead) if begun else ()
    closed = _closed_notes(site, tomorrow) if begun else ()
    notes = (*(note for group in groups for note in group_notes(group)), *closed, *notes)
    local = now.tz_convert(site.place.timezone)
    source = weather_source(winters, now)
    return SeasonAnswer(
        site, program, local, tuple(groups), begun, ended, over, notes, source, upcoming
    )


def _closed_notes(site: Site, day: dt.date) -> tuple[str, ...]:
    """What sprays that are done keep closed on a day, by material."""
    here = in_season(site, day)
    findings = {
        name: spacing_finding(here, here.material(name), day) for name in here.program.materials
    }
    return tuple(
        f"{name}: {reason_words(found.reason, site.units)}"
        for name, found in findings.items()
        if found.reason
    )


def _flowers(block: Block, site: Site, today: dt.date) -> bool:
    """Whether somebody saw the block in flower, or past it, this season."""
    if block.stage is None or block.observed is None:
        return False
    return season_start(today, site) <= block.observed <= today and 60 <= block.stage < 91


def _groups(
    site: Site,
    blocks: Sequence[Block],
    program: Program,
    winters: pd.DataFrame,
    materials: dict[str, Material],
    first: dt.date,
    fall: dt.date,
    today: dt.date | None,
    forecast: pd.DataFrame | None,
    what_if: Sequence[str] | None,
) -> list[Group]:
    as_meant = replace(site, program=program, materials={**site.materials, **materials})
    asked = asked_changes(as_meant, what_if or ())
    owed = what_if is not None and any(program.visits_allowed)
    tried = usual_changes(as_meant, asked) if owed else []
    by_need: dict[tuple[str, Need], list[Block]] = {}
    for block in blocks:
        by_need.setdefault(block_need(block, site, today), []).append(block)
    most = max(by_need.values(), key=_trees, default=[])  # the group that the report is about
    groups = [
        Group(
            tuple(together),
            name,
            need,
            season_outlook(
                winters, site.place, program, materials, first=first,
                need=replace(need, leaf_fall=fall),
                setting=site.setting, access=site.access, duration_h=site.job_h,
                forecast=forecast,
                asked=asked if together is most else (),
                tried=tried if together is most else (),
            ),
        )
        for (name, need), together in by_need.items()
    ]  # fmt: skip
    return sorted(groups, key=lambda group: -_trees(group.blocks))


def _trees(blocks: Sequence[Block]) -> int:
    return sum(block.trees for block in blocks)
