"""What ``spraywindow mix`` answers for a site: spray, loads, product, calibration, time."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

import pandas as pd

from spraywindow.errors import InputError, describe
from spraywindow.orchard.block_states import BlockState, block_state
from spraywindow.orchard.crew_time import CrewTime, crew_time
from spraywindow.orchard.mix_block import BlockMix, block_mix, walking_m
from spraywindow.orchard.mix_calibration import Calibration, calibrate, sprayer_warnings
from spraywindow.orchard.mix_done import uses_done
from spraywindow.orchard.mix_round import rounds_ahead
from spraywindow.orchard.mix_spray import rate_of, sprays_of
from spraywindow.orchard.mix_totals import Totals, mix_totals
from spraywindow.orchard.mixing import Loads, ProductMix, product_mix, tank_loads
from spraywindow.orchard.record_fields import Entry
from spraywindow.orchard.site import Site
from spraywindow.orchard.site_mixing import MixFields, SprayerFields
from spraywindow.orchard.site_tables import DAY_H
from spraywindow.orchard.site_year import known_blocks, needed
from spraywindow.orchard.spacing import in_season, refuse_future
from spraywindow.spray.slots import Slot

HAD_WORDS = "it has had its part of the round begun"


@dataclass(frozen=True)
class BlockJob:
    """A block's part of the job: its spray, its product [L or kg], and how to work its trees.

    `seconds_per_tree` by hand gun; `better_speed_ms` by rows, where the speed is known.
    """

    json_keys: ClassVar = (
        "name=mix.block.name", "trees=mix.block.trees", "open=mix.state.open", "why=mix.state.why~",
        "share=mix.share", "per_tree_l=mix.per_tree_l", "spray_l=mix.total_l:2", "product",
        "seconds_per_tree", "better_speed_ms", "area_m2=mix.area_m2:1",
        "area_guessed=mix.area_guessed", "spray_l_per_ha=mix.per_ha_l:1",
    )  # fmt: skip

    mix: BlockMix
    product: float
    seconds_per_tree: float | None
    better_speed_ms: float | None


@dataclass(frozen=True)
class MixAnswer:
    """The whole answer for one job: one material on the blocks that may have it.

    Where no block may have it now, the amounts are for all, to plan with. `share` is the part
    of a round that the job makes up: less than 1 where it is the rest of one begun. `next_slot`
    is long enough for the job; None where there is none, or the weather was not `looked_at`.
    """

    json_keys: ClassVar = (
        "site=site.name", "now", "material", "product=mix.rate.product",
        "product_unit=mix.rate.base", "rate_per_l=mix.rate.per_litre:6", "share",
        "spray_l=loads.total_l:2", "product_total=mix.total", "blocks=jobs",
        "left_out(name=block.name why)",
        "loads=.(loads* product_per_full_load=mix.per_full_load product_last_load=mix.last_load)",
        "calibration=.(way=sprayer.way calibration*)", "time", "next_slot(start end)",
        "season=totals.season", "limits=totals.limits", "warnings!", "notes=totals.notes",
        "cautions!",
    )  # fmt: skip

    site: Site
    now: pd.Timestamp
    material: str
    fields: MixFields
    sprayer: SprayerFields
    blocks: tuple[BlockMix, ...]
    left_out: tuple[BlockState, ...]
    share: float
    loads: Loads
    mix: ProductMix
    calibration: Calibration
    time: CrewTime
    totals: Totals
    warnings: tuple[str, ...]
    looked_at: bool = False
    next_slot: Slot | None = None

    @property
    def jobs(self) -> tuple[BlockJob, ...]:
        """What each block takes of the job."""
        seconds, speeds = self.calibration.seconds_per_tree, self.calibration.block_speeds_ms
        return tuple(
            BlockJob(
                each,
                each.total_l * self.mix.rate.per_litre,
                seconds.get(each.block.name),
                speeds.get(each.block.name),
            )
            for each in self.blocks
        )

    @property
    def to_plan(self) -> bool:
        """Whether no block may have the material now."""
        return not any(each.state.open is not False for each in self.blocks)

    @property
    def day_h(self) -> float:
        """Hours in which the site may be worked on a day [h]."""
        hours = self.site.access
        return (DAY_H if hours.end_h is None else hours.end_h) - (hours.start_h or 0.0)


def mix_site(
    site: Site,
    now: pd.Timestamp,
    material: str,
    *,
    blocks: Sequence[str] = (),
    recorded: Sequence[Entry] = (),
) -> MixAnswer:
    """Work out one job.

    Parameters
    ----------
    site : Site
        With `[sprayer]`, and `[mix.NAME]` for a material without a usual rate; the season's
        rounds of the record among those done.
    now : Timestamp
        tz-aware.
    material : str
    blocks : sequence of str
        Only these; all that may have the material by default.
    recorded : sequence of Entry
        All entries of the site's record that hold, of earlier years too.

    Raises
    ------
    InputError
        If a table is missing, a name is unknown, or a round is dated in the future.
    """
    sprayer = needed(site.sprayer, "sprayer", site.name)
    names = {block.name for block in site.blocks}
    known_blocks(set(blocks), names, "--block")
    known_blocks({u.block for u in site.copper.used if u.block is not None}, names, "copper.used")
    rate = rate_of(site, material)
    today = now.tz_convert(site.place.timezone).date()
    refuse_future(site, today)
    _refuse_future_copper(site, today)
    season = in_season(site, today).program
    states = [block_state(block, site, site.material(material), today) for block in site.blocks]
    chosen = [state for state in states if not blocks or state.block.name in blocks]
    closed = [state for state in states if state.open is False]
    if all(state in closed for state in chosen):
        closed = []  # nothing may be sprayed now: the amounts are to plan with
    may = [state.block.name for state in states if state not in closed]
    ahead = rounds_ahead(
        site, season, material, recorded, may, [state.block.name for state in chosen]
    )
    in_job = [state for state in chosen if state.block.name in ahead.next]
    parts = {state.block.name: ahead.next[state.block.name] for state in in_job}
    sprayed = tuple(block_mix(each, sprayer).part(parts[each.block.name]) for each in in_job)
    loads = tank_loads(sum(each.total_l for each in sprayed), sprayer.tank)
    mix = product_mix(loads, rate)
    calibration = calibrate(sprayed, sprayer)
    by_row = sprayer.way == "rows"
    walking = 0.0 if by_row else sum(walking_m(each.block) * each.share for each in sprayed)
    sprays = sprays_of(site, today, (*site.other_sprays, *(e.material for e in recorded)))
    rest = {
        name: rounds_ahead(site, season, name, recorded, may_have).owed
        for name in season.materials
        for may_have in [[spray.block for spray in sprays.get(name, ()) if spray.open]]
    } | {material: ahead.owed[1:]}
    job = [
        spray.use(today, material, parts[spray.block], planned=True)
        for spray in sprays[material]
        if spray.block in parts
    ]
    done = uses_done(site, recorded, today, sprays)
    maximum = site.program.metallic_copper_maximum_kg_ha
    totals = mix_totals(site, today, sprays, job, rest, done, maximum)
    off = sprayer_warnings(sprayer, calibration, site.people)
    return MixAnswer(
        site=site,
        now=now.tz_convert(site.place.timezone),
        material=material,
        fields=site.mix.get(material, MixFields()),
        sprayer=sprayer,
        blocks=sprayed,
        left_out=_left_out(chosen, closed, ahead.had),
        share=ahead.share,
        loads=loads,
        mix=mix,
        calibration=calibration,
        time=crew_time(sprayer.crew, loads, walking_m=walking),
        totals=totals,
        warnings=(*mix.warnings, *off, *totals.warnings),
    )


def _left_out(
    chosen: Sequence[BlockState], closed: Sequence[BlockState], had: Collection[str]
) -> tuple[BlockState, ...]:
    """Blocks that may not have the material, or have had their part, each with its reason."""
    done = [replace(state, why=HAD_WORDS) for state in chosen if state.block.name in had]
    return (*(state for state in closed if state in chosen), *done)


def _refuse_future_copper(site: Site, today: dt.date) -> None:
    late = [used.day for used in site.copper.used if used.day > today]
    if late:
        raise InputError(
            describe("a date in the future", where="copper.used", expected=f"at most {today}",
                     got=", ".join(map(str, late)))
        )  # fmt: skip
