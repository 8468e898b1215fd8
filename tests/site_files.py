"""Invented sites and their weather, written as the files that a command is given."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

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
OSSA = """\
name = "Ossa Terrace"
units = "{units}"
[place]
latitude = {latitude}
longitude = {longitude}
elevation = "60 m"
timezone = "Europe/Athens"
[access]
from = "08:00"
until = "17:00"
[crew]
job = "2 h"
[[blocks]]
name = "rows 1-4"
crop = "peach"
trees = 48
height = "3.5 m"
spread = "4 m"
stage = "dormant"
observed = 2026-01-02
[season]
leaf_fall = 2025-12-02
usual_first_flower = "1 Mar"
[program]
between = "2 days"
[[program.rounds]]
material = "oil"
rounds = 3
apart = "5 days"
season_maximum = 3
[[program.rounds]]
material = "copper"
rounds = 2
apart = "5 days"
"""
NOW = "2026-01-12 18:00"
"""Local evening of the steady weather's first whole day."""


def steady(hours: int = 240, start: str = "2026-01-11 00:00", **columns: float) -> pd.DataFrame:
    """Mild, dry, overcast hours with a light wind, from a local time of `SITE` on."""
    first = pd.Timestamp(start, tz="America/Los_Angeles").tz_convert("UTC")
    values = {"temp_c": 12.0, "dew_point_c": 4.0, "wind_ms": 2.5, "rain_mm": 0.0, "cloud": 0.9}
    index = pd.date_range(first, periods=hours, freq="h", name="time")
    return pd.DataFrame({**values, **columns}, index=index)


def write_mapped(folder: Path, table: pd.DataFrame) -> tuple[Path, Path]:
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


def write_site(
    path: Path,
    *,
    name: str = "Ossa Terrace",
    units: str = "metric",
    latitude: float = 37.8,
    longitude: float = 21.4,
    extra: str = "",
) -> Path:
    text = OSSA.format(units=units, latitude=latitude, longitude=longitude)
    path.write_text(extra + text.replace("Ossa Terrace", name), encoding="utf-8")
    return path


def write_weather(
    path: Path, first: str, days: int, *, rain: dict[str, float] | None = None
) -> Path:
    """Mild dry days, a light wind from the north, and rain [mm] in the UTC hours named."""
    index = pd.date_range(pd.Timestamp(first, tz="UTC"), periods=24 * days, freq="h", name="time")
    hour = np.asarray(index.hour)
    values: dict[str, Any] = {
        "temp_c": 12.0 + 4.0 * np.sin((hour - 8) / 24 * 2 * np.pi),
        "dew_point_c": 2.0,
        "wind_ms": 2.0,
        "rain_mm": 0.0,
        "wind_from_deg": 0.0,
        "cloud": 0.5,
    }
    table = pd.DataFrame(values, index=index)
    for moment, amount in (rain or {}).items():
        table.loc[pd.Timestamp(moment, tz="UTC"), "rain_mm"] = amount
    table.to_csv(path, date_format="%Y-%m-%dT%H:%MZ")
    return path
