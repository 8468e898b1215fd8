"""How much spray the blocks take, and how long the crew needs for it."""

from __future__ import annotations

from collections.abc import Sequence

from spraywindow.handbook import (
    CrewTime,
    crew_time,
    row_volume_l,
    tank_loads,
    tree_volume_l,
    walking_way_m,
)
from spraywindow.site.tables import CANOPY_L_PER_M3, Block, SprayerFields


def spray_l(block: Block, sprayer: SprayerFields) -> float:
    """Spray of a round on one block [L], by hand gun tree by tree or by tree-row volume."""
    canopy = CANOPY_L_PER_M3[sprayer.pruning]
    if sprayer.way == "hand gun":
        return block.trees * tree_volume_l(block.spread, block.height, litres_per_m3=canopy)
    return row_volume_l(block.spread, block.height, length_m(block), litres_per_m3=canopy)


def length_m(block: Block) -> float:
    """Length of all rows: as given, else with canopies that touch."""
    return block.row_length or block.trees * block.spread


def walking_m(block: Block, sprayer: SprayerFields) -> float:
    """Way from tree to tree and round each [m]; none by rows, where it is driven spraying."""
    if sprayer.way == "rows":
        return 0.0
    return walking_way_m(block.trees, length_m(block) / block.trees, block.spread)


def round_time(blocks: Sequence[Block], sprayer: SprayerFields) -> CrewTime:
    """Time of a whole round on the blocks."""
    loads = tank_loads(sum(spray_l(block, sprayer) for block in blocks), sprayer.tank)
    walking = sum(walking_m(block, sprayer) for block in blocks)
    return crew_time(sprayer.crew, loads, walking_m=walking)
