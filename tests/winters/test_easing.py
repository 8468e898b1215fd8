"""What each limit costs: against the same season planned with a material that lacks it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from spraywindow.sources.demo.samples import DEMO_PLACE
from spraywindow.spray.catalogue import OIL
from spraywindow.spray.conditions import Setting
from spraywindow.spray.material import Material
from spraywindow.winters.block import HourBlock
from spraywindow.winters.easing import (
    DRY_SPELLS_H,
    days_without_limit,
    dry_spells,
    earlier_dew_off,
    limit_costs,
)
from spraywindow.winters.past import PastWinters, past_season
from spraywindow.winters.share import Share
from tests.season_values import ACCESS, FIRST, MATERIALS, NEED, PROGRAM, season, winters


def with_oil(oil: Material, **changes: Setting):
    return past_season(
        winters(), DEMO_PLACE, PROGRAM, {**MATERIALS, "oil": oil}, first=FIRST, need=NEED,
        access=ACCESS, **changes,
    )  # fmt: skip


def mornings(found) -> float:
    return float(found.usable[:, 0].sum(axis=0).mean())


def share_of(
    materials: Sequence[Material], block: HourBlock, of: PastWinters | None = None
) -> Share:
    """Any finish will do: winters with ten usable mornings of oil."""
    chances = (of or season()).foreseen_with(block, materials)
    return Share.of(np.isfinite(chances[:, 0]).sum(axis=0) >= 10)


def test_days_gained_are_those_of_a_material_without_the_limit() -> None:
    gained = {each.limit: each.days for each in limit_costs(season()) if each.material == "oil"}
    for name in ("dry spell", "frost in 24 h", "humid"):
        without = mornings(with_oil(OIL.with_limits(**{name: None}))) - mornings(season())
        assert gained.get(name, 0.0) == pytest.approx(without)
    ordered = [each.days for each in limit_costs(season())]
    assert ordered == sorted(ordered, reverse=True)


def test_what_is_not_known_is_met_no_more_than_what_has_failed() -> None:
    ahead, scores = season().ahead, season().ahead_scores[0]

    def days(humid: float) -> dict[str, np.ndarray]:
        margins = scores.margins | {"humid": np.full_like(scores.margins["humid"], humid)}
        told = replace(scores, margins=margins)
        return days_without_limit(ahead, told, OIL, season().need_h, ACCESS)

    unknown, failed = days(np.nan), days(-1.0)
    assert unknown["humid"].any()
    assert not unknown["dry spell"].any()
    for name, usable in failed.items():
        np.testing.assert_array_equal(unknown[name], usable)


def test_no_limit_costs_a_day_that_what_is_done_keeps_closed() -> None:
    whole = season()
    assert {cost.material for cost in limit_costs(whole)} == {"oil", "copper"}
    closed = replace(whole, free=whole.free & [False, True])
    assert limit_costs(closed) == tuple(
        cost for cost in limit_costs(whole) if cost.material == "copper"
    )


@pytest.mark.parametrize("hours", DRY_SPELLS_H)
def test_another_dry_spell_is_that_of_a_material_that_wants_it(hours: float) -> None:
    found = next(ease for ease in dry_spells(season(), share_of) if ease.hours == hours)
    wanted = with_oil(OIL.with_dry_spell(hours))
    assert found.usable_mornings["oil"] == pytest.approx(mornings(wanted))
    assert found.finish == share_of(wanted.materials, wanted.ahead, wanted)
    assert found.usable_mornings["copper"] == season().usable[:, 1].sum(axis=0).mean()


def test_an_earlier_dew_off_is_that_of_the_site() -> None:
    sunny = with_oil(OIL, setting=Setting(dew_off_h=-1.0))
    found = earlier_dew_off(season(), share_of)
    assert found.usable_mornings["oil"] == pytest.approx(mornings(sunny))
    assert mornings(sunny) > mornings(season())


def test_without_any_winter_nothing_is_counted() -> None:
    whole = season()
    none = replace(
        whole, used=(), labels=(), chances=whole.chances[..., :0],
        foreseen=whole.foreseen[..., :0],
        ending=replace(whole.ending, actual=whole.ending.actual[:, :0],
                       forecast=whole.ending.forecast[..., :0]),
    )  # fmt: skip
    assert limit_costs(none) == ()
    found = earlier_dew_off(none, partial(share_of, of=none))
    assert np.isnan(found.usable_mornings["oil"])
    assert found.finish.n == 0
