"""What decides when a block flowers: its cultivar group, or the usual date of the site file."""

from __future__ import annotations

import datetime as dt

from spraywindow.site.blocks import season_start
from spraywindow.site.site import Site
from spraywindow.site.tables import Block
from spraywindow.trees import DAYS_TO_FLOWER, Need, Stage, cultivar_group

CROP_GROUPS = {"apricot": "apricot", "prune": "prune", "plum": "prune"}
"""Cultivar group of a crop where the block names none; P."""
USUAL_GROUP = "low chill peach"
"""Of every other crop, in a mild winter; P."""


def block_need(block: Block, site: Site, today: dt.date | None) -> tuple[str, Need]:
    """What decides when a block flowers: its cultivar group, or the site's usual first flower.

    With its buds as seen in the season of `today`; of a season to come (None) nothing is seen.
    """
    seen, on = None, block.observed
    if today and on and season_start(today, site) <= on <= today and block.stage in DAYS_TO_FLOWER:
        seen = Stage(block.stage, on)
    usual = usual_first_flower(block, site)
    crop = next((group for crop, group in CROP_GROUPS.items() if crop in block.crop.lower()), None)
    if usual is not None:
        name = block.chill or crop
        trees = cultivar_group(name, where=f"block {block.name}, chill") if name else None
        return "the usual first flower of the site file", Need(trees, usual, seen)
    group = cultivar_group(block.chill or crop or USUAL_GROUP, where=f"block {block.name}, chill")
    assumed = "" if block.chill else ", assumed (write usual_first_flower in the site file)"
    return f"cultivar group {group.name}{assumed}", Need(group, seen=seen)


def usual_first_flower(block: Block, site: Site) -> tuple[int, int] | None:
    """The usual first flower of a block (month, day): its own, else the site's; None without."""
    of_year = site.feeding.usual_flowering if site.feeding else None
    return block.usual_first_flower or site.dates.usual_first_flower or of_year
