"""What ``spraywindow mix`` answers for a site: spray, loads, product, calibration, time."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from spraywindow.errors import InputError, describe
from spraywindow.orchard.block_states import BlockState, block_state
from spraywindow.orchard.calibration import (
    NozzleCheck,
    check_nozzles,
    flow_needed_l_per_min,
    rate_given_l_per_ha,
)
from spraywindow.orchard.crew_time import CrewTime, crew_time
from spraywindow.orchard.mix_block import BlockMix, block_mix, length_m, walking_m
from spraywindow.orchard.mix_totals import Spray, Totals, mix_totals
from spraywindow.orchard.mixing import (
    Loads,
    ProductMix,
    Rate,
    product_mix,
    tank_loads,
)
from spraywindow.orchard.site import Site
from spraywindow.orchard.site_mixing import MixFields, SprayerFields
from spraywindow.orchard.site_year import known_blocks, needed

OFF_SHARE = 0.10
"""A sprayer that gives this much more or less than the trees want is told of; P."""


@dataclass(frozen=True)
class Calibration:
    """What the sprayer puts out: flow of a gun (by rows: of all nozzles) [L/min], and what of it.

    `seconds_per_tree` by hand gun, for each block; by rows with a known speed `given_l_per_ha`
    against `wanted_l_per_ha`, and the speed [m/s] or the flow [L/min] that would give it.
    """

    flow_l_per_min: float
    nozzles: NozzleCheck
    seconds_per_tree: dict[str, float]
    speed_ms: float | None = None
    given_l_per_ha: float | None = None
    wanted_l_per_ha: float | None = None
    better_speed_ms: float | None = None
    better_flow_l_per_min: float | None = None


@dataclass(frozen=True)
class MixAnswer:
    """The whole answer for one job: one material on the blocks that may have it.

    Where no block may have it now, the amounts are for all, to plan with.
    """

    site: Site
    now: pd.Timestamp
    material: str
    fields: MixFields
    sprayer: SprayerFields
    blocks: tuple[BlockMix, ...]
    left_out: tuple[BlockState, ...]
    loads: Loads
    mix: ProductMix
    calibration: Calibration
    time: CrewTime
    totals: Totals
    warnings: tuple[str, ...]

    @property
    def to_plan(self) -> bool:
        """Whether no block may have the material now."""
        return not any(each.state.open is not False for each in self.blocks)


def mix_site(
    site: Site, now: pd.Timestamp, material: str, *, blocks: Sequence[str] = ()
) -> MixAnswer:
    """Work out one job.

    Parameters
    ----------
    site : Site
        With `[sprayer]`, and `[mix.NAME]` for a material without a usual rate.
    now : Timestamp
        tz-aware.
    material : str
    blocks : sequence of str
        Only these; all that may have the material by default.

    Raises
    ------
    InputError
        If a table is missing, a name is unknown, or a round is dated in the future.
    """
    sprayer = needed(site.sprayer, "sprayer", site.name)
    known_blocks(set(blocks), {block.name for block in site.blocks}, "--block")
    rate = rate_of(site, material)
    today = now.tz_convert(site.place.timezone).date()
    chosen = [block for block in site.blocks if not blocks or block.name in blocks]
    states = [block_state(block, site, site.material(material), today) for block in chosen]
    left_out = [state for state in states if state.open is False]
    if len(left_out) == len(states):
        left_out = []  # nothing may be sprayed now: the amounts are to plan with
    sprayed = tuple(block_mix(state, sprayer) for state in states if state not in left_out)
    loads = tank_loads(sum(each.total_l for each in sprayed), sprayer.tank)
    mix = product_mix(loads, rate)
    calibration = _calibration(sprayed, sprayer)
    walking = 0.0 if sprayer.way == "rows" else sum(walking_m(each.block) for each in sprayed)
    totals = mix_totals(site, today, material, _sprays(site, sprayer, today), {
        each.block.name for each in sprayed
    })  # fmt: skip
    return MixAnswer(
        site=site,
        now=now.tz_convert(site.place.timezone),
        material=material,
        fields=site.mix.get(material, MixFields()),
        sprayer=sprayer,
        blocks=sprayed,
        left_out=tuple(left_out),
        loads=loads,
        mix=mix,
        calibration=calibration,
        time=crew_time(sprayer.crew, loads, walking_m=walking),
        totals=totals,
        warnings=(*mix.warnings, *_sprayer_warnings(site, sprayer, calibration), *totals.warnings),
    )


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
            describe(
                f"no rate for {material}",
                where=site.name,
                cure=f'add [mix."{material}"] with rate = "3 g/L" (or "4 lb/100 gal"), from its '
                "label",
            )
        )
    return Rate(product, usual.usual_rate, "L", usual.highest_rate)


def _sprays(site: Site, sprayer: SprayerFields, today: dt.date) -> dict[str, list[Spray]]:
    """What one round of each material with a known rate brings to each block."""
    found: dict[str, list[Spray]] = {}
    names = dict.fromkeys((*site.program.materials, *site.mix))
    for name in names:
        try:
            rate = rate_of(site, name)
        except InputError:
            continue  # told by `mix_totals`, which misses it
        share = site.mix.get(name, MixFields()).copper_share
        found[name] = [
            Spray(
                block=block.name,
                amount=each.total_l * rate.per_litre,
                area_m2=each.area_m2,
                copper_kg_per_unit=share or 0.0,
                open=each.state.open is not False,
            )
            for block in site.blocks
            for each in [block_mix(block_state(block, site, site.material(name), today), sprayer)]
        ]
    return found


def _calibration(blocks: Sequence[BlockMix], sprayer: SprayerFields) -> Calibration:
    nozzles = check_nozzles(sprayer.flows_l_per_min)
    flow = sprayer.flow_l_per_min
    if sprayer.way == "hand gun":
        seconds = {each.block.name: 60 * each.per_tree_l / flow for each in blocks}
        return Calibration(flow, nozzles, seconds)
    speed, spacing = sprayer.speed_ms, blocks[0].block.row_spacing
    if speed is None or spacing is None:
        return Calibration(flow, nozzles, {}, speed)
    wanted = sum(each.total_l for each in blocks) / sum(
        length_m(each.block) * (each.block.row_spacing or spacing) / 10_000 for each in blocks
    )
    given = rate_given_l_per_ha(flow, speed, spacing)
    return Calibration(
        flow, nozzles, {}, speed, given, wanted,
        better_speed_ms=speed * given / wanted,
        better_flow_l_per_min=flow_needed_l_per_min(wanted, speed, spacing),
    )  # fmt: skip


def _sprayer_warnings(site: Site, sprayer: SprayerFields, calibration: Calibration) -> list[str]:
    warnings = []
    if calibration.nozzles.uneven:
        numbers = ", ".join(map(str, calibration.nozzles.uneven))
        what = "gun" if sprayer.way == "hand gun" else "nozzle"
        warnings.append(f"more than 10 % off the mean, clean or change: {what} {numbers}")
    if sprayer.way == "hand gun" and sprayer.guns > site.crew.people:
        warnings.append(f"{sprayer.guns} guns for {site.crew.people} people in [crew]")
    given, wanted = calibration.given_l_per_ha, calibration.wanted_l_per_ha
    if given is not None and wanted is not None and abs(given / wanted - 1) > OFF_SHARE:
        more = "more" if given > wanted else "less"
        warnings.append(
            f"the sprayer gives {100 * abs(given / wanted - 1):.0f} % {more} than the trees want"
        )
    return warnings
