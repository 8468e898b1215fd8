"""What ``spraywindow mix`` answers for a site: spray, loads, product, calibration, time.

The calibration holds what the sprayer puts out beside what the trees want.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from typing import ClassVar

import pandas as pd

from spraywindow.errors import InputError
from spraywindow.handbook import (
    CrewTime,
    Loads,
    ProductMix,
    crew_time,
    product_mix,
    row_given_l_per_m,
    tank_loads,
    uneven_nozzles,
)
from spraywindow.jobs.mix.limits import Totals, mix_totals
from spraywindow.jobs.mix.sprays import BlockMix, block_mix, rate_of, sprays_of
from spraywindow.jobs.mix.uses import rounds_ahead, uses_done
from spraywindow.reasons import Reason
from spraywindow.record import Application
from spraywindow.site import (
    DAY_H,
    BlockState,
    MixFields,
    Site,
    SprayerFields,
    block_state,
    in_season,
    known_blocks,
    length_m,
    needed,
    refuse_future,
    walking_m,
)
from spraywindow.spray import Slot

OFF_SHARE = 0.10
"""A sprayer that gives this much more or less than the trees want is told of; P."""


@dataclass(frozen=True)
class Calibration:
    """What the sprayer puts out: flow of a gun (by rows: of all nozzles) [L/min], and what of it.

    `uneven` are the numbers, from 1, of nozzles or guns far from the mean of all.
    `seconds_per_tree` by hand gun, for each block. By rows what the trees want of spray per
    length of row [L/m]; with a known speed also what it gets, and the speed [m/s] or the flow
    [L/min] that would give what is wanted, and the speed for each block. `ground_m2_per_m` is
    the ground that a metre of row stands for, the mean of the blocks; None where a row spacing
    is missing.
    """

    json_keys: ClassVar = (
        "flow_l_per_min", "uneven", "speed_ms", "given_l_per_m", "wanted_l_per_m",
        "given_l_per_ha", "wanted_l_per_ha", "better_speed_ms", "better_flow_l_per_min",
    )  # fmt: skip

    flow_l_per_min: float
    uneven: tuple[int, ...]
    seconds_per_tree: dict[str, float]
    speed_ms: float | None = None
    given_l_per_m: float | None = None
    wanted_l_per_m: float | None = None
    better_speed_ms: float | None = None
    better_flow_l_per_min: float | None = None
    ground_m2_per_m: float | None = None
    block_speeds_ms: dict[str, float] = field(default_factory=dict)

    @property
    def uneven_blocks(self) -> bool:
        """Whether the blocks want so different amounts that one setting does not serve them."""
        speeds = self.block_speeds_ms.values()
        return bool(speeds) and max(speeds) / min(speeds) - 1 > OFF_SHARE

    @property
    def given_l_per_ha(self) -> float | None:
        """What the ground gets [L/ha]."""
        return self._per_ha(self.given_l_per_m)

    @property
    def wanted_l_per_ha(self) -> float | None:
        """What the trees want, on their ground [L/ha]."""
        return self._per_ha(self.wanted_l_per_m)

    def _per_ha(self, per_m: float | None) -> float | None:
        if per_m is None or self.ground_m2_per_m is None:
            return None
        return per_m / self.ground_m2_per_m * 10_000


def calibrate(blocks: Sequence[BlockMix], sprayer: SprayerFields) -> Calibration:
    """Hold a sprayer's timed flow against what the blocks want.

    By rows that is compared along the row: how far apart the rows stand changes neither what
    the trees want nor what they get.
    """
    uneven, flow = uneven_nozzles(sprayer.flows_l_per_min), sprayer.flow_l_per_min
    if sprayer.way == "hand gun":
        seconds = {each.block.name: 60 * each.per_tree_l / flow for each in blocks}
        return Calibration(flow, uneven, seconds)
    length = sum(length_m(each.block) for each in blocks)
    wanted = sum(each.round_l for each in blocks) / length
    grounds = [length_m(b) * b.row_spacing for b in (e.block for e in blocks) if b.row_spacing]
    ground = sum(grounds) / length if len(grounds) == len(blocks) else None
    speed = sprayer.speed_ms
    if speed is None:
        return Calibration(flow, uneven, {}, wanted_l_per_m=wanted, ground_m2_per_m=ground)
    given = row_given_l_per_m(flow, speed)
    return Calibration(
        flow, uneven, {}, speed, given, wanted,
        better_speed_ms=speed * given / wanted,
        better_flow_l_per_min=flow * wanted / given,
        ground_m2_per_m=ground,
        block_speeds_ms={
            each.block.name: speed * given / (each.round_l / length_m(each.block))
            for each in blocks
        },
    )  # fmt: skip


def sprayer_warnings(sprayer: SprayerFields, calibration: Calibration, people: int) -> list[str]:
    """What is wrong with the sprayer: uneven nozzles, more guns than people, too much or little."""
    warnings = []
    if calibration.uneven:
        numbers = ", ".join(map(str, calibration.uneven))
        what = "gun" if sprayer.way == "hand gun" else "nozzle"
        warnings.append(f"more than 10 % off the mean, clean or change: {what} {numbers}")
    if sprayer.way == "hand gun" and sprayer.guns > people:
        warnings.append(f"{sprayer.guns} guns for {people} people in [crew]")
    if calibration.speed_ms is None or calibration.better_speed_ms is None:
        return warnings
    wanted = {"the trees want": calibration.better_speed_ms}
    if calibration.uneven_blocks:
        wanted = {f"{name} wants": speed for name, speed in calibration.block_speeds_ms.items()}
    for who, better in wanted.items():
        off = better / calibration.speed_ms - 1
        if abs(off) > OFF_SHARE:
            more = "more" if off > 0 else "less"
            warnings.append(f"the sprayer gives {100 * abs(off):.0f} % {more} than {who}")
    return warnings


HAD_PART = Reason("it has had its part of the round begun")


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
        "season=totals.season", "limits=totals.limits", "warnings!", "notes",
        "in_doubt=site.in_doubt", "cautions!",
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
    def notes(self) -> tuple[str, ...]:
        """What the season's totals rest on, and what was seen of the trees."""
        return (*self.totals.notes, *self.site.seen)

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
    recorded: Sequence[Application] = (),
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
    recorded : sequence of Application
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
    walking = sum(walking_m(each.block, sprayer) * each.share for each in sprayed)
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
    done = [replace(state, why=HAD_PART) for state in chosen if state.block.name in had]
    return (*(state for state in closed if state in chosen), *done)


def _refuse_future_copper(site: Site, today: dt.date) -> None:
    late = [used.day for used in site.copper.used if used.day > today]
    if late:
        raise InputError(
            "a date in the future",
            where="copper.used",
            expected=f"at most {today}",
            got=", ".join(map(str, late)),
        )
