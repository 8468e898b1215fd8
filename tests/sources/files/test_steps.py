"""Where a file's step changes, and where rows are missing from it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from spraywindow.sources.files.read_file import read_weather
from spraywindow.sources.files.steps import local_steps, own_lengths, spans, step_notes
from spraywindow.spray.catalogue import OIL
from spraywindow.spray.hours import score_hours
from tests.weather_files import MAP, fails, write
from tests.weeks import NOON, PLACE, fortnight

OWN = MAP | {"rain_mm": MAP["rain_mm"] | {"covers": "step"}}


def minutes(*hours: float) -> np.ndarray:
    return np.array([round(hour * 60) for hour in hours], dtype=np.int64)


def steps_h(*hours: float) -> list[float]:
    return [float(step / 60) for step in local_steps(minutes(*hours))]


def export(path: Path, drop: tuple[int, ...] = (), **changed: Any) -> Path:
    """Hourly for two days, 3-hourly for two, then 6-hourly; the temperature is the hour / 10."""
    hours = [*range(48), *range(48, 96, 3), *range(96, 169, 6)]
    lines = [
        f"{pd.Timestamp('2024-01-01') + pd.Timedelta(hours=hour)},{hour / 10},-5,2,"
        f"{changed.get(f'rain{hour}', 0)}"
        for hour in hours
        if hour not in drop
    ]
    return write(path, "t,temp,dew,wind,rain\n" + "\n".join(lines) + "\n")


def test_a_step_that_comes_twice_and_is_followed_by_none_finer() -> None:
    assert steps_h(0, 1, 2, 5, 8, 14, 20) == [1, 1, 3, 3, 6, 6]
    assert steps_h(0, 3, 6, 9, 12, 13, 14, 15) == [3, 3, 3, 3, 1, 1, 1]  # the usual one
    assert steps_h(0) == []


@pytest.mark.parametrize(
    "hours",
    [
        (0, 1, 2, 3, 5, 7, 8, 9, 10),  # two hours missing, one row between
        (0, 1, 2, 5, 6, 7, 8, 11, 14, 15, 16),  # 3 h of rows missing, twice and once
        (0, 1, 2, 3, 6),  # once at the end
    ],
)
def test_rows_that_lack_are_no_step(hours: tuple[int, ...]) -> None:
    assert set(steps_h(*hours)) == {1}


def test_a_hole_in_the_hourly_part_of_a_3_hourly_file() -> None:
    hours = [0, 1, 2, 5, 6, 7, *range(10, 70, 3)]
    assert steps_h(*hours)[:5] == [1, 1, 1, 1, 1]
    assert steps_h(*hours)[6:] == [3] * 19
    # a report between belongs to the stretch
    assert steps_h(0, 3, 6, 9, 10, 12, 15) == [3] * 6


def test_rows_last_to_the_next_one_where_it_is_a_step_away() -> None:
    at = minutes(0, 1, 2, 4, 5, 6, 9, 12, 18, 24)
    steps = local_steps(at)
    assert (own_lengths(at, steps, at_end=False) / 60).tolist() == [1, 1, 1, 1, 1, 3, 3, 6, 6, 0]
    assert (own_lengths(at, steps, at_end=True) / 60).tolist() == [1, 1, 1, 1, 1, 1, 3, 3, 6, 6]
    holed = minutes(0, 3, 6, 12, 15, 18)
    assert (own_lengths(holed, local_steps(holed), at_end=False) / 60).tolist() == [
        3, 3, 0, 3, 3, 0,
    ]  # fmt: skip


def test_parts_that_fit_no_hour_have_no_length() -> None:
    at = minutes(0, 0.25, 0.5, 0.75, 1, 1.75, 2.5)
    assert own_lengths(at, local_steps(at), at_end=False).tolist() == [15, 15, 15, 15, 0, 0, 0]


def test_a_reading_stands_for_its_step_at_most_an_hour() -> None:
    at = minutes(0, 0.5, 1, 2, 3, 6, 9)
    assert spans(at, local_steps(at)).tolist() == [30, 30, 60, 60, 60, 60, 60]


def test_missing_hours_are_those_without_a_row() -> None:
    at = minutes(0, 0.5, 1, 1.5, 4, 4.5, 5, 6, 6.5)
    assert step_notes(at, local_steps(at), 0, "f") == ["2 missing hours are unknown"]


def test_a_file_whose_step_changes_is_interpolated_over_each_step(tmp_path: Path) -> None:
    table = read_weather(export(tmp_path), OWN)
    np.testing.assert_allclose(table["temp_c"], np.arange(169) / 10)
    assert table["wind_ms"].notna().all()
    assert table["rain_mm"].notna().tolist() == [True] * 168 + [False]
    assert [note[:64] for note in table.attrs["notes"]] == [
        "w.csv is 3-hourly from 2024-01-03 00:00 UTC to 2024-01-05 00:00 ",
        "w.csv is 6-hourly from 2024-01-05 00:00 UTC to 2024-01-08 00:00 ",
    ]


def test_a_hole_of_a_file_whose_step_changes_stays_unknown(tmp_path: Path) -> None:
    table = read_weather(export(tmp_path, drop=(10, 11, 12, 60, 120)), OWN)
    lacking = [10, 11, 12, *range(58, 63), *range(115, 126)]
    assert np.flatnonzero(table["temp_c"].isna()).tolist() == lacking
    assert table.attrs["notes"][-1] == "19 missing hours are unknown"
    assert set(np.flatnonzero(table["rain_mm"].isna())) >= {*lacking, 57, 114}


def test_what_a_row_of_a_coarser_part_covers_must_be_said(tmp_path: Path) -> None:
    path = export(tmp_path)
    silent = read_weather(path, MAP)
    assert silent["rain_mm"].notna().tolist() == [hour < 48 for hour in range(169)]
    assert any("28 values in rows more than an hour apart" in n for n in silent.attrs["notes"])
    assert 'covers = "step"' in silent.attrs["notes"][-1]
    three = MAP | {"rain_mm": MAP["rain_mm"] | {"covers": "3h"}}
    said = read_weather(path, three)["rain_mm"]
    assert said[48:99].notna().all()
    assert said[99:102].isna().all()


@pytest.mark.parametrize(("stamp", "first"), [("start", 60), ("end", 57)])
def test_a_total_over_its_own_step_stays_whole(stamp: str, first: int, tmp_path: Path) -> None:
    columns = MAP | {"rain_mm": OWN["rain_mm"] | {"stamp": stamp}}
    table = read_weather(export(tmp_path, rain60=4, rain102=5, rain20=1), columns)
    start = pd.Timestamp("2024-01-01", tz="UTC") + pd.Timedelta(hours=1) * np.arange(300)
    period = table.loc[start[first] : start[first + 2]]
    assert period["rain_total_mm"].tolist() == [4, 4, 4]
    assert period["rain_total_h"].tolist() == [3, 3, 3]
    assert table["rain_mm"][start[20 if stamp == "start" else 19]] == 1
    six = 102 if stamp == "start" else 96
    assert table["rain_total_mm"][start[six] : start[six + 5]].tolist() == [5] * 6


def test_a_coarse_file_that_says_nothing_is_refused(tmp_path: Path) -> None:
    lines = "".join(f"2024-01-01 {hour:02}:00,5,1,2,0\n" for hour in range(0, 24, 3))
    path = write(tmp_path, "t,temp,dew,wind,rain\n" + lines)
    text = fails(path, MAP)
    assert 'rain_mm.covers = "3h"' in text
    assert '"step" where each row covers its own step' in text
    assert len(read_weather(path, OWN)) == 22


def test_a_long_total_that_begins_between_the_hours_settles_none(tmp_path: Path) -> None:
    # 0 mm from 00:30 to 03:30 says nothing of 00:00 to 00:30
    lines = "".join(
        f"2024-01-01 {half // 2:02}:{half % 2 * 30:02},5,1,2,{0 if half == 1 else ''}\n"
        for half in range(12)
    )
    path = write(tmp_path, "t,temp,dew,wind,rain\n" + lines)
    rolling = MAP | {"rain_mm": MAP["rain_mm"] | {"covers": "3h"}}
    assert np.isnan(read_weather(path, rolling)["rain_mm"].iloc[0])


def test_reports_half_a_day_apart_are_said_to_be_too_far(tmp_path: Path) -> None:
    lines = "".join(
        f"2024-01-{day:02} {hour:02}:00,5,1,2,0\n" for day in (1, 2) for hour in (0, 12)
    )
    table = read_weather(write(tmp_path, "t,temp,dew,wind,rain\n" + lines), OWN)
    assert table["temp_c"].notna().sum() == 4
    assert any("too far apart to interpolate" in note for note in table.attrs["notes"])


def test_missing_hours_of_a_file_are_counted_as_those_of_a_table(tmp_path: Path) -> None:
    draw = np.random.default_rng(3)
    whole = fortnight()
    kept = whole[(draw.random(len(whole)) > 0.1) | (np.arange(len(whole)) % 335 == 0)]
    kept.to_csv(tmp_path / "w.csv")
    table = read_weather(tmp_path / "w.csv")
    assert table.attrs["notes"] == [f"{len(whole) - len(kept)} missing hours are unknown"]
    pd.testing.assert_frame_equal(
        table, kept.reindex(whole.index).astype("float64"), check_freq=False
    )


def test_the_far_days_of_an_export_are_judged(tmp_path: Path) -> None:
    whole = fortnight(gust_ms=None, rain_chance=None, wind_from_deg=None, cloud=None)
    hour = np.arange(len(whole))
    kept = whole[(hour < 48) | ((hour < 96) & (hour % 3 == 0)) | (hour % 6 == 0)]
    kept.to_csv(tmp_path / "w.csv")
    columns = {
        name: {"column": name, "unit": unit}
        for name, unit in (("temp_c", "degC"), ("dew_point_c", "degC"), ("wind_ms", "m/s"))
    }
    rain = {"column": "rain_mm", "unit": "mm", "covers": "step"}
    table = read_weather(
        tmp_path / "w.csv", columns | {"time": {"column": "time"}, "rain_mm": rain}
    )
    assert score_hours(table, PLACE, OIL)["verdict"].iloc[NOON] == "go"


def test_a_calms_code_of_direction_turns_no_hour_between(tmp_path: Path) -> None:
    # WMO-No. 306: a calm is reported as direction 0, which is no wind from the north (360)
    whole = fortnight(gust_ms=None, rain_chance=None, wind_from_deg=270.0, cloud=None)
    reports = whole.iloc[::3].copy()
    reports.iloc[4, reports.columns.get_indexer(["wind_from_deg", "wind_ms"])] = 0.0
    reports.to_csv(tmp_path / "w.csv")
    instants = {"temp_c": "degC", "dew_point_c": "degC", "wind_ms": "m/s", "wind_from_deg": "deg"}
    columns = {name: {"column": name, "unit": unit} for name, unit in instants.items()}
    rain = {"column": "rain_mm", "unit": "mm", "covers": "step"}
    told = read_weather(
        tmp_path / "w.csv", columns | {"time": {"column": "time"}, "rain_mm": rain}
    )["wind_from_deg"]
    assert np.flatnonzero(told.isna()).tolist() == [10, 11, 12, 13, 14]
    assert set(told.dropna().round(6)) == {270.0}
