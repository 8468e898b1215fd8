"""Run a command of the command line inside the tests' own process."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
import pytest

from spraywindow.cli.main import run

MAP = """\
[time]
column = "time"
timezone = "UTC"
[temp_c]
column = "temp"
unit = "degF"
[dew_point_c]
column = "dew"
unit = "degF"
[wind_ms]
column = "wind"
unit = "mph"
[rain_mm]
column = "rain"
unit = "in"
[cloud]
column = "cloud"
unit = "%"
"""
SITE = """\
name = "Lower Terrace"
units = "us"
[place]
latitude = 38.5
longitude = -121.7
elevation = "60 ft"
timezone = "America/Los_Angeles"
[[blocks]]
name = "rows 1-4"
crop = "peach"
trees = 10
height = "12 ft"
spread = "12 ft"
stage = "dormant"
observed = 2026-01-09
[season]
leaf_fall = 2025-12-02
"""


@dataclass(frozen=True)
class Said:
    """What a command said: exit code, standard output, standard error."""

    code: int
    out: str
    err: str


def command(capsys: pytest.CaptureFixture[str], *words: str | Path) -> Said:
    """Run ``spraywindow WORDS`` and catch what it says."""
    capsys.readouterr()
    before, sys.argv = sys.argv, ["spraywindow", *map(str, words)]
    try:
        with pytest.raises(SystemExit) as left:
            run()
    finally:
        sys.argv = before
    said = capsys.readouterr()
    return Said(int(left.value.code or 0), said.out, said.err)


def refused(said: Said) -> str:
    """Hold an error to its form: one line on stderr, exit 2, no traceback, nothing on stdout."""
    assert said.code == 2
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert "Traceback" not in said.err
    return said.err


NOW = "2026-01-12 18:00"
"""Local evening of the steady weather's first whole day."""


def steady(hours: int = 240, start: str = "2026-01-11 00:00", **columns: float) -> pd.DataFrame:
    """Mild, dry, overcast hours with a light wind, from a local time of `SITE` on."""
    first = pd.Timestamp(start, tz="America/Los_Angeles").tz_convert("UTC")
    values = {"temp_c": 12.0, "dew_point_c": 4.0, "wind_ms": 2.5, "rain_mm": 0.0, "cloud": 0.9}
    index = pd.date_range(first, periods=hours, freq="h", name="time")
    return pd.DataFrame({**values, **columns}, index=index)


def write_weather(folder: Path, table: pd.DataFrame) -> tuple[Path, Path]:
    """Write a table as a file in the units of `MAP`, and the map; the paths of both."""
    file, column_map = folder / "weather.csv", folder / "map.toml"
    pd.DataFrame(
        {
            "temp": table["temp_c"] * 1.8 + 32,
            "dew": table["dew_point_c"] * 1.8 + 32,
            "wind": table["wind_ms"] / 0.44704,
            "rain": table["rain_mm"] / 25.4,
            "cloud": table["cloud"] * 100,
        }
    ).to_csv(file, date_format="%Y-%m-%d %H:%M")
    column_map.write_text(MAP)
    return file, column_map
