"""The backtest of one site: its program, from leaf fall on, through every past winter."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from spraywindow.orchard.block_states import season_start
from spraywindow.orchard.prospect import ended_by, season_leaf_fall
from spraywindow.orchard.site import Site
from spraywindow.orchard.tree_groups import block_need
from spraywindow.season.backtest import RuleResult, backtest
from spraywindow.season.past import Season, past_season
from spraywindow.season.program import Program
from spraywindow.season.replay import Replay
from spraywindow.weather.hourly import check_hourly


@dataclass(frozen=True, eq=False)
class Replayed:
    """What came of replaying a site's winters; `need_name` says what ends each season."""

    site: Site
    program: Program
    season: Season
    need_name: str
    results: Sequence[RuleResult]


def replayed(
    site: Site,
    winters: pd.DataFrame,
    now: pd.Timestamp,
    replays: Sequence[Replay],
    *,
    progress: Callable[[int, int], None] | None = None,
) -> Replayed:
    """Replay the whole program of a site through the winters of a record before `now`.

    The season of the block with the most trees counts. What was done this winter, and the
    stages seen in it, play no part.

    Raises
    ------
    InputError
        If the site file has no leaf fall, the record no past winter before `now`, or a forecast
        does not reach far enough to tell the dry spell wanted.
    """
    today = now.tz_convert(site.place.timezone).date()
    table = check_hourly(ended_by(winters, now, today))
    program = replace(
        site.program,
        entries=tuple(replace(e, done=(), partly_done=()) for e in site.program.entries),
    )
    block = max(site.blocks, key=lambda block: block.trees)
    name, need = block_need(block, site, None)
    # the season after the record, so that no winter of the record is left out as the one at hand
    after = season_start(max(today, table.index[-1].date()) + dt.timedelta(days=366), site)
    season = past_season(
        table, site.place, program, {n: site.material(n) for n in program.materials},
        first=season_leaf_fall(site, after), need=need, setting=site.setting,
        access=site.access, duration_h=site.job_h,
    )  # fmt: skip
    results = backtest(season, table, site.place, program, replays=replays, progress=progress)
    return Replayed(site, program, season, name, results)
