"""Forecasts as they might have been: errors of the usual size, kept from issue to issue."""

from __future__ import annotations

import numpy as np
import pytest

from spraywindow.spray.errors_by_lead import USUAL_ERRORS
from spraywindow.winters.replays import DEW_K_PER_PERCENT, ErrorModel


def columns(hours: int, evenings: int) -> dict[str, np.ndarray]:
    shape = (hours, evenings)
    rain = np.zeros(shape)
    rain[120:126] = 2.0
    return {
        "temp_c": np.full(shape, 10.0), "dew_point_c": np.full(shape, 5.0),
        "wind_ms": np.full(shape, 6.0), "rain_mm": rain,
    }  # fmt: skip


def test_errors_have_the_usual_size_and_grow_with_the_lead() -> None:
    # many places of the error's cycle, one forecast each
    evenings, hours = 3000, 7 * 24
    lead = np.arange(hours)
    start = (np.arange(evenings) * 977)[None, :]
    valid = start + lead[:, None]
    known = ErrorModel(seed=3).known(columns(hours, evenings), lead, valid)
    error = known["temp_c"] - 10.0
    for day in (0, 3, 6):
        wanted = float(USUAL_ERRORS["temperature"].at(np.array([24.0 * day + 12]))[0])
        assert error[24 * day + 12].std() == pytest.approx(wanted, rel=0.08)


def test_an_hours_error_shrinks_from_evening_to_evening_and_keeps_its_sign() -> None:
    hours = 7 * 24
    lead = np.arange(hours)
    model = ErrorModel(seed=5)
    rows = np.arange(2000) * 331
    errors = []
    for before in (6, 3, 0):  # the same valid hours, seen from three evenings
        valid = (rows - 24 * before)[None, :] + lead[:, None]
        known = model.known(columns(hours, len(rows)), lead, valid)
        errors.append(known["temp_c"][24 * before] - 10.0)
    assert errors[0].std() > errors[1].std() > errors[2].std()
    assert np.corrcoef(errors[0], errors[1])[0, 1] > 0.7
    assert np.corrcoef(errors[1], errors[2])[0, 1] > 0.4


def test_the_record_is_left_alone_and_the_seed_decides() -> None:
    truth = columns(240, 4)
    lead = np.arange(240) - 100
    valid = np.arange(240)[:, None] + np.arange(4) * 24
    first, again, other = (ErrorModel(seed=s).known(truth, lead, valid) for s in (1, 1, 2))
    for name in truth:
        np.testing.assert_array_equal(first[name][:100], truth[name][:100])
        np.testing.assert_array_equal(first[name], again[name])
    assert (first["temp_c"][100:200] != other["temp_c"][100:200]).any()
    assert (first["dew_point_c"][100:200] <= first["temp_c"][100:200]).all()
    assert (first["rain_mm"][100:] >= 0).all()


def spread(name: str, day: int, *, scale: float = 1.0) -> float:
    """Standard deviation of a column's error in the middle of a day of lead."""
    hours, evenings = 7 * 24, 3000
    lead = np.arange(hours)
    valid = (np.arange(evenings) * 977)[None, :] + lead[:, None]
    truth = columns(hours, evenings)
    known = ErrorModel(seed=7, scale=scale).known(truth, lead, valid)
    return float((known[name] - truth[name])[24 * day + 12].std())


@pytest.mark.parametrize("day", [0, 2, 6])
def test_wind_errs_by_its_usual_error(day: int) -> None:
    wanted = float(USUAL_ERRORS["wind"].at(np.array([24.0 * day + 12]))[0])
    assert spread("wind_ms", day) == pytest.approx(wanted, rel=0.08)
    assert spread("wind_ms", day, scale=0.5) == pytest.approx(wanted / 2, rel=0.08)


def test_humidity_errs_by_its_usual_error() -> None:
    # the gap between air and dew point, 5 K here, is seldom cut at zero
    hours, evenings = 24, 3000
    lead = np.arange(hours)
    valid = (np.arange(evenings) * 977)[None, :] + lead[:, None]
    known = ErrorModel(seed=9).known(columns(hours, evenings), lead, valid)
    gap = (known["temp_c"] - known["dew_point_c"])[12]
    wanted = float(USUAL_ERRORS["humidity"].at(np.array([12.0]))[0]) * DEW_K_PER_PERCENT
    assert gap.std() == pytest.approx(wanted, rel=0.08)


def onsets(day: int, seed: int) -> np.ndarray:
    """How many hours a spell's beginning is moved, one value an evening; later is positive."""
    hours, evenings = 10 * 24, 1500
    lead = np.arange(hours) - 48
    valid = (np.arange(evenings) * 24 * 7)[None, :] + lead[:, None]
    truth = columns(hours, evenings)
    truth["rain_mm"][:] = 0.0
    begin = 48 + 24 * day + 12
    truth["rain_mm"][begin : begin + 60] = 1.0
    rain = ErrorModel(seed=seed).known(truth, lead, valid)["rain_mm"]
    return (rain > 0).argmax(axis=0) - begin


def test_the_onset_of_rain_is_missed_by_hours_and_more_so_further_ahead() -> None:
    near, far = onsets(1, 3), onsets(4, 3)
    assert 3.0 < near.std() < 12.0  # usual error 9 h in the second day; held within a day
    assert far.std() > 1.5 * near.std()
    assert abs(near.mean()) < 4.0


def test_one_date_gets_other_errors_in_every_winter() -> None:
    # the errors repeat after a cycle that fits no number of years
    hours = 24
    lead = np.arange(hours)
    years = (np.arange(30) * 365.2425 * 24).astype(np.int64)
    valid = years[None, :] + lead[:, None]
    errors = ErrorModel(seed=4).known(columns(hours, 30), lead, valid)["temp_c"][12] - 10.0
    assert len(np.unique(errors.round(6))) == 30
    assert abs(np.corrcoef(errors[:-1], errors[1:])[0, 1]) < 0.5


def test_a_total_over_hours_becomes_hours_of_a_forecast_and_stays_a_total_in_the_record() -> None:
    hours = 96
    lead = np.arange(hours) - 48
    valid = np.arange(hours)[:, None] + np.zeros((1, 3), dtype=np.int64)
    truth = columns(hours, 3)
    truth["rain_mm"] = np.full((hours, 3), np.nan)
    truth["rain_total_mm"], truth["rain_total_h"] = (
        np.full((hours, 3), 6.0),
        np.full((hours, 3), 12.0),
    )
    truth["rain_total_hour"] = np.tile(np.arange(12.0), 8)[:, None] + np.zeros((1, 3))
    known = ErrorModel(seed=4).known(truth, lead, valid)
    assert np.isnan(known["rain_mm"][:48]).all()
    assert np.isnan(known["rain_total_mm"][48:]).all()
    np.testing.assert_array_equal(known["rain_total_mm"][:48], truth["rain_total_mm"][:48])
    log = np.log(known["rain_mm"][48:] / 0.5)  # half a millimetre an hour, times a factor
    assert 0.0 < log.std() < 1.0


def test_the_range_of_a_step_moves_with_its_temperature() -> None:
    truth = columns(48, 4)
    truth["temp_min_c"], truth["temp_max_c"] = truth["temp_c"] - 2.0, truth["temp_c"] + 2.0
    lead = np.arange(48) - 24
    known = ErrorModel(seed=4).known(truth, lead, np.arange(48)[:, None] + np.zeros((1, 4), int))
    np.testing.assert_allclose(known["temp_c"] - known["temp_min_c"], 2.0)
    np.testing.assert_allclose(known["temp_max_c"] - known["temp_c"], 2.0)
    assert (known["temp_c"][24:] != 10.0).all()


def test_rain_beyond_the_days_reached_is_not_moved_in() -> None:
    hours = 9 * 24
    lead = np.arange(hours) - 24
    valid = np.arange(hours)[:, None] + np.arange(40) * 24 * 13
    dry = columns(hours, 40)
    dry["rain_mm"][:] = 0.0
    wet = {name: values.copy() for name, values in dry.items()}
    wet["rain_mm"][24 + 7 * 24 :] = 30.0  # from just after the last hour that is reached
    one, other = (ErrorModel(seed=4).known(truth, lead, valid)["rain_mm"] for truth in (dry, wet))
    np.testing.assert_array_equal(one, other)
    assert not np.isnan(one[: 8 * 24]).any()  # nor does it make the last hours unknown


def test_some_blocks_of_rain_are_wholly_wrong_and_stay_so_until_they_are_right() -> None:
    lead, evenings = np.arange(300) - 126, 2000
    valid = np.arange(300)[:, None] + np.arange(evenings) * 331
    rain = np.random.default_rng(1).random((300, evenings)) + 1.0  # every hour another
    truth = columns(300, evenings) | {"rain_mm": rain}
    plain = ErrorModel(seed=4).known(truth, lead, valid)["rain_mm"]
    model = ErrorModel(seed=4, wrong_blocks=True)
    tough = model.known(truth, lead, valid)["rain_mm"]
    ahead = (lead >= 0) & (lead < 168)
    np.testing.assert_array_equal(tough[~ahead], plain[~ahead])
    wrong = tough != plain
    for day, share in ((0, 0.2), (3, 0.44), (6, 0.68)):
        rows = (lead >= 24 * day) & (lead < 24 * day + 24)
        assert wrong[rows].mean() == pytest.approx(share, abs=0.02)
    # dry from the evening on: what is forecast is the rain of five days before, where it is wrong
    before = truth | {"rain_mm": np.where((lead < 0)[:, None], rain, 0.0)}
    invented = model.known(before, lead, valid)["rain_mm"] > 0
    assert invented[126:246][wrong[126:246]].all()
    assert not invented[246:][wrong[246:]].any()
    later = (
        model.known(truth, lead - 24, valid)["rain_mm"]
        != ErrorModel(seed=4).known(truth, lead - 24, valid)["rain_mm"]
    )  # a day earlier the same hours, so that each lies a day further ahead
    same = (lead >= 24) & (lead < 168)
    assert (later[same] <= wrong[same]).all()


def test_a_record_dry_for_long_holds_no_wrong_rain() -> None:
    lead = np.arange(300) - 126
    valid = np.arange(300)[:, None] + np.arange(50) * 331
    dry = columns(300, 50) | {"rain_mm": np.zeros((300, 50))}
    known = ErrorModel(wrong_blocks=True).known(dry, lead, valid)
    assert not np.nan_to_num(known["rain_mm"]).any()
    assert ErrorModel(wrong_blocks=True).name == "usual errors and wrong rain"
