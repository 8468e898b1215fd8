"""What came after a round: counted by hand on a block with a few events."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from spraywindow.spray.conditions import Conditions
from spraywindow.spray.kernel import NO_GO
from spraywindow.winters.other_rules import outcomes_after
from spraywindow.winters.past import PastWinters
from tests.season_values import season

ROUND_ROW = 600


def after(rain_mm: dict[int, float], temp_c: dict[int, float] | None = None) -> PastWinters:
    """The demo's season; its first winter dry and mild but for values some hours after a round."""
    whole = season()
    old = whole.block.conditions
    columns = {name: values.copy() for name, values in old.columns.items()}
    columns["rain_mm"][:, 0], columns["temp_c"][:, 0] = 0.0, 12.0
    for name, events in (("rain_mm", rain_mm), ("temp_c", temp_c or {})):
        for hour, value in events.items():
            columns[name][ROUND_ROW + hour, 0] = value
    conditions = Conditions(columns, old.sun, old.setting)
    return replace(whole, block=replace(whole.block, conditions=conditions))


def outcome(changed: PastWinters, row: int = ROUND_ROW):
    made = np.zeros(changed.chances.shape, dtype=bool)
    start = np.full(made.shape, -1)
    made[20, 0, 0], start[20, 0, 0] = True, row
    return made, outcomes_after(changed, made, start)


@pytest.mark.parametrize(
    ("hour", "spoiled"),
    [
        (0, {24, 48, 72}),
        (23, {24, 48, 72}),
        (24, {48, 72}),
        (47, {48, 72}),
        (71, {72}),
        (72, set()),
    ],
)
def test_rain_counts_in_the_window_it_falls_in(hour: int, spoiled: set[int]) -> None:
    _, found = outcome(after({hour: 1.0}))
    assert {hours for hours, rain in found.rain.items() if rain[20, 0, 0]} == spoiled
    assert sum(rain.sum() for rain in found.rain.values()) == len(spoiled)


def test_a_trace_is_no_rain_and_the_sum_of_traces_is() -> None:
    # 0.01 in is the least that a US gauge reports
    assert not outcome(after({3: 0.25}))[1].rain[24].any()
    assert outcome(after({3: 0.2, 9: 0.1}))[1].rain[24][20, 0, 0]


def test_unknown_rain_is_neither_and_leaves_the_share() -> None:
    made, found = outcome(after({30: np.nan}))
    assert not found.rain[48].any()
    assert found.unknown[48][20, 0, 0]
    assert np.isnan(found.share_spoiled(48, made))
    assert found.share_spoiled(24, made) == 0.0
    assert not outcome(after({30: np.nan, 40: 2.0}))[1].unknown[48].any()


def test_frost_within_a_day_and_heat_within_two() -> None:
    assert outcome(after({}, {20: 0.0}))[1].frost[20, 0, 0]
    assert not outcome(after({}, {25: -3.0}))[1].frost.any()
    assert outcome(after({}, {40: 32.2}))[1].heat[20, 0, 0]
    assert not outcome(after({}, {49: 35.0}))[1].heat.any()
    assert not outcome(after({}, {20: np.nan}))[1].frost.any()


def test_past_the_record_nothing_is_known() -> None:
    last = len(season().block.day) - 10
    made, found = outcome(after({}), row=last)
    assert found.unknown[24][20, 0, 0]
    assert np.isnan(found.share_spoiled(24, made))


@pytest.mark.parametrize(
    ("rain_mm", "oil", "copper", "lost"),
    [
        ({}, True, True, (False, False)),
        ({1: 0.3}, False, False, (True, True)),  # copper is rainfast after 2 h, oil after a day
        ({2: 0.3}, False, False, (True, False)),
        ({23: 0.3}, False, False, (True, False)),
        ({24: 0.3}, True, True, (False, False)),
        ({30: 1.5, 71: 0.6}, False, True, (False, False)),
        ({30: 1.5, 72: 0.6}, True, True, (False, False)),
        ({3: np.nan}, None, None, (False, False)),
        ({40: np.nan}, None, True, (False, False)),
        ({3: np.nan, 40: 3.0}, False, None, (False, False)),
    ],
)
def test_an_effective_round_had_the_dry_hours_that_its_material_wants(
    rain_mm: dict[int, float], oil: bool | None, copper: bool | None, lost: tuple[bool, bool]
) -> None:
    # oil: no measurable rain in 24 h and at most 2 mm in 72 h; copper: none in 24 h
    changed = after(rain_mm)
    made = np.zeros(changed.chances.shape, dtype=bool)
    start = np.full(made.shape, -1)
    made[20, :, 0], start[20, :, 0] = True, ROUND_ROW
    found = outcomes_after(changed, made, start)
    for which, expected in enumerate((oil, copper)):
        assert bool(found.effective[20, which, 0]) is (expected is True)
        assert bool(found.doubtful[20, which, 0]) is (expected is None)
    assert tuple(found.lost[20, :, 0].tolist()) == lost
    for each in (found.effective, found.doubtful, found.lost, found.outside):
        assert not each[:20].any()
        assert not each[..., 1:].any()


def test_a_job_outside_a_hard_limit_in_any_of_its_hours_is_told() -> None:
    whole = season()
    for which, verdict in enumerate(whole.verdicts):
        for row in np.flatnonzero(verdict[100:-100, whole.used[0]] == NO_GO)[:3] + 100:
            made = np.zeros(whole.chances.shape, dtype=bool)
            made[20:23, which, 0] = True
            start = np.where(made, -1, -1)
            start[20:23, which, 0] = row - 1, row, row + 1
            found = outcomes_after(whole, made, start).outside[20:23, which, 0]
            after_it = verdict[row + 1 : row + 3, whole.used[0]] == NO_GO
            assert found.tolist() == [True, True, bool(after_it.any())]
