"""What each limit costs, and what easing one would give back: in mornings as foreseen."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from spraywindow.spray import Access, Material, Scores, Setting, best_of_day
from spraywindow.winters.block import HourBlock
from spraywindow.winters.past import PastWinters, within
from spraywindow.winters.share import Share

DRY_SPELLS_H = (24.0, 48.0, 72.0, 96.0)
EARLIER_H = 1.0


@dataclass(frozen=True)
class Ease:
    """What one change gives: usable mornings per winter by material, and the share that finishes.

    `hours` is the dry spell wanted [h], None for other changes.
    """

    name: str
    hours: float | None
    usable_mornings: Mapping[str, float]
    finish: Share


@dataclass(frozen=True)
class LimitCost:
    """Usable mornings per winter [d] that a material gains without one of its hard limits."""

    json_keys: ClassVar = ("material", "limit", "days_gained_without_it=days:2")

    material: str
    limit: str
    days: float


Finish = Callable[[Sequence[Material], HourBlock], Share]
"""Winters that finish with other materials, on another block of conditions than `ahead`."""


def limit_costs(season: PastWinters) -> tuple[LimitCost, ...]:
    """Usable mornings per winter gained without each hard limit, the costliest first."""
    rows = []
    used = list(season.used)
    days = np.arange(season.block.days)[:, None]
    for number, material in enumerate(season.materials):
        without = days_without_limit(
            season.ahead, season.ahead_scores[number], material, season.need_h, season.access
        )
        inside = (days <= season.ending.actual[number]) & season.free[:, number, None]
        have = int((without.pop("")[:, used] & inside).sum())
        for name, usable in without.items():
            gained = int((usable[:, used] & inside).sum()) - have
            if gained > 0:
                rows.append(LimitCost(material.name, name, gained / len(used)))
    return tuple(sorted(rows, key=lambda row: -row.days))


def dry_spells(season: PastWinters, finish: Finish) -> tuple[Ease, ...]:
    """The season with other dry spells wanted of the material that wants the longest."""
    return tuple(
        _ease(season, f"{hours:g} h of rain-free weather", hours, season.ahead, materials, finish)
        for hours, materials in other_spells(season).items()
    )


def other_spells(season: PastWinters) -> dict[float, list[Material]]:
    """The materials, with each dry spell wanted of the one that wants the longest."""
    longest = max(material.dry_spell_h for material in season.materials)
    return {
        hours: [
            m.with_dry_spell(hours) if m.dry_spell_h == longest != hours else m
            for m in season.materials
        ]
        for hours in sorted({*DRY_SPELLS_H, longest})
    }


def sooner_dry(setting: Setting) -> Setting:
    """A site whose wood dries an hour earlier."""
    return replace(setting, dew_off_h=setting.dew_off_h - EARLIER_H)


def earlier_dew_off(season: PastWinters, finish: Finish) -> Ease:
    """The season with wood that dries an hour earlier."""
    old = season.ahead.conditions
    sunny = old.with_setting(sooner_dry(old.setting))
    return _ease(
        season,
        "wood dry an hour earlier: the sunny block first",
        None,
        replace(season.ahead, conditions=sunny),
        season.materials,
        finish,
    )


def _ease(
    season: PastWinters,
    name: str,
    hours: float | None,
    block: HourBlock,
    materials: Sequence[Material],
    finish: Finish,
) -> Ease:
    chances = season.foreseen_with(block, materials)
    usable = np.isfinite(within(chances, season.ending.actual)).sum(axis=0)
    mornings = {
        material.name: float(usable[number].mean()) if usable.shape[1] else float("nan")
        for number, material in enumerate(materials)
    }
    return Ease(name, hours, mornings, finish(materials, block))


def days_without_limit(
    block: HourBlock, scores: Scores, material: Material, need: int, access: Access
) -> dict[str, NDArray[np.bool_]]:
    """Days with a slot if one hard limit were not there, [day, winter] per limit; and with all.

    The key ``""`` stands for all limits.
    """
    hard = [
        limit.name
        for limit in material.limits
        if limit.kind == "hard" and limit.name in scores.margins
    ]
    # an unknown margin is not met either
    failed = {name: ~(scores.margins[name] >= 0.0) for name in hard}
    count = np.zeros(block.day.shape, dtype=np.int16)
    for fails in failed.values():
        count += fails
    open_hours = block.workable(access)
    out = {"": _has_slot(block, (count == 0) & open_hours, need)}
    for name, fails in failed.items():
        out[name] = _has_slot(block, (count - fails == 0) & open_hours, need)
    return out


def _has_slot(block: HourBlock, go: NDArray[np.bool_], need: int) -> NDArray[np.bool_]:
    return np.isfinite(best_of_day(np.where(go, 1.0, -np.inf), block.day, block.days, need)[0])
