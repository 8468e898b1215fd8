"""Where rounds belong: copper at both ends of dormancy, oil late; and never at the cost of one."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from spraywindow.errors import InputError
from spraywindow.program.entry import MaterialRounds
from spraywindow.program.planner import plan_many
from spraywindow.program.program import Program
from spraywindow.program.targets import REACH_D, Nearness, nearness
from spraywindow.spray.catalogue import CATALOGUE, general_material
from spraywindow.spray.material import Material
from spraywindow.trees.bloom import STAGE_SHARES
from spraywindow.trees.dormancy import StageDays

FIRST = dt.date(2025, 12, 2)
PROGRAM = Program.of(oil=(1, 5), copper=(2, 5), between=2)


def stages(winters: int = 1, days: int = 110) -> StageDays:
    """Bud swell on day 80, first flower on day 100, forecast so from the first evening on."""
    turned_out = np.full((len(STAGE_SHARES), winters), np.nan)
    turned_out[0], turned_out[-1] = 80.0, 100.0
    then = np.repeat(turned_out[None], days, axis=0)
    unseen = np.repeat([[-np.inf], [np.inf]], len(STAGE_SHARES), axis=1)
    middle = np.repeat(turned_out.mean(axis=1)[None], 3, axis=0)
    never = np.zeros(winters, dtype=bool)
    return StageDays(
        turned_out, then, unseen, middle, error_days=0.0, early=turned_out[-1], never=never
    )


def materials(program: Program = PROGRAM) -> list[Material]:
    return [CATALOGUE.get(name) or general_material(name) for name in program.materials]


def near(program: Program = PROGRAM, fall: dt.date = FIRST, winters: int = 1) -> Nearness:
    return nearness(program, materials(program), FIRST, fall, stages(winters), 110)


def test_copper_belongs_after_leaf_fall_and_before_bud_swell_oil_late() -> None:
    # UC Napa 2013 and UC IPM 2017 for where; how fast it fades is common practice, no source
    oil, copper = near().actual[..., 0].T
    assert copper[0] == copper[80] == 1
    assert copper[40] == 0
    assert oil[0] == 0
    assert oil.argmax() == 80
    assert oil[80 - int(REACH_D)] == 0


def test_an_evening_goes_by_the_stage_as_forecast_then() -> None:
    moving = stages()
    moving.forecast[:75, 0] += 10.0  # a week before, it is seen to come earlier
    found = nearness(PROGRAM, materials(), FIRST, FIRST, moving, 110)
    assert found.actual[:, 0, 0].argmax() == 80
    assert found.ahead(70, 100)[:, 0, 0].argmax() == 20
    assert found.ahead(76, 100)[:, 0, 0].argmax() == 4


def test_in_mid_season_leaf_fall_lies_behind() -> None:
    behind = near(fall=FIRST - dt.timedelta(days=20)).actual
    assert behind[0, 1, 0] == pytest.approx(1 - 20 / REACH_D)


def test_a_users_own_targets_go_over_the_default() -> None:
    entries = (MaterialRounds("oil", 1, 5, target=("first open flower", dt.date(2025, 12, 12))),)
    own = near(Program(entries)).actual[:, 0, 0]
    assert own[10] == own[100] == 1
    assert own[55] == 0
    with pytest.raises(InputError, match="unknown growth stage"):
        near(Program((MaterialRounds("oil", 1, 5, target=("budding",)),)))


def test_a_stage_that_is_not_known_and_other_materials_aim_at_nothing() -> None:
    program = Program(
        (MaterialRounds("oil", 1, 5, target=("bud burst",)), MaterialRounds("lime sulfur", 1, 5))
    )
    assert not near(program).actual.any()


def test_rounds_move_to_where_they_belong_and_none_is_lost() -> None:
    chances = np.full((110, 2, 4), 0.5)
    plans = plan_many(chances, PROGRAM, nearness=near(winters=4).actual)
    assert (plans.rounds.sum(axis=0) == 3).all()
    copper_days, _ = np.nonzero(plans.made[:, 1])
    assert set(copper_days.tolist()) <= {0, 78, 79, 80, 81, 82}
