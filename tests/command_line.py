"""Run the command line inside the test: exit code, what is printed, what goes to stderr."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
import pytest

from spraywindow.cli.main import run


class Said(NamedTuple):
    code: int
    out: str
    err: str


class CommandLine:
    """``spraywindow ARGUMENTS`` through the one place that turns errors into a line."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
        self._monkeypatch, self._capsys = monkeypatch, capsys

    def __call__(self, *arguments: object) -> Said:
        self._monkeypatch.setattr(sys, "argv", ["spraywindow", *map(str, arguments)])
        with pytest.raises(SystemExit) as ended:
            run()
        captured = self._capsys.readouterr()
        return Said(int(ended.value.code or 0), captured.out, captured.err)


SITE = """\
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


def write_site(
    path: Path,
    *,
    name: str = "Ossa Terrace",
    units: str = "metric",
    latitude: float = 37.8,
    longitude: float = 21.4,
    extra: str = "",
) -> Path:
    text = SITE.format(units=units, latitude=latitude, longitude=longitude)
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
