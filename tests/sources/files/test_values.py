"""Cells that are no number, that stand for none, or that are numbers of another unit."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from spraywindow.sources.files.read_file import read_weather
from tests.weather_files import HEADER, MAP, fails, hours, rows, write

HUMID = {name: table for name, table in MAP.items() if name != "dew_point_c"}


def humid(path: Path, values: list[float]) -> Path:
    stamps = hours("2024-01-01", len(values))
    lines = [f"{t},10,{v},2,0" for t, v in zip(stamps, values, strict=True)]
    return write(path, "t,temp,rh,wind,rain\n" + "\n".join(lines) + "\n")


def test_humidity_that_never_exceeds_one_is_a_fraction(tmp_path: Path) -> None:
    path = humid(tmp_path, [0.35, 0.6, 1.0, 1.02])
    text = fails(path, HUMID | {"rh_pct": {"column": "rh", "unit": "%"}})
    assert "rh_pct (rh): all values are at most 1.5 %" in text
    assert "are these fractions?" in text
    table = read_weather(path, HUMID | {"rh_pct": {"column": "rh", "unit": "fraction"}})
    assert table["dew_point_c"].notna().all()
    # FAO-56 annex 2: saturation at 10 degC is 1.228 kPa, at 2.6 degC 0.737 kPa, 60 % of it
    assert table["dew_point_c"].iloc[1] == pytest.approx(2.6, abs=0.05)


def test_fractions_are_suspected_in_a_file_of_the_tables_own_names(tmp_path: Path) -> None:
    lines = "2024-01-01T00:00Z,10,0.5,2,0\n2024-01-01T01:00Z,10,0.9,2,0\n"
    text = fails(write(tmp_path, HEADER.replace("dew_point_c", "rh_pct") + lines))
    assert "are these fractions?" in text


def test_dry_air_and_a_dead_hygrometer_are_no_fractions(tmp_path: Path) -> None:
    columns = HUMID | {"rh_pct": {"column": "rh", "unit": "%"}}
    assert read_weather(humid(tmp_path, [0.9, 1.4, 7.0]), columns)["dew_point_c"].notna().all()
    assert read_weather(humid(tmp_path, [0.0, 0.0]), columns)["dew_point_c"].isna().all()


@pytest.mark.parametrize("code", ["9.99", " 9.99", "9.990"])
def test_a_code_written_as_text_is_a_number_too(code: str, tmp_path: Path) -> None:
    path = write(tmp_path, rows(hours("2024-01-01", 4), [0, 9.99, 0, 0.2]))
    columns: dict[str, Any] = MAP | {"rain_mm": MAP["rain_mm"] | {"missing": [code]}}
    np.testing.assert_array_equal(read_weather(path, columns)["rain_mm"], [0, np.nan, 0, 0.2])
    traced = read_weather(path, MAP | {"rain_mm": MAP["rain_mm"] | {"trace": [code]}})
    np.testing.assert_array_equal(traced["rain_mm"], [0, np.nan, 0, 0.2])
    assert traced["rain_total_mm"].iloc[1] == 0.253  # less than 0.01 in is a trace: US gauges
    assert traced.attrs["notes"] == [
        "rain_mm (rain): 1 traces count as more than nothing and less than 0.254 mm"
    ]


def test_infinite_cells_are_counted(tmp_path: Path) -> None:
    path = write(tmp_path, rows(hours("2024-01-01", 4), [0, "inf", "-inf", 0]))
    table = read_weather(path, MAP)
    assert table["rain_mm"].isna().tolist() == [False, True, True, False]
    assert table.attrs["notes"] == ["rain_mm (rain): 2 infinite values are unknown"]
    declared = read_weather(path, MAP | {"rain_mm": MAP["rain_mm"] | {"missing": ["inf", "-inf"]}})
    assert declared.attrs["notes"] == []
