"""Compost and mulch: how much for a ring round each tree, and when to water it in."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from spraywindow.days import row_at
from spraywindow.errors import describe
from spraywindow.handbook.numbers import number_problem, refuse
from spraywindow.reasons import Amount, Reason
from spraywindow.weather import rain_between

INCH_M = 0.0254
WET_ENOUGH_MM = 5.0
"""Rain that wets compost or mulch; less in the days before and after means watering in. P."""
DAYS_BEFORE, DAYS_AFTER = 3, 2


@dataclass(frozen=True)
class Ring:
    """The ground round a number of trees alike.

    Parameters
    ----------
    trees : int
        How many, at least 1.
    drip_line_diameter_m : float
        Across the canopy [m], at most 30.
    trunk_gap_m : float
        Kept free from the bark outwards [m]; usually 0.15-0.3 (6-12 in, P).
    trunk_diameter_m : float
        [m].
    """

    trees: int
    drip_line_diameter_m: float
    trunk_gap_m: float
    trunk_diameter_m: float = 0.0

    def __post_init__(self) -> None:
        """Check the values."""
        problems = [
            number_problem("trees", self.trees, "", low=1, low_allowed=True),
            number_problem("drip line diameter", self.drip_line_diameter_m, "m", high=30),
            number_problem("trunk gap", self.trunk_gap_m, "m", low_allowed=True),
            number_problem("trunk diameter", self.trunk_diameter_m, "m", high=3, low_allowed=True),
        ]
        if not any(problems) and self.inner_diameter_m >= self.drip_line_diameter_m:
            problems.append(describe(
                "the trunk gap reaches beyond the drip line", where="trunk gap",
                expected=f"trunk and gap within {self.drip_line_diameter_m:g} m across",
                got=self.inner_diameter_m,
            ))  # fmt: skip
        refuse(problems)

    @property
    def inner_diameter_m(self) -> float:
        """Across trunk and gap [m]."""
        return self.trunk_diameter_m + 2 * self.trunk_gap_m

    @property
    def area_m2(self) -> float:
        """Of the ring of one tree [m2]: pi/4 (D^2 - d^2)."""
        return math.pi / 4 * (self.drip_line_diameter_m**2 - self.inner_diameter_m**2)


@dataclass(frozen=True)
class Layer:
    """A layer of a material: its depth, and the usual depths [m] outside which it is warned of."""

    name: str
    depth_m: float
    usual_m: tuple[float, float]

    def __post_init__(self) -> None:
        """Check the values."""
        refuse([number_problem("depth", self.depth_m, "m", high=1)], where=self.name)


def compost(depth_m: float) -> Layer:
    """Compost, usually 1-2 in (25-51 mm, P): not dug in."""
    return Layer("compost", depth_m, (INCH_M, 2 * INCH_M))


def mulch(depth_m: float) -> Layer:
    """Mulch over the compost, usually 2-4 in (51-102 mm, P)."""
    return Layer("mulch", depth_m, (2 * INCH_M, 4 * INCH_M))


@dataclass(frozen=True)
class LayerNeed:
    """Volume of one layer: per tree of each ring and for the site [m3], and whole bags if asked."""

    layer: Layer
    per_tree_m3: tuple[float, ...]
    site_m3: float
    bags: int | None
    warnings: tuple[Reason, ...]


def layer_need(rings: Sequence[Ring], layer: Layer, *, bag_l: float | None = None) -> LayerNeed:
    """Volume of a layer over all rings; bags of `bag_l` litres are rounded up for the site."""
    problems = [] if rings else ["no trees are given"]
    if bag_l is not None:
        refuse([*problems, number_problem("bag", bag_l, "L")])
    refuse(problems)
    per_tree = tuple(ring.area_m2 * layer.depth_m for ring in rings)
    site = sum(ring.trees * volume for ring, volume in zip(rings, per_tree, strict=True))
    warnings = []
    low, high = layer.usual_m
    if not low * 0.98 <= layer.depth_m <= high * 1.02:
        usual = Amount(round(1000 * low), "mm", most=round(1000 * high))
        depth = Amount(round(1000 * layer.depth_m), "mm")
        warnings.append(Reason("{}: {} deep; usual are {}", (layer.name, depth, usual)))
    tight = min(ring.trunk_gap_m for ring in rings)
    if tight < 6 * INCH_M * 0.98:
        gap, usual = Amount(round(1000 * tight), "mm"), Amount(150.0, "mm", most=300.0)
        warnings.append(Reason("{}: a trunk gap of {}; usual are {}", (layer.name, gap, usual)))
    bags = None if bag_l is None else math.ceil(site * 1000 / bag_l - 1e-9)
    return LayerNeed(layer, per_tree, site, bags, tuple(warnings))


@dataclass(frozen=True)
class WaterIn:
    """Should a fresh layer be watered in? `needed` is None where the rain is not known."""

    needed: bool | None
    reason: Reason


def water_in(weather: pd.DataFrame, when: pd.Timestamp) -> WaterIn:
    """Say whether a layer laid at `when` needs watering: too little rain just before and after."""
    row = row_at(weather, when)
    before = rain_between(weather, np.array([row - 24 * DAYS_BEFORE]), np.array([row]))
    after = rain_between(weather, np.array([row]), np.array([row + 24 * DAYS_AFTER]))
    enough = Amount(WET_ENOUGH_MM, "mm")
    if before[0][0] >= WET_ENOUGH_MM:
        return WaterIn(
            False, Reason("{} or more fell in the last {} days", (enough, str(DAYS_BEFORE)))
        )
    if after[0][0] >= WET_ENOUGH_MM:
        return WaterIn(
            False, Reason("{} or more are due in the next {} days", (enough, str(DAYS_AFTER)))
        )
    if max(before[1][0], after[1][0]) < WET_ENOUGH_MM:
        return WaterIn(True, Reason("less than {} before and after: water it in", (enough,)))
    return WaterIn(None, Reason("the rain is not known: water it in if it is dry"))
