"""Past winters of every site, and what each evening's advice makes of them: the policy as maps."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from spraywindow.place import Place
from spraywindow.program import Program
from spraywindow.region.blocks import (
    IMPOSSIBLE,
    NO_WINTER,
    RAIN_UNKNOWN,
    USED,
    Question,
    Sites,
    parts,
)
from spraywindow.region.reading import read_region, time_zones
from spraywindow.region.score import STATE, Output, asked, finished, over_sites
from spraywindow.spray import DURATION_H, Access, Material, Setting
from spraywindow.trees import Need
from spraywindow.winters import Share, season_policy

LEAST_H = 8760
"""A shorter record holds no winter with what stands before and after it [h]."""


@dataclass(frozen=True, eq=False)
class Season:
    """What is asked of the winters of every site: parameters of `season_policy`."""

    program: Program
    materials: Mapping[str, Material]
    first: dt.date
    need: Need
    access: Access
    duration_h: float
    winters: tuple[int, ...]


def season_region(
    dataset: xr.Dataset,
    program: Program,
    materials: Mapping[str, Material],
    *,
    first: dt.date,
    need: Need,
    setting: Setting | None = None,
    access: Access | None = None,
    duration_h: float = DURATION_H,
) -> xr.Dataset:
    """Put each site's past winters side by side, and follow each evening's advice through them.

    Parameters
    ----------
    dataset : Dataset
        Hourly records of past winters, as for `score_region`; ``timezone`` is needed.
    program, materials, first, need, setting, access, duration_h
        As for `season_outlook`, the same at all sites; coordinates named as the fields of
        `Setting` give each site its own.

    Returns
    -------
    Dataset
        Over the dimensions of the sites: ``finish_share`` (of the winters in which all rounds
        hold, as it comes), ``finish_low`` and ``finish_high`` (95 %, Wilson), ``winters_used``;
        ``latest_start_80`` and ``latest_start_90`` (days after `first`; NaN where no start
        reaches that share, or too few winters tell); ``usable_mornings`` over ``material`` too
        (mean of the winters); ``rounds`` over ``winter`` too (made and not washed off; NaN where
        that winter is left out; a winter is named by the year in which it begins);
        ``site_state``: a site without a usable winter is left out.

    Raises
    ------
    InputError, WeatherError
        As of `usable_mornings`.
    """
    region = read_region(dataset)
    order = [materials[name] for name in program.materials]
    question, group = asked(
        dataset, region, order, None, setting, pd.Timestamp.max.tz_localize("UTC")
    )
    number, zones = time_zones(region)
    years = range(region.index[0].year - 1, region.index[-1].year + 1)
    season = Season(program, materials, first, need, access or Access(), duration_h, tuple(years))
    outputs = [
        Output("finish_share", (), "share of the winters in which all rounds hold"),
        Output("finish_low", (), "low end of its 95 % interval"),
        Output("finish_high", (), "high end of its 95 % interval"),
        Output("winters_used", (), "past winters used"),
        *(
            Output(
                f"latest_start_{per_cent}", (),
                f"days from {first} to the last start that {per_cent} % of the winters finish from",
                "d",
            )
            for per_cent in (80, 90)
        ),
        STATE,
        Output("usable_mornings", ("material",), "usable mornings of a winter, mean"),
        Output("rounds", ("winter",), "rounds made and not washed off"),
    ]  # fmt: skip
    out = over_sites(
        region, replace(question, zones=zones), group, number, seasons_of, outputs,
        {"season": season}, winter=len(years),
    )  # fmt: skip
    out = out.assign_coords(winter=list(years))
    out["winter"].attrs = {"long_name": "year in which the winter begins"}
    out.attrs["first"] = first.isoformat()
    return finished(out, dataset, region, question, order)


def seasons_of(
    question: Question, found: Mapping[str, NDArray[Any]], sites: Sites, season: Season
) -> tuple[NDArray[Any], ...]:
    """The variables of `season_region`, arrays [..., site], one site after the other."""
    count = len(sites.group)
    share, low, high, used = (np.full(count, np.nan, dtype=np.float32) for _ in range(4))
    latest = np.full((2, count), np.nan, dtype=np.float32)
    state = np.full(count, USED, dtype=np.int8)
    mornings = np.full((len(season.program.materials), count), np.nan, dtype=np.float32)
    rounds = np.full((len(season.winters), count), np.nan, dtype=np.float32)
    for part in parts(question, found, sites):
        numbers = np.arange(count)[part.which]
        missing = part.rain_unknown()
        setting = question.groups[int(part.sites.group[0])][0]
        for column, site in enumerate(numbers):
            if part.refused[column]:
                state[site] = IMPOSSIBLE
                continue
            table = pd.DataFrame(
                {name: values[:, column] for name, values in part.columns.items()},
                index=question.index,
            )
            place = Place(
                float(sites.latitude[site]), float(sites.longitude[site]),
                float(sites.elevation[site]), question.zones[int(sites.zone[site])],
            )  # fmt: skip
            past, policy = season_policy(
                table, place, season.program, season.materials, first=season.first,
                need=season.need, setting=setting, access=season.access,
                duration_h=season.duration_h,
            )  # fmt: skip
            if not past.labels:
                state[site] = RAIN_UNKNOWN if missing[column] or past.rain_missing else NO_WINTER
                continue
            finish = Share.of(policy.finished[0])
            share[site], low[site], high[site] = finish.share, finish.low, finish.high
            used[site] = finish.n
            for which, day in enumerate(policy.latest_start(season.first).values()):
                latest[which, site] = np.nan if day is None else (day - season.first).days
            mornings[:, site] = past.usable.sum(axis=0).mean(axis=1)
            begins = [season.winters.index(int(label[:4])) for label in past.labels]
            rounds[begins, site] = policy.made[:, 0].sum(axis=0)
    return share, low, high, used, latest[0], latest[1], state, mornings, rounds
