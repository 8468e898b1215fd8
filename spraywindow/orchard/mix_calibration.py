"""What the site's sprayer puts out beside what its trees want."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import ClassVar

from spraywindow.orchard.calibration import row_given_l_per_m, uneven_nozzles
from spraywindow.orchard.mix_block import BlockMix, length_m
from spraywindow.orchard.site_mixing import SprayerFields

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
