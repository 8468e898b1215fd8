"""What ``spraywindow feed`` answers for a site: each block's feeding, and the ground round it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import ClassVar

import pandas as pd

from spraywindow.days import at_clock
from spraywindow.errors import describe
from spraywindow.handbook import (
    SOILS,
    LayerNeed,
    Part,
    Ring,
    WaterIn,
    compost,
    layer_need,
    mulch,
    refuse,
    water_in,
)
from spraywindow.jobs.feed.advice import (
    FedTree,
    FeedingAdvice,
    FeedingDay,
    FeedingRules,
    FeedingWindow,
    Wake,
    feeding_advice,
    feeding_days,
)
from spraywindow.jobs.feed.waking import USUAL_SPREAD_D, waking
from spraywindow.place import Place
from spraywindow.reasons import Reason
from spraywindow.site import Block, FeedingFields, Site, known_blocks, needed
from spraywindow.spray import Verdict
from spraywindow.weather import WeatherSource, known_at, weather_source

MORNING_H = 8
"""Clock hour at which compost and mulch are thought of as laid."""


@dataclass(frozen=True)
class BlockFeed:
    """Feeding of one block: the waking it rests on, the advice, and why it is refused.

    `unseen`: flowering was expected in the last days and nobody has noted it.
    """

    json_keys: ClassVar = (
        "name=block.name", "trees=block.trees", "verdict", "state=advice.state", "reason!",
        "flowering=wake.day", "flowering_observed=wake.observed", "last_day=advice.last_day",
        "given=advice.plan.given", "left=advice.plan.left", "next_amount", "parts",
        "nitrogen_kg=advice.nitrogen.nitrogen_kg", "nitrogen_most_kg=advice.nitrogen.most_kg",
        "windows", "days=advice.days",
    )  # fmt: skip

    block: Block
    wake: Wake | None
    advice: FeedingAdvice
    reason: Reason | None
    unseen: bool

    @property
    def windows(self) -> tuple[FeedingWindow, ...]:
        """The windows of a block that may be fed."""
        return self.advice.windows if self.verdict == "go" else ()

    @property
    def warnings(self) -> tuple[Reason, ...]:
        """What to check beside the nitrogen; of the waking only while it matters."""
        advice = self.advice
        if advice.plan is not None and advice.plan.annual == 0:
            return ()  # the reason says it
        if advice.plan is not None and advice.state != "open":
            return advice.plan.warnings
        return advice.warnings

    @property
    def next_amount(self) -> float | None:
        """Of the next part, per tree, in the user's measure; 0 for none, None without a plan."""
        plan = self.advice.plan
        return None if plan is None else plan.next_part.amount if plan.next_part else 0.0

    @property
    def parts(self) -> tuple[Part, ...]:
        """The parts of the year's dose; none while no waking is known."""
        return self.advice.plan.parts if self.advice.plan else ()

    @property
    def verdict(self) -> Verdict:
        """Whether there is a day for feeding; never go before somebody could see the trees wake."""
        if self.advice.state != "open":
            return "no-go"
        if self.unseen:
            return "unknown"
        verdicts = {day.verdict for day in self.advice.days}
        return "go" if "go" in verdicts else "unknown" if "unknown" in verdicts else "no-go"


@dataclass(frozen=True)
class BlockLayer:
    """What one tree of a block takes of a layer [m3]."""

    json_keys: ClassVar = ("name=block.name", "per_tree_m3")

    block: Block
    per_tree_m3: float


@dataclass(frozen=True)
class GroundLayer:
    """What a layer takes, in bags of `bag_l` where it is bought so."""

    json_keys: ClassVar = (
        "name=need.layer.name", "depth_m=need.layer.depth_m", "blocks", "site_m3=need.site_m3",
        "bag_l", "bags=need.bags",
    )  # fmt: skip

    need: LayerNeed
    blocks: tuple[BlockLayer, ...]
    bag_l: float | None


@dataclass(frozen=True)
class WaterDay:
    """Whether a layer laid on a day needs watering."""

    json_keys: ClassVar = ("date", "needed=water.needed", "reason!")

    date: dt.date
    water: WaterIn


@dataclass(frozen=True)
class Ground:
    """Compost and mulch: what they take, and whether they need watering when laid on a day."""

    layers: tuple[GroundLayer, ...]
    water_in: tuple[WaterDay, ...]


@dataclass(frozen=True)
class FeedAnswer:
    """The whole answer; `blocks` is empty where the site file tells only of the ground."""

    json_keys: ClassVar = (
        "site=site.name", "now", "verdict", "window", "source",
        "fertilizer=site.feeding.fertilizer", "measure=site.feeding.dose.measure",
        "dose_per_tree=site.feeding.dose.amount", "dose_kg_per_tree", "blocks", "ground",
        "warnings!", "cautions!",
    )  # fmt: skip

    site: Site
    now: pd.Timestamp
    blocks: tuple[BlockFeed, ...]
    ground: Ground | None
    source: WeatherSource
    notes: tuple[str, ...]

    @property
    def verdict(self) -> Verdict | None:
        """Go if any block may be fed on any of the coming days; None without blocks."""
        if not self.blocks:
            return None
        verdicts = {block.verdict for block in self.blocks}
        return "go" if "go" in verdicts else "unknown" if "unknown" in verdicts else "no-go"

    @property
    def dose_kg_per_tree(self) -> float | None:
        """The year's dose of a tree [kg]."""
        feeding = self.site.feeding
        return None if feeding is None else feeding.dose.to("kg", feeding.product)

    @property
    def window(self) -> FeedingWindow | None:
        """The first window of all blocks."""
        windows = [window for block in self.blocks for window in block.windows]
        return min(windows, key=lambda window: window.start) if windows else None


def feed_site(site: Site, weather: pd.DataFrame, now: pd.Timestamp) -> FeedAnswer:
    """Answer for one site and day.

    Parameters
    ----------
    site : Site
        With `[feeding]`, `[ground]` or both.
    weather : DataFrame
        Hourly table that holds `now`; eleven days before and after it are used.
    now : Timestamp
        tz-aware.

    Raises
    ------
    InputError
        If neither table is there, a size cannot be, a dose was given in the future, or a block
        is unknown.
    WeatherError
        If the weather does not hold `now`.
    """
    feeding = site.feeding
    if site.ground is None:
        feeding = needed(site.feeding, "feeding", site.name)
    if feeding is not None:
        known_blocks(
            {gift.block for gift in feeding.given if gift.block is not None},
            {block.name for block in site.blocks},
            "feeding.given",
        )
    table = known_at(weather, now)
    today = now.tz_convert(site.place.timezone).date()
    blocks: tuple[BlockFeed, ...] = ()
    if feeding is not None:
        days = feeding_days(
            table, site.place, SOILS[feeding.soil], now,
            rules=FeedingRules(access=site.access),
            snow_on_ground=feeding.snow_seen == today,
        )  # fmt: skip
        blocks = tuple(_block(block, site, feeding, days, now, today) for block in site.blocks)
    return FeedAnswer(
        site=site,
        now=now.tz_convert(site.place.timezone),
        blocks=blocks,
        ground=_ground(site, table, today),
        source=weather_source(table, now.tz_convert(site.place.timezone)),
        notes=(*table.attrs.get("notes", []), *site.seen),
    )


def _block(
    block: Block,
    site: Site,
    feeding: FeedingFields,
    days: tuple[FeedingDay, ...],
    now: pd.Timestamp,
    today: dt.date,
) -> BlockFeed:
    woken = waking(block, site, today)
    tree = FedTree(
        annual=feeding.dose,
        fertilizer=feeding.product,
        given=feeding.given_to(block.name),
        trunk_diameter_m=block.trunk_diameter,
        age_years=None if block.planted is None else float(max(0, today.year - block.planted)),
        parts=feeding.parts,
        last_day=feeding.last_day(woken.wake.day) if woken.wake else None,
    )
    advice = feeding_advice(days, site.place, tree, now, wake=woken.wake)
    wake, reason = woken.wake, advice.reason
    spread = dt.timedelta(days=USUAL_SPREAD_D)
    unseen = wake is not None and not wake.observed and wake.day <= today < wake.day + spread
    if feeding.dose.amount == 0:
        reason = Reason("the year's dose is 0")
    elif wake is None:
        reason = Reason("the trees are not awake: {}", (woken.why or "",))
    elif unseen and advice.state == "open":
        reason = Reason(
            "flowering is expected about {}: look at the trees and note it", (wake.day,)
        )
    return BlockFeed(block, wake, advice, reason, unseen)


def _ground(site: Site, table: pd.DataFrame, today: dt.date) -> Ground | None:
    fields = site.ground
    if fields is None:
        return None
    refuse(_gap_problem(block, fields.trunk_gap) for block in site.blocks)
    rings = [
        Ring(block.trees, block.spread, fields.trunk_gap, block.trunk_diameter or 0.0)
        for block in site.blocks
    ]
    chosen = [
        layer(depth)
        for layer, depth in ((compost, fields.compost), (mulch, fields.mulch))
        if depth is not None
    ]
    layers = []
    for layer in chosen:
        need = layer_need(rings, layer, bag_l=fields.bag)
        each = tuple(map(BlockLayer, site.blocks, need.per_tree_m3))
        layers.append(GroundLayer(need, each, fields.bag))
    return Ground(tuple(layers), _watering(table, site.place, today))


def _gap_problem(block: Block, gap_m: float) -> str | None:
    most = (block.spread - (block.trunk_diameter or 0.0)) / 2
    if gap_m < most:
        return None
    return describe(
        "the trunk gap reaches beyond the drip line",
        where=f"ground.trunk_gap, {block.name}",
        expected=f"less than {most:.2f} m",
        got=f"{gap_m:.2f} m",
    )


def _watering(table: pd.DataFrame, place: Place, today: dt.date) -> tuple[WaterDay, ...]:
    """The watering for the coming days, as far as the weather knows; at least tomorrow's."""
    found = []
    for ahead in range(1, 8):
        day = today + dt.timedelta(days=ahead)
        water = water_in(table, at_clock(pd.Timestamp(day), MORNING_H, place.timezone))
        found.append(WaterDay(day, water))
    known = [each for each in found if each.water.needed is not None]
    return tuple(known or found[:1])
