"""What is not known in the perfect fortnight: forecasts, totals, gaps, ends; and many sites."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import InputError
from spraywindow.spray.catalogue import COPPER, OIL
from spraywindow.spray.conditions import Conditions, Setting
from spraywindow.spray.hours import score_hours, sun_of, weather_columns
from spraywindow.spray.kernel import score_arrays
from spraywindow.weather.sun import Sun
from tests.weeks import NIGHT, NIGHT_OIL, NOON, PLACE, colder, fortnight, hour, random_weather


def test_the_last_hour_of_oil_has_72_known_hours_after_its_start() -> None:
    # "wanted 72-96 h: the scorer's default for oil is 72 h": common practice, no source.
    scored = score_hours(fortnight(), PLACE, NIGHT_OIL)
    assert np.flatnonzero(scored["go"])[-1] == len(scored) - 72


def test_known_until_is_the_last_hour_with_every_limit_decided() -> None:
    # The last nights are too cold whatever follows, but their rain is not known.
    rows = range(24 * 14 - 40, 24 * 14)
    scored = score_hours(colder(dict.fromkeys(rows, -5.0)), PLACE, OIL)
    assert scored["verdict"].iloc[-30] == "no-go"
    assert scored.attrs["known_until"] == scored.index[-72]


def test_optional_columns_that_are_not_there_are_named_not_judged() -> None:
    bare = fortnight(gust_ms=None, wind_from_deg=None, rain_chance=None)
    scored = score_hours(bare, PLACE, OIL, stage=0, setting=Setting(neighbours_deg=(90.0,)))
    assert set(scored.attrs["not_judged"]) == {
        "gusts", "neighbours", "rain chance 24 h", "rain chance later",
    }  # fmt: skip
    assert scored["go"].iloc[NOON]
    assert score_hours(fortnight(), PLACE, OIL).attrs["not_judged"] == ["stage"]
    for column in ("temp_c", "dew_point_c", "wind_ms", "rain_mm"):
        gap = fortnight()
        gap.iloc[NOON, gap.columns.get_loc(column)] = np.nan
        assert hour(gap, OIL)["verdict"] == "unknown"


def test_a_forecast_frost_is_taken_1_5_kelvin_colder_a_record_is_not() -> None:
    # Common practice: the uncertainty is added only to forecasts.
    for frost, verdict in ((1.5, "no-go"), (1.51, "go")):
        table = colder({NOON + 20: frost})
        assert hour(table, OIL)["verdict"] == "go"
        assert hour(table, OIL, forecast_from=table.index[NOON])["verdict"] == verdict
        assert hour(table, OIL, forecast_from=table.index[NOON + 21])["verdict"] == "go"
        table.attrs["forecast_from"] = table.index[NOON + 20]
        assert hour(table, OIL)["verdict"] == verdict
    # copper: above 0 degC until dry
    assert hour(fortnight(1.4), COPPER)["verdict"] == "go"
    cold = fortnight(1.4)
    assert hour(cold, COPPER, forecast_from=cold.index[0])["verdict"] == "no-go"
    # and not to the temperature of the hour itself
    table = fortnight(5.0)
    assert hour(table, OIL, forecast_from=table.index[0])["verdict"] == "go"


def test_step_extremes_are_an_interval() -> None:
    for low, verdict in ((4.4, "go"), (4.39, "unknown")):
        assert hour(fortnight(temp_min_c={NOON: low}), OIL)["verdict"] == verdict
    # interpolated above its own step's minimum: never a go on frost
    assert hour(fortnight(temp_min_c={NOON + 20: -0.5}), OIL)["held_by"] == "frost in 24 h"
    assert hour(fortnight(temp_min_c={NOON + 20: -0.5}), OIL)["verdict"] == "unknown"
    both = fortnight(temp_min_c={NOON + 20: -1.0}, temp_max_c={NOON + 20: -0.1})
    both = both.assign(temp_c=both["temp_c"].mask(both.index == both.index[NOON + 20]))
    assert hour(both, OIL)["verdict"] == "no-go"
    assert hour(fortnight(temp_max_c={NOON + 40: 32.2}), OIL)["verdict"] == "unknown"
    assert hour(fortnight(temp_max_c={NOON + 40: 32.1}), OIL)["verdict"] == "go"
    dry = hour(fortnight(24.0, 35.0, temp_max_c={NIGHT: 26.0}), COPPER, NIGHT)
    assert (dry["verdict"], dry["held_by"]) == ("unknown", "hot dry air")


@pytest.mark.parametrize(
    ("first", "total", "verdict"),
    [
        (60, 2.0, "go"),
        (60, 2.001, "no-go"),  # wholly inside the 72 h
        (68, 2.001, "unknown"),  # the window ends within the six hours
        (68, 2.0, "go"),
        (72, 9.0, "go"),
        (22, 0.253, "go"),
        (22, 0.254, "unknown"),
        (18, 0.254, "no-go"),
    ],
)
def test_a_six_hour_total_counts_whole_in_every_window_it_overlaps(
    first: int, total: float, verdict: str
) -> None:
    rows = range(NOON + first, NOON + first + 6)
    table = fortnight(
        rain_mm=dict.fromkeys(rows, np.nan),
        rain_total_mm=dict.fromkeys(rows, total),
        rain_total_h=dict.fromkeys(rows, 6.0),
        rain_total_hour={row: float(number) for number, row in enumerate(rows)},
    )
    assert hour(table, OIL)["verdict"] == verdict


def test_rain_already_known_to_be_too_much_settles_an_hour_with_gaps() -> None:
    gaps = {NOON + 5: np.nan, NOON + 30: np.nan}
    assert hour(fortnight(rain_mm=gaps), OIL)["verdict"] == "unknown"
    assert hour(fortnight(rain_mm={**gaps, NOON + 9: 0.3}), OIL)["verdict"] == "no-go"
    assert hour(fortnight(rain_mm={**gaps, NOON + 50: 2.1}), OIL)["verdict"] == "no-go"


def test_sites_side_by_side_score_as_each_alone() -> None:
    tables = [random_weather(seed, 200, 0.02) for seed in (1, 2, 3)]
    sun = sun_of(pd.DatetimeIndex(tables[0].index), PLACE)
    column_sun = Sun(*(part[:, None] for part in (
        sun.elevation_deg, sun.hours_from_rise_or_set, sun.clear_wm2)))  # fmt: skip
    setting = Setting(neighbours_deg=(10.0,), frost_hollow_c=2.0, dew_off_h=1.0)
    forecast = np.arange(200) > 90
    columns = [weather_columns(table) for table in tables]
    stacked = {name: np.stack([one[name] for one in columns], axis=1) for name in columns[0]}
    for material in (OIL, COPPER):
        together = score_arrays(
            Conditions(stacked, column_sun, setting, forecast), material, stage=53
        )
        # each issue time or site may begin its forecast elsewhere
        each = np.repeat(forecast[:, None], 3, axis=1)
        again = score_arrays(Conditions(stacked, column_sun, setting, each), material, stage=53)
        np.testing.assert_array_equal(together.verdict, again.verdict)
        for number, one in enumerate(columns):
            alone = score_arrays(Conditions(one, sun, setting, forecast), material, stage=53)
            np.testing.assert_array_equal(together.verdict[:, number], alone.verdict)
            np.testing.assert_allclose(together.margin[:, number], alone.margin)


def test_a_material_with_nothing_to_judge_is_refused() -> None:
    with pytest.raises(InputError, match="no limit can be judged"):
        score_hours(fortnight(), PLACE, replace(OIL, limits=()))
    unknown = replace(OIL.limit("cold"), quantity="moon")
    with pytest.raises(InputError, match="unknown quantity; expected one of temp, "):
        score_hours(fortnight(), PLACE, OIL.with_limits(cold=unknown))
    endless = replace(OIL.limit("frost in 24 h"), hours=None)
    with pytest.raises(InputError, match="the window is missing"):
        score_hours(fortnight(), PLACE, OIL.with_limits(**{"frost in 24 h": endless}))


def test_frames_of_two_materials_can_stand_together() -> None:
    for materials in ((OIL, COPPER), (OIL, OIL)):
        scored = [score_hours(fortnight(), PLACE, material) for material in materials]
        assert len(pd.concat(scored)) == 2 * 24 * 14


def test_nothing_of_the_input_is_changed() -> None:
    table = random_weather(5, 120, 0.05)
    before = table.copy(deep=True)
    score_hours(table, PLACE, OIL, stage=53, setting=Setting(frost_hollow_c=2.0, dew_off_h=-1.0))
    pd.testing.assert_frame_equal(table, before)


@pytest.mark.parametrize("stage", [150, -5, 5.5, "dormant", True])
def test_what_is_no_bbch_code_is_no_stage(stage: Any) -> None:
    with pytest.raises(InputError, match="stage; expected a BBCH code, 0 to 99"):
        score_hours(fortnight(), PLACE, OIL, stage=stage)


def test_a_limit_in_another_unit_is_refused_not_misread() -> None:
    mph = replace(OIL.limit("wind"), value=10.0, unit="mph")
    with pytest.raises(InputError, match=r"limit wind: wind_at_top .*expected m/s; got 'mph'"):
        score_hours(fortnight(), PLACE, OIL.with_limits(wind=mph))
    for value in (float("nan"), float("inf")):
        with pytest.raises(InputError, match="limit wind: value; expected a number"):
            replace(OIL.limit("wind"), value=value)
