"""How much spray one block takes, the ground it stands on, and the way round its trees."""

from __future__ import annotations

from dataclasses import dataclass, replace

from spraywindow.orchard.block_states import BlockState
from spraywindow.orchard.crew_time import walking_way_m
from spraywindow.orchard.mixing import row_volume_l, tree_volume_l
from spraywindow.orchard.site_mixing import CANOPY_L_PER_M3, SprayerFields
from spraywindow.orchard.site_tables import Block


@dataclass(frozen=True)
class BlockMix:
    """Spray of one block [L]; `per_tree_l` by hand gun, `per_ha_l` on its ground.

    `share` is the part of its round that the job is for, and `total_l` what that takes.
    `area_guessed`: neither area nor row length and spacing are given, so the spread stands in.
    """

    block: Block
    state: BlockState
    total_l: float
    per_tree_l: float
    area_m2: float
    area_guessed: bool
    share: float = 1.0

    @property
    def per_ha_l(self) -> float:
        """Spray per area [L/ha]."""
        return self.round_l / (self.area_m2 / 10_000)

    @property
    def round_l(self) -> float:
        """Spray of its whole round [L]."""
        return self.total_l / self.share

    def part(self, share: float) -> BlockMix:
        """The same for a part of its round only."""
        return replace(self, total_l=self.round_l * share, share=share)


def block_mix(state: BlockState, sprayer: SprayerFields) -> BlockMix:
    """Spray of one block, by hand gun tree by tree or by tree-row volume."""
    block, canopy = state.block, CANOPY_L_PER_M3[sprayer.pruning]
    if sprayer.way == "hand gun":
        total = block.trees * tree_volume_l(block.spread, block.height, litres_per_m3=canopy)
    else:
        total = row_volume_l(block.spread, block.height, length_m(block), litres_per_m3=canopy)
    guessed = block.area is None and None in (block.row_length, block.row_spacing)
    return BlockMix(block, state, total, total / block.trees, ground_m2(block), guessed)


def ground_m2(block: Block) -> float:
    """Ground of a block: as given, else by its rows, else what the canopies cover."""
    return block.area or length_m(block) * (block.row_spacing or block.spread)


def length_m(block: Block) -> float:
    """Length of all rows: as given, else with canopies that touch."""
    return block.row_length or block.trees * block.spread


def walking_m(block: Block) -> float:
    """Way from tree to tree and round each [m]."""
    return walking_way_m(block.trees, length_m(block) / block.trees, block.spread)
