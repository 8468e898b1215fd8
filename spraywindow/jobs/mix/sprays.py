"""How much spray one block takes, and what one round of each material brings to each block."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from spraywindow.errors import InputError
from spraywindow.handbook import Rate, Use
from spraywindow.site import (
    Block,
    BlockState,
    MixFields,
    Site,
    SprayerFields,
    block_state,
    length_m,
    needed,
    spray_l,
)


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
    block, total = state.block, spray_l(state.block, sprayer)
    guessed = block.area is None and None in (block.row_length, block.row_spacing)
    return BlockMix(block, state, total, total / block.trees, ground_m2(block), guessed)


def ground_m2(block: Block) -> float:
    """Ground of a block: as given, else by its rows, else what the canopies cover."""
    return block.area or length_m(block) * (block.row_spacing or block.spread)


@dataclass(frozen=True)
class Spray:
    """One round of a material on a block: product [L or kg], ground [m2], its copper [kg]."""

    block: str
    amount: float
    base: str
    area_m2: float
    copper_kg_per_unit: float
    open: bool

    def use(self, day: dt.date, material: str, share: float = 1.0, *, planned: bool = False) -> Use:
        """The use of a round, or of a share of one."""
        return Use(day, self.block, material, self.amount * share, self.area_m2,
                   self.copper_kg_per_unit, planned, share, self.base)  # fmt: skip


Sprays = Mapping[str, Sequence[Spray]]
"""Material to one round of it on each block; materials without a known rate are absent."""


def sprays_of(site: Site, today: dt.date, materials: Iterable[str] = ()) -> Sprays:
    """One round of each material of the program, of the mixes and of some more.

    Empty where the site file has no `[sprayer]`.
    """
    if site.sprayer is None:
        return {}
    found: dict[str, list[Spray]] = {}
    for name in dict.fromkeys((*site.program.materials, *site.mix, *materials)):
        try:
            rate = rate_of(site, name)
        except InputError:
            continue  # told by who counts it, and misses it
        share = site.mix.get(name, MixFields()).copper_share
        found[name] = [
            Spray(
                block=block.name,
                amount=each.total_l * rate.per_litre,
                base=rate.base,
                area_m2=each.area_m2,
                copper_kg_per_unit=share or 0.0,
                open=each.state.open is not False,
            )
            for block in site.blocks
            for each in [
                block_mix(block_state(block, site, site.material(name), today), site.sprayer)
            ]
        ]
    return found


def as_mixed(
    site: Site, material: str, names: Sequence[str], day: dt.date, part: float = 1.0
) -> tuple[float, float, str]:
    """Spray [L], product and its base ("L", "kg") of a round on some blocks, as `mix` has it.

    Parameters
    ----------
    site : Site
        With `[sprayer]`.
    material : str
    names : sequence of str
        Blocks done; none: all that may have it.
    day : date
    part : float
        Of the round on them.

    Raises
    ------
    InputError
        If the site file has no sprayer, no rate of the material is known, or no block may have it.
    """
    sprayer, rate = needed(site.sprayer, "sprayer", site.name), rate_of(site, material)
    states = [block_state(block, site, site.material(material), day) for block in site.blocks]
    done = [s for s in states if s.block.name in names or (not names and s.open is not False)]
    if not done:
        raise InputError(f"no block may have {material}", where=site.name, cure="name the blocks")
    spray_l = part * sum(block_mix(each, sprayer).total_l for each in done)
    return spray_l, spray_l * rate.per_litre, rate.base


def rate_of(site: Site, material: str) -> Rate:
    """What a litre of spray holds of a material: the site file's rate, else the usual one.

    Raises
    ------
    InputError
        If there is neither.
    """
    usual = site.material(material)
    fields = site.mix.get(material, MixFields())
    product = fields.product or material
    if fields.rate is not None:
        most = usual.highest_rate if fields.rate.base == "L" else None
        return Rate(product, fields.rate.per_litre, fields.rate.base, most)
    if usual.usual_rate is None:
        raise InputError(
            f"no rate for {material}",
            where=site.name,
            cure=f'add [mix."{material}"] with rate = "3 g/L" (or "4 lb/100 gal"), from its label',
        )
    return Rate(product, usual.usual_rate, "L", usual.highest_rate)
