"""How much spray one block takes, the ground it stands on, and the way round its trees."""

from __future__ import annotations

from dataclasses import dataclass

from spraywindow.orchard.block_states import BlockState
from spraywindow.orchard.crew_time import walking_way_m
from spraywindow.orchard.mixing import row_volume_l, tree_volume_l
from spraywindow.orchard.site_mixing import CANOPY_L_PER_M3, SprayerFields
from spraywindow.orchard.site_tables import Block


@dataclass(frozen=True)
class BlockMix:
    """Spray of one block [L]; `per_tree_l` by hand gun, `per_ha_l` on its ground.

    `area_guessed`: neither area nor row length and spacing are given, so the spread stands in.
    """

    block: Block
    state: BlockState
    total_l: float
    per_tree_l: float
    area_m2: float
    area_guessed: bool

    @property
    def per_ha_l(self) -> float:
        """Spray per area [L/ha]."""
        return self.total_l / (self.area_m2 / 10_000)


def block_mix(state: BlockState, sprayer: SprayerFields) -> BlockMix:
    """Spray of one block, by hand gun tree by tree or by tree-row volume."""
    block, canopy = state.block, CANOPY_L_PER_M3[sprayer.pruning]
    if sprayer.way == "hand gun":
        total = block.trees * tree_volume_l(block.spread, block.height, litres_per_m3=canopy)
    else:
        total = row_volume_l(block.spread, block.height, length_m(block), litres_per_m3=canopy)
    area = block.area or length_m(block) * (block.row_spacing or block.spread)
    guessed = block.area is None and None in (block.row_length, block.row_spacing)
    return BlockMix(block, state, total, total / block.trees, area, guessed)


def length_m(block: Block) -> float:
    """Length of all rows: as given, else with canopies that touch."""
    return block.row_length or block.trees * block.spread


def walking_m(block: Block) -> float:
    """Way from tree to tree and round each [m]."""
    return walking_way_m(block.trees, length_m(block) / block.trees, block.spread)
