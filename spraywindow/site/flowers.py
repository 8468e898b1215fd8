"""When a block flowers, and between which dates: the one answer that every command gives.

What somebody saw this season comes first, then what a record of past winters makes of the usual
date, then the usual date alone; without one, that of mild winters at large, said to be assumed.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pandas as pd

from spraywindow.days import next_date
from spraywindow.site.blocks import season_leaf_fall, season_start
from spraywindow.site.groups import block_need, usual_first_flower
from spraywindow.site.site import Site
from spraywindow.site.tables import Block
from spraywindow.spray import Material
from spraywindow.trees import (
    DAYS_TO_FLOWER,
    FIRST_FLOWER,
    STAGE_SHARES,
    Flowering,
    default_flower,
    stop_stage,
    usual_flowering,
)

LEAF_FALL = 91


def flowering(block: Block, site: Site, today: dt.date) -> Flowering:
    """Tell when a block flowers in the growing year of a day.

    Parameters
    ----------
    block : Block
    site : Site
        Its `flowers` hold what a record tells, see `with_flowers`.
    today : date
        Nothing that was seen later counts.
    """
    start = season_start(today, site)
    stage, seen = block.stage, block.observed
    if stage is None or seen is None or not start <= seen <= today:
        stage = seen = None
    told = site.feeding.flowering if site.feeding else None
    days = [told] if told and start <= told <= today and not (seen and seen > told) else []
    if stage is not None and seen is not None and FIRST_FLOWER <= stage < LEAF_FALL:
        days.append(seen)
    if days:
        return Flowering(min(days), min(days), min(days), seen=True)
    found = site.flowers.get(block.name)
    if found is not None and season_start(found.day, site) == start:
        return found
    usual = usual_first_flower(block, site)
    day = next_date(usual or default_flower(site.place), start)
    if stage in DAYS_TO_FLOWER and seen is not None:
        from_buds = seen + dt.timedelta(days=DAYS_TO_FLOWER[stage])
        exact = stage in STAGE_SHARES
        if exact or from_buds > day:
            return usual_flowering(from_buds, assumed=usual is None and not exact)
    return usual_flowering(day, assumed=usual is None)


def last_day_of(material: Material, flowers: Flowering) -> dt.date:
    """Last usable day of a material: before its stop stage, and oil before early flowers."""
    stop = stop_stage(material.last_stage)
    last = flowers.day - dt.timedelta(days=DAYS_TO_FLOWER[stop])
    return (last if stop >= FIRST_FLOWER else min(last, flowers.low)) - dt.timedelta(days=1)


def main_block(site: Site, today: dt.date) -> Block:
    """The block with the most trees that nobody saw in flower, else the one with the most."""
    return max(site.blocks, key=lambda block: (not flowering(block, site, today).seen, block.trees))


def main_flowering(site: Site, today: dt.date) -> Flowering:
    """When the main block flowers."""
    return flowering(main_block(site, today), site, today)


def with_flowers(
    site: Site, winters: pd.DataFrame, now: pd.Timestamp, forecast: pd.DataFrame | None = None
) -> Site:
    """Give the site with the first flowers that a record of past winters tells.

    Parameters
    ----------
    site : Site
    winters : DataFrame
        Hourly record; what it holds from `now` on is not used.
    now : Timestamp
    forecast : DataFrame, optional
        Hourly table that goes on from the record, once leaves have fallen.

    Raises
    ------
    InputError
        If the site file has no leaf fall, from which the season is counted.
    """
    from spraywindow.winters import past_flowering  # only where a record of winters is given

    today = now.tz_convert(site.place.timezone).date()
    known = winters[winters.index < now.tz_convert("UTC").floor("h")]
    fall = season_leaf_fall(site, season_start(today, site))
    begun = today >= fall
    first = today + dt.timedelta(days=1) if begun else fall
    found = {
        block.name: past_flowering(
            known, site.place, first, block_need(block, site, today)[1], forecast if begun else None
        )
        for block in site.blocks
    }
    return replace(site, flowers={name: each for name, each in found.items() if each})
