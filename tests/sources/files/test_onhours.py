from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import WeatherError
from spraywindow.sources.files.read_file import read_weather
from tests.weather_files import HEADER, MAP, fails, hours, rows, write


def test_units_scale_height_and_codes(tmp_path: Path) -> None:
    text = "t,temp,rh,wind,rain\n2024-01-01 00:00,500,50,10,T\n2024-01-01 01:00,-9999,M,10,0.10s\n"
    columns = {
        "time": MAP["time"],
        "temp_c": {"column": "temp", "unit": "degF", "scale": 0.1, "missing": -9999},
        "rh_pct": {"column": "rh", "unit": "%", "missing": "M"},
        "wind_ms": {"column": "wind", "unit": "m/s", "height": "2 m"},
        "rain_mm": {"column": "rain", "unit": "in", "trace": "T", "flags": "s"},
    }
    table = read_weather(write(tmp_path, text), columns)
    np.testing.assert_allclose(table["temp_c"], [10.0, np.nan])
    # FAO-56 eq. 47: the wind at 2 m is 0.748 of that at 10 m.
    np.testing.assert_allclose(table["wind_ms"], 10 / 0.748, rtol=1e-3)
    np.testing.assert_allclose(table["rain_mm"], [np.nan, 2.54])
    assert table["rain_total_mm"].iloc[0] == 0.253
    assert table["dew_point_c"].isna().tolist() == [False, True]
    # Magnus with the constants of FAO-56 (eq. 11 and annex 3): half saturation at 10 degC.
    assert table["dew_point_c"].iloc[0] == pytest.approx(0.06, abs=0.1)
    assert any("1 traces" in note for note in table.attrs["notes"])


def test_text_in_numbers_is_refused(tmp_path: Path) -> None:
    text = fails(write(tmp_path, rows(hours("2024-01-01", 3), [0, "wet", 0])), MAP)
    assert "'wet'" in text
    assert "row 2" in text


@pytest.mark.parametrize("code", [-9999, 999.9])
def test_undeclared_missing_codes(code: float, tmp_path: Path) -> None:
    stamps = hours("2024-01-01", 100)
    path = write(tmp_path, rows(stamps, [0] * 90 + [code] * 10))
    assert f"missing = [{code:g}]" in fails(path, MAP)
    declared = MAP | {"rain_mm": MAP["rain_mm"] | {"missing": [code]}}
    assert read_weather(path, declared)["rain_mm"].isna().sum() == 10


def test_two_hundred_degrees_and_a_swapped_dew_point(tmp_path: Path) -> None:
    assert "is the unit right" in fails(
        write(tmp_path, rows(hours("2024-01-01", 3), temp=200)), MAP
    ) or "missing = [200]" in fails(write(tmp_path, rows(hours("2024-01-01", 3), temp=200)), MAP)
    swapped = MAP | {"temp_c": MAP["dew_point_c"], "dew_point_c": MAP["temp_c"]}
    assert "swapped" in fails(write(tmp_path, rows(hours("2024-01-01", 3))), swapped)


def test_an_isolated_impossible_value_is_not_interpolated_or_summed(tmp_path: Path) -> None:
    stamps = hours("2024-01-01", 2000, "3h")
    text = rows(stamps, ["" for _ in stamps]).replace(
        f"{stamps[7]},10,5,2,", f"{stamps[7]},10,5,100,"
    )
    table = read_weather(write(tmp_path, text), MAP | {"rain_mm": "unknown"})
    assert table["wind_ms"].max() == 2.0
    assert table["wind_ms"].isna().sum() == 5


def test_sky_obscured_is_unknown(tmp_path: Path) -> None:
    text = rows(hours("2024-01-01", 2)).replace("rain\n", "rain,n\n").replace(",0\n", ",0,9\n")
    table = read_weather(write(tmp_path, text), MAP | {"cloud": {"column": "n", "unit": "oktas"}})
    assert table["cloud"].isna().all()


def test_a_total_stamped_at_its_end_moves_once(tmp_path: Path) -> None:
    path = write(tmp_path, rows(hours("2024-01-01", 3), [1, 2, 3]))
    table = read_weather(path, MAP | {"rain_mm": MAP["rain_mm"] | {"stamp": "end"}})
    assert table["rain_mm"]["2024-01-01T01:00Z"] == 3
    assert np.isnan(table["rain_mm"]["2024-01-01T02:00Z"])
    assert table["temp_c"]["2024-01-01T02:00Z"] == 10


def test_a_coarse_total_must_say_its_length(tmp_path: Path) -> None:
    path = write(tmp_path, rows(hours("2024-01-01", 5, "3h")))
    assert 'rain_mm.covers = "3h"' in fails(path, MAP)


def test_hourly_and_longer_totals_together(tmp_path: Path) -> None:
    text = "t,temp,dew,wind,rain,six\n" + "\n".join(
        f"{t},10,5,2,{mm},{six}"
        for t, mm, six in zip(
            hours("2024-01-01", 7),
            ["", 0, 0, "", "", 0, 0],
            ["", "", "", "", "", "", 5],
            strict=True,
        )
    )
    more = [
        {"column": "six", "unit": "mm", "stamp": "end", "covers": "6h"},
        {"column": "rain", "unit": "mm", "stamp": "end"},
    ]
    table = read_weather(write(tmp_path, text), MAP | {"rain_mm": more})
    period = table.loc["2024-01-01T02:00Z":"2024-01-01T03:00Z"]
    assert list(period["rain_total_mm"]) == [5, 5]
    assert list(period["rain_total_h"]) == [2, 2]
    assert table["rain_total_mm"].notna().sum() == 2


def test_gusts_and_rain_that_go_unreported(tmp_path: Path) -> None:
    text = "t,temp,dew,wind,rain,gust\n2024-01-01 00:00,10,5,2,,\n2024-01-01 01:00,,,,,\n"
    columns = MAP | {
        "gust_ms": {"column": "gust", "unit": "m/s", "absent": "none_reported"},
        "rain_mm": MAP["rain_mm"] | {"absent": "none_reported"},
    }
    table = read_weather(write(tmp_path, text + "2024-01-01 02:00,9,5,2,1,8\n"), columns)
    np.testing.assert_array_equal(table["gust_ms"], [2, np.nan, 8])
    np.testing.assert_array_equal(table["rain_mm"], [0, np.nan, 1])  # no report is not dry
    assert table.attrs["notes"] == [
        "rain_mm: 1 blanks of reports are read as none",
        "gust_ms: 1 blanks of reports are read as the wind",
    ]


def test_steps_that_fit_no_hour(tmp_path: Path) -> None:
    path = write(tmp_path, rows(hours("2024-01-01", 9, "7min")))
    assert "fit no hour" in fails(path, MAP)


def test_what_was_written_reads_back(tmp_path: Path) -> None:
    path = write(tmp_path, rows(hours("2024-01-01", 5, "3h"), [0, 4, 0, 3, 0]))
    table = read_weather(path, MAP | {"rain_mm": MAP["rain_mm"] | {"covers": "3h"}})
    table.to_csv(tmp_path / "again.csv")
    again = read_weather(tmp_path / "again.csv")
    pd.testing.assert_frame_equal(table, again, check_freq=False)


def test_a_small_file_loads_no_service(tmp_path: Path) -> None:
    path = write(tmp_path, HEADER + "2024-01-01T00:00Z,10,5,2,0\n")
    code = (
        "import sys; from spraywindow.sources.files.read_file import read_weather; "
        f"read_weather({str(path)!r}); "
        "heavy = {'meteostat', 'requests', 'requests_cache', 'pvlib', 'pyarrow.parquet'}; "
        "sys.exit(str(heavy & set(sys.modules)) if heavy & set(sys.modules) else 0)"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)


def test_errors_are_of_the_right_kind(tmp_path: Path) -> None:
    with pytest.raises(WeatherError, match="out of order"):
        read_weather(
            write(tmp_path, rows(["2024-01-01 01:00", "2024-01-01 00:00", "2024-01-01 02:00"])), MAP
        )
