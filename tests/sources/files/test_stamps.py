from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from spraywindow.sources.files.read_file import read_weather
from tests.weather_files import HEADER, MAP, fails, hours, local, rows, write


def test_naive_stamps_need_a_zone(tmp_path: Path) -> None:
    text = HEADER + "2024-01-01T00:00,10,5,2,0\n"
    assert "time.timezone" in fails(write(tmp_path, text))


def test_offsets_are_converted_and_not_mixed_with_none(tmp_path: Path) -> None:
    stamps = ["2024-01-01T00:00+02:00", "2024-01-01T00:00+01:00"]
    table = read_weather(write(tmp_path, rows(stamps)), MAP)
    assert [str(t) for t in table.index.hour] == ["22", "23"]
    mixed = write(tmp_path, rows(["2024-01-01T00:00Z", "2024-01-01T01:00"]))
    assert "some do not" in fails(mixed, MAP)


def test_what_is_no_stamp(tmp_path: Path) -> None:
    text = fails(write(tmp_path, rows(["13/01/2024 00:00", "13/01/2024 01:00"])), MAP)
    assert "2 stamps are not times" in text
    assert "time.format" in text


@pytest.mark.parametrize("form", ["%s", "%Q", "%", "%Y %Y", "%U", "mixed"])
def test_a_format_that_is_none(form: str, tmp_path: Path) -> None:
    text = fails(write(tmp_path, rows(hours("2024-01-01", 3))), local("UTC", format=form))
    assert text.startswith("time.format: a time format that cannot be read; expected codes such")
    assert f"got {form!r}" in text


def test_fixed_offset_and_half_hour_zones(tmp_path: Path) -> None:
    path = write(tmp_path, rows(hours("2024-01-01", 3)))
    assert read_weather(path, local("UTC-08:00")).index[0].hour == 8
    india = read_weather(path, local("Asia/Kolkata"))
    assert india.index[0] == pd.Timestamp("2023-12-31T18:30Z")
    quarters = write(tmp_path, rows(hours("2024-01-01", 8, "15min"), [1] * 8))
    table = read_weather(quarters, local("Asia/Kolkata"))
    assert list(table.index.minute) == [30, 30]  # whole hours on the local clock
    assert list(table["rain_mm"]) == [4, 4]


def test_the_hour_that_the_clock_skips(tmp_path: Path) -> None:
    good = ["2024-03-10 01:00", "2024-03-10 03:00"]
    zone = local("America/New_York")
    assert len(read_weather(write(tmp_path, rows(good)), zone)) == 2
    bad = write(tmp_path, rows([good[0], "2024-03-10 02:00", good[1]]))
    assert "2024-03-10 02:00:00" in fails(bad, zone)


def test_the_hour_that_comes_twice(tmp_path: Path) -> None:
    zone = local("America/New_York")
    twice = [f"2024-11-03 0{hour}:00" for hour in (0, 1, 1, 2)]
    forward = read_weather(write(tmp_path, rows(twice, [1, 2, 3, 4])), zone)
    assert list(forward.index.hour) == [4, 5, 6, 7]
    assert list(forward["rain_mm"]) == [1, 2, 3, 4]
    back = read_weather(write(tmp_path, rows(twice[::-1], [4, 3, 2, 1])), zone)
    pd.testing.assert_frame_equal(forward, back)
    single = [twice[0], twice[1], twice[3], "2024-11-03 03:00", "2024-11-03 04:00"]
    once = read_weather(write(tmp_path, rows(single)), zone)
    assert list(once["rain_mm"].isna()) == [False, True, True, False, False, False]
    assert any("cannot be told apart" in note for note in once.attrs["notes"])


def test_the_double_hour_in_halves(tmp_path: Path) -> None:
    stamps = [f"2024-11-03 {t}" for t in ("00:30", "01:00", "01:30", "01:00", "01:30", "02:00")]
    table = read_weather(write(tmp_path, rows(stamps, [1] * 6)), local("America/New_York"))
    np.testing.assert_array_equal(table["rain_mm"], [np.nan, 2, 2, np.nan])


def test_twenty_four_o_clock(tmp_path: Path) -> None:
    stamps = ["01/31/2024 23:00", "01/31/2024 24:00"]
    table = read_weather(write(tmp_path, rows(stamps)), local("UTC", format="%m/%d/%Y %H:%M"))
    assert table.index[-1] == pd.Timestamp("2024-02-01T00:00Z")
    bare = write(tmp_path, rows(["20240131 2300", "20240131 2400"]))
    joined = read_weather(bare, local("UTC", format="%Y%m%d %H%M"))
    assert joined.index[-1] == pd.Timestamp("2024-02-01T00:00Z")


def test_the_twenty_fourth_minute_is_no_midnight(tmp_path: Path) -> None:
    stamps = hours("2024-01-01 06:00", 121, "min")  # with seconds: 06:24:00
    table = read_weather(write(tmp_path, rows(stamps)), MAP)
    assert list(table.index.hour) == [6, 7, 8]
    assert list(table["temp_c"]) == [10, 10, 10]


def test_stamps_near_the_hour_are_set_on_it(tmp_path: Path) -> None:
    stamps = [f"2024-01-01 0{h}:5{m}" for h, m in ((0, 4), (1, 2), (2, 3))]
    path = write(tmp_path, rows([*stamps[:1], "2024-01-01 01:20", *stamps[1:]]))
    assert "time.round" in fails(write(tmp_path, rows(stamps), "b.csv"), MAP)
    table = read_weather(path, local("UTC", round="10min"))
    assert list(table.index.hour) == [1, 2, 3]
    assert "1 rows between the hours were left out" in table.attrs["notes"]


def test_shuffled_and_doubled_hours(tmp_path: Path) -> None:
    h = hours("2024-01-01", 4)
    shuffled = write(tmp_path, rows([h[0], h[2], h[1], h[3]]))
    assert "out of order" in fails(shuffled, MAP)
    differ = write(tmp_path, rows([h[0], h[1], h[1]], [0, 0, 5]))
    assert "stand twice" in fails(differ, MAP)
    same = read_weather(write(tmp_path, rows([h[0], h[1], h[1]])), MAP)
    assert len(same) == 2
    assert "1 rows that repeat another were dropped" in same.attrs["notes"]
    turned = read_weather(write(tmp_path, rows(h[::-1], [4, 3, 2, 1])), MAP)
    assert list(turned["rain_mm"]) == [1, 2, 3, 4]
