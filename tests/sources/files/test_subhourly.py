"""Several readings within an hour: what lies between the hours is never lost to a go."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from spraywindow.sources.files.on_hours import hour_extremes, stated_extremes, turns
from spraywindow.sources.files.read_file import read_weather
from spraywindow.spray.catalogue import CATALOGUE, COPPER
from spraywindow.spray.conditions import Setting
from spraywindow.spray.hours import score_hours
from tests.weeks import NOON, PLACE, fortnight

NO = np.nan
HOURS = np.arange(3, dtype=np.int64) * 60
QUARTERS = np.arange(12, dtype=np.int64) * 15
SPANS = np.full(12, 15, dtype=np.int64)


def quarters(table: pd.DataFrame) -> pd.DataFrame:
    """The same weather read every quarter of an hour."""
    index = pd.date_range(table.index[0], periods=4 * len(table), freq="15min", name="time")
    out = table.loc[table.index.repeat(4)].set_axis(index)
    return out.assign(rain_mm=out["rain_mm"] / 4)


def read_back(rows: pd.DataFrame, tmp_path: Path) -> pd.DataFrame:
    rows.to_csv(tmp_path / "w.csv")
    return read_weather(tmp_path / "w.csv")


def verdicts(rows: pd.DataFrame, tmp_path: Path, material: str = "oil") -> pd.Series:
    setting = Setting(neighbours_deg=(90.0,))
    table = read_back(rows, tmp_path)
    return score_hours(table, PLACE, CATALOGUE[material], setting=setting)["verdict"]


def test_extremes_of_the_readings_that_fill_an_hour() -> None:
    values = np.array([5, -2, 6, 7, 5, NO, 5, 5, 5, 5, 5, 9.0])
    low, high, partial = hour_extremes(HOURS, QUARTERS, values, SPANS)
    np.testing.assert_array_equal(low, [-2, NO, 5])
    np.testing.assert_array_equal(high, [7, NO, 9])
    assert partial.tolist() == [False, True, False]


def test_a_column_read_on_the_hour_only_is_hourly() -> None:
    values = np.where(QUARTERS % 60 == 0, 5.0, NO)
    low, high, partial = hour_extremes(HOURS, QUARTERS, values, SPANS)
    assert (low == 5.0).all()
    assert (high == 5.0).all()
    assert not partial.any()


def test_the_last_reading_needs_no_more_after_it() -> None:
    low, _, partial = hour_extremes(HOURS, QUARTERS[:9], np.full(9, 5.0), SPANS[:9])
    assert low.tolist() == [5.0, 5.0, 5.0]
    assert not partial.any()


def test_half_hours_that_begin_between_the_hours_leave_them_unknown() -> None:
    at = np.array([30, 60, 90, 150], dtype=np.int64)
    low, _, partial = hour_extremes(HOURS, at, np.full(4, 5.0), np.array([30, 30, 60, 60]))
    assert np.isnan(low).tolist() == [True, True, True]
    assert partial.tolist() == [True, True, True]


def test_a_wind_that_turns_within_the_hour() -> None:
    degrees = np.array([350, 10, 30, 20, 0, 90, 0, 0, 0, NO, 0, 0.0])
    assert turns(HOURS, QUARTERS, degrees, np.zeros(3)).tolist() == [False, True, False]


def test_stated_extremes_hold_on_both_sides_of_a_row() -> None:
    at, steps = np.array([0, 180, 540], dtype=np.int64), np.array([180, 180])
    grid = np.arange(10, dtype=np.int64) * 60
    low = stated_extremes(grid, at, np.array([3.0, -1.0, 2.0]), steps, lowest=True)
    np.testing.assert_array_equal(low, [3, -1, -1, -1, NO, NO, NO, NO, NO, 2])


@pytest.mark.parametrize(("column", "value"), [("temp_c", -2.0), ("temp_c", 34.0), ("wind_ms", 9)])
@pytest.mark.parametrize("minutes", [(15, 30, 45), (15,), (30,), (45,)])
def test_an_hour_with_a_bad_quarter_is_never_go(
    column: str, value: float, minutes: tuple[int, ...], tmp_path: Path
) -> None:
    rows = quarters(fortnight(gust_ms=None))
    assert verdicts(rows, tmp_path).iloc[NOON] == "go"
    for minute in minutes:
        rows.iloc[4 * NOON + minute // 15, rows.columns.get_loc(column)] = value
    assert verdicts(rows, tmp_path).iloc[NOON] != "go"
    half = rows[rows.index.minute % 30 == 0]
    if 30 in minutes:
        half = half.assign(rain_mm=0.0)
        assert verdicts(half, tmp_path).iloc[NOON] != "go"


def test_the_reading_on_the_hour_stays_beside_the_extremes(tmp_path: Path) -> None:
    rows = quarters(fortnight().iloc[:24])
    rows.iloc[4 * 10 + 1, :3] = [14.0, 4.5, 6.0]
    table = read_back(rows, tmp_path)
    assert table[["temp_c", "wind_ms"]].iloc[10].tolist() == [12.0, 2.5]
    assert table["dew_point_c"].iloc[10] == pytest.approx(rows["dew_point_c"].iloc[0])
    extremes = table[["temp_min_c", "temp_max_c", "wind_max_ms"]].iloc[10]
    assert extremes.tolist() == [12.0, 14.0, 6.0]
    assert table.attrs["notes"] == []


def test_a_breeze_within_the_hour_breaks_no_inversion(tmp_path: Path) -> None:
    # Extension guidance: inversions lie 1-2 h about sunset; a calm at its hour counts.
    dusk = NOON + 4  # 14 to 15 UTC; the sun sets at Athens in mid-January at 15:30 UTC
    rows = quarters(fortnight(wind_ms=2.5, cloud=0.1))
    assert verdicts(rows, tmp_path, "copper").iloc[dusk] == "go"
    rows.iloc[4 * dusk, rows.columns.get_loc("wind_ms")] = 0.5
    table = read_back(rows, tmp_path)
    scored = score_hours(table, PLACE, COPPER).iloc[dusk]
    assert (scored["verdict"], scored["held_by"]) == ("unknown", "inversion")


def test_a_wind_that_swings_to_the_neighbours_is_never_go(tmp_path: Path) -> None:
    rows = quarters(fortnight(wind_from_deg=0.0))
    assert verdicts(rows, tmp_path).iloc[NOON] == "go"
    rows.iloc[4 * NOON + 2, rows.columns.get_loc("wind_from_deg")] = 270.0
    assert verdicts(rows, tmp_path).iloc[NOON] == "unknown"


def test_a_reading_that_lacks_makes_its_hour_unknown_and_is_noted(tmp_path: Path) -> None:
    rows = quarters(fortnight().iloc[:48])
    rows.iloc[4 * 20 + 2, rows.columns.get_loc("temp_c")] = np.nan
    table = read_back(rows, tmp_path)
    assert np.flatnonzero(table["temp_c"].isna()).tolist() == [20]
    assert table["temp_min_c"].isna().sum() == 1
    assert table.attrs["notes"] == ["temp_c: 1 hours lack readings and are unknown"]


def test_taking_readings_away_never_makes_an_hour_go(tmp_path: Path) -> None:
    draw = np.random.default_rng(5)
    whole = quarters(fortnight())
    for column, value in (("temp_c", -2.0), ("temp_c", 32.0), ("wind_ms", 9.0)):
        whole.iloc[draw.integers(0, len(whole), 3), whole.columns.get_loc(column)] = value
    go = verdicts(whole, tmp_path, "copper") == "go"
    assert 20 < go.sum() < 320
    for share in (0.01, 0.1, 0.5):
        rows = whole[draw.random(len(whole)) >= share]
        cells = whole.mask(draw.random(whole.shape) < share)
        for less in (rows, cells):
            again = (verdicts(less, tmp_path, "copper") == "go").reindex(go.index, fill_value=False)
            assert not (again & ~go).any()
