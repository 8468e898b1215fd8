"""Whether each block of trees may be sprayed on a day, by its stage and when that was seen."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar

from spraywindow.days import day_words, next_date
from spraywindow.errors import InputError
from spraywindow.reasons import NearDay, Reason
from spraywindow.site.site import Site
from spraywindow.site.tables import Block
from spraywindow.spray import Finding, Material, season_order
from spraywindow.trees import FIRST_FLOWER, PETAL_FALL, stage_words, winter_start

FRESH_STAGE_D = 7
"""Late in the season a stage must have been seen within so many days; P."""
BUD_SWELL_NORTH, BUD_SWELL_SOUTH = (1, 15), (7, 15)
"""Earliest likely bud swell (month, day) where the site file has none; P, mild winters."""
LEAF_FALL_NORTH, LEAF_FALL_SOUTH = (12, 1), (6, 1)
"""Usual leaf fall where the site file has none; P, mild winters."""
LEAVES_ON = (93, 95)
"""Leaf fall has begun, and half of it: a dormant spray waits for the rest."""
NO_STAGE = Reason("buds may be swelling and no stage is noted: look first")
LEAF_FALL_SPREAD_D = 10
"""The usual date holds to so many days; P."""


@dataclass(frozen=True)
class BlockState:
    """Whether a block of trees may get the material on that day; `open` None is unknown."""

    json_keys: ClassVar = (
        "name=block.name", "stage=block.stage", "stage_date=block.observed", "open", "why~",
    )  # fmt: skip

    block: Block
    open: bool | None
    why: Reason | None


def block_states(site: Site, material: Material, day: dt.date) -> list[BlockState]:
    """Give the state of every block on a local day."""
    return [block_state(block, site, material, day) for block in site.blocks]


def trees_finding(states: Iterable[BlockState]) -> Finding:
    """Sum up the blocks: go where one may be sprayed, unknown where one may perhaps."""
    states = list(states)
    if any(state.open for state in states):
        return Finding("go")
    unsure = next((state for state in states if state.open is None), None)
    return Finding("unknown", unsure.why) if unsure else Finding("no-go", states[0].why)


def block_state(block: Block, site: Site, material: Material, day: dt.date) -> BlockState:
    """Tell whether a block's stage allows the material on a local day."""
    start = season_start(day, site)
    stage, seen, old = block.stage, block.observed, None
    if seen is not None and not start <= seen <= day:
        if seen > day:
            return BlockState(block, None, Reason("its stage is dated {}, a day to come", (seen,)))
        stage, old, seen = None, seen, None  # last winter's buds say nothing
    if stage is not None and material.stops(stage):
        return BlockState(block, False, _past(stage, material))
    if stage is None and day < leaf_fall(site, start):
        return BlockState(block, False, Reason("still in leaf, before the usual leaf fall"))
    if stage in LEAVES_ON and season_order(material.last_stage) >= 0:
        began = stage_words(stage), NearDay(seen or day)
        if not _down_since(site, seen or day, day):
            fresh = (day - (seen or day)).days <= FRESH_STAGE_D
            return BlockState(block, False if fresh else None, Reason(
                "{} on {}: leaves still on" if fresh else "{} on {}: look whether all are down",
                began,
            ))  # fmt: skip
    swelling = stage is not None and season_order(stage) > 0
    if swelling or day >= next_date(block.bud_swell_from or _north_south(site, "bud swell"), start):
        if old is not None:
            why = Reason("its stage is dated {}, another winter: look again", (old,))
            return BlockState(block, None, why)
        if seen is None:
            return BlockState(block, None, NO_STAGE)
        if (day - seen).days > FRESH_STAGE_D:
            told = NearDay(seen), str(FRESH_STAGE_D)
            why = Reason("buds last seen {}, over {} days before: look again", told)
            return BlockState(block, None, why)
    return BlockState(block, True, None)


def _down_since(site: Site, seen: dt.date, day: dt.date) -> bool:
    """Whether the leaves came down between a sighting of leaves and a day."""
    down = site.dates.leaf_fall
    return down is not None and seen <= down <= day


def leaf_fall_doubts(site: Site, day: dt.date) -> list[str]:
    """Say where the leaf fall of the growing year is dated before leaves that were seen."""
    down, start = site.dates.leaf_fall, season_start(day, site)
    if down is None or down < start:
        return []
    return [
        f"leaf fall is dated {day_words(down)}, but {block.name} had "
        f"{stage_words(block.stage)} on {day_words(block.observed)}: the later sighting counts"
        for block in site.blocks
        if block.stage in LEAVES_ON and block.observed is not None and down < block.observed <= day
    ]


def _past(stage: int, material: Material) -> Reason:
    flowers = FIRST_FLOWER <= stage < PETAL_FALL
    words = "open flowers" if flowers else stage_words(stage)
    last = stage_words(material.last_stage)
    return Reason("{} ({} stops after {})", (words, material.name, last))


def _north_south(site: Site, what: str) -> tuple[int, int]:
    north = site.place.latitude >= 0
    if what == "bud swell":
        return BUD_SWELL_NORTH if north else BUD_SWELL_SOUTH
    return LEAF_FALL_NORTH if north else LEAF_FALL_SOUTH


def season_start(day: dt.date, site: Site) -> dt.date:
    """First day of the growing year that holds a day: 1 July in the north, 1 January south."""
    return winter_start(day, site.place.latitude)


def leaf_fall(site: Site, start: dt.date) -> dt.date:
    """First day on which the leaves may be down: observed, else the usual date less its spread."""
    seen = site.dates.leaf_fall
    if seen is not None and start <= seen < start + dt.timedelta(days=365):
        return seen
    usual = site.dates.usual_leaf_fall or _north_south(site, "leaf fall")
    return next_date(usual, start) - dt.timedelta(days=LEAF_FALL_SPREAD_D)


def season_leaf_fall(site: Site, start: dt.date) -> dt.date:
    """Leaf fall of the growing year that begins at `start`: seen in it, else the usual date.

    Without a usual date, the one seen in another year stands for it.

    Raises
    ------
    InputError
        If the site file has neither.
    """
    seen = site.dates.leaf_fall
    if seen is not None and start <= seen < start + dt.timedelta(days=365):
        return seen
    usual = site.dates.usual_leaf_fall or ((seen.month, seen.day) if seen else None)
    if usual is None:
        raise InputError(
            "no leaf fall",
            where="site file, season",
            expected='leaf_fall = a date seen, or usual_leaf_fall = "1 Dec"',
        )
    return next_date(usual, start)
