"""The backtest of one site: its program, from leaf fall on, through every past winter.

The runs of one rule stand together: the mean of a figure, and its range.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np
import pandas as pd

from spraywindow.jobs.season import ended_by
from spraywindow.program import Program
from spraywindow.site import Site, block_need, season_leaf_fall, season_start
from spraywindow.weather import WeatherSource, check_hourly, weather_source
from spraywindow.winters import (
    AFTER_H,
    ErrorModel,
    ForecastReplay,
    Foresight,
    PastWinters,
    RuleResult,
    RuleRow,
    backtest,
    past_season,
    rule_row,
    runs_of,
)


@dataclass(frozen=True)
class RoundMade:
    """A round of a rule: its day, and when it began in the site's time."""

    date: dt.date
    start: pd.Timestamp
    material: str


@dataclass(frozen=True)
class ReplayedWinter:
    """A winter by this rule: rounds made, how many held, and how many rain followed, by hours.

    `rounds` is None for a winter left out, `effective` too. `made` has the rounds of each rule's
    first run, where they are asked for.
    """

    json_keys: ClassVar = (
        "winter", "usable", "why_not", "rounds", "effective", "spoiled", "made?",
    )  # fmt: skip

    winter: str
    usable: bool
    why_not: str | None
    rounds: int | None
    effective: int | None
    spoiled: Mapping[int, int | None]
    made: Mapping[str, Sequence[RoundMade]] | None = None


@dataclass(frozen=True, eq=False)
class SiteBacktest:
    """What came of replaying a site's winters; `need_name` says what ends each season.

    `source` is of the record, with notes on it; `tell_rounds` puts every round into its winter.
    """

    json_keys: ClassVar = (
        "site=site.name", "season_ends_by=need_name", "rounds_wanted", "winters", "rules", "notes",
        "cautions!", "source", "source_notes",
    )  # fmt: skip

    site: Site
    program: Program
    season: PastWinters
    need_name: str
    results: Sequence[RuleResult]
    source: WeatherSource
    source_notes: tuple[str, ...] = ()
    tell_rounds: bool = False

    @property
    def rounds_wanted(self) -> int:
        """Rounds of the whole program that its maxima allow."""
        return sum(self.program.visits_allowed)

    @property
    def winters(self) -> tuple[ReplayedWinter, ...]:
        """The winters used, then those left out."""
        rows = winter_rows(self.results[0])
        if self.tell_rounds:
            rows = [replace(row, made=self._made(row.winter)) for row in rows]
        return (
            *rows,
            *(
                ReplayedWinter(label, False, why, None, None, dict.fromkeys(AFTER_H))
                for label, why in self.season.left_out.items()
            ),
        )

    def _made(self, winter: str) -> dict[str, list[RoundMade]]:
        """Every rule's rounds of a winter, each by its first run."""
        block, zone = self.season.block, self.site.place.timezone
        number = self.season.used[self.season.labels.index(winter)]
        out = {}
        for result in (runs.first for runs in runs_of(self.results)):
            if winter not in result.labels:
                continue
            column = result.labels.index(winter)
            out[result.name] = [
                RoundMade(
                    block.starts[number] + dt.timedelta(days=int(day)),
                    pd.Timestamp(
                        int(block.epoch_h[number] + result.start[day, which, column]) * 3600,
                        unit="s", tz="UTC",
                    ).tz_convert(zone),
                    self.season.materials[which].name,
                )
                for day, which in np.argwhere(result.made[..., column])
            ]  # fmt: skip
        return out

    @property
    def rules(self) -> tuple[RuleRow, ...]:
        """The rules, each with its runs together."""
        names = [material.name for material in self.season.materials]
        every = runs_of(self.results)
        ours = [runs for runs in every if runs.first.replay]
        return tuple(rule_row(runs, self.program, names, ours) for runs in every)

    @property
    def notes(self) -> tuple[str, ...]:
        """Of the site and the program."""
        return (*self.site.notes, *self.program.notes())


def winter_rows(result: RuleResult) -> list[ReplayedWinter]:
    """A rule winter by winter."""
    rain = result.outcomes.rain
    return [
        ReplayedWinter(
            label, True, None, int(result.rounds[column]),
            int(result.outcomes.effective[..., column].sum()),
            {hours: int(rain[hours][:, :, column].sum()) for hours in rain},
        )
        for column, label in enumerate(result.labels)
    ]  # fmt: skip


def usual_replays(days: int = 7, errors: int = 1) -> list[ForecastReplay]:
    """Forecasts that reach so many days: so many runs with errors of each kind; 0 for none."""
    runs: list[ForecastReplay] = [
        ErrorModel(seed=seed, days=days, wrong_blocks=wrong)
        for wrong in (False, True)
        for seed in range(1, errors + 1)
    ]
    return runs or [Foresight(days)]


def replayed(
    site: Site,
    winters: pd.DataFrame,
    now: pd.Timestamp,
    replays: Sequence[ForecastReplay],
    *,
    within_d: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> SiteBacktest:
    """Replay the whole program of a site through the winters of a record before `now`.

    The season of the block with the most trees counts. What was done this winter, and the
    stages seen in it, play no part. With `within_d` each season closes so many days after leaf
    fall, at the latest.

    Raises
    ------
    InputError
        If the site file has no leaf fall, the record no past winter before `now`, or a forecast
        does not reach far enough to tell the dry spell wanted.
    """
    today = now.tz_convert(site.place.timezone).date()
    table = check_hourly(ended_by(winters, now, today))
    program = site.program.not_begun()
    block = max(site.blocks, key=lambda block: block.trees)
    name, need = block_need(block, site, None)
    # the season after the record, so that no winter of the record is left out as the one at hand
    after = season_start(max(today, table.index[-1].date()) + dt.timedelta(days=366), site)
    season = past_season(
        table, site.place, program, {n: site.material(n) for n in program.materials},
        first=season_leaf_fall(site, after), need=need, setting=site.setting,
        access=site.access, duration_h=site.job_h,
    )  # fmt: skip
    season = season if within_d is None else season.shortened(within_d)
    results = backtest(season, table, site.place, program, replays=replays, progress=progress)
    return SiteBacktest(site, program, season, name, results, weather_source(winters, now))
