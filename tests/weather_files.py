"""Small weather files, and the errors that reading them gives."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from spraywindow.errors import SprayWindowError
from spraywindow.sources.files.read_file import read_weather

HEADER = "time,temp_c,dew_point_c,wind_ms,rain_mm\n"
MAP: dict[str, Any] = {
    "time": {"column": "t", "timezone": "UTC"},
    "temp_c": {"column": "temp", "unit": "degC"},
    "dew_point_c": {"column": "dew", "unit": "degC"},
    "wind_ms": {"column": "wind", "unit": "m/s"},
    "rain_mm": {"column": "rain", "unit": "mm"},
}


def write(path: Path, text: str | bytes, name: str = "w.csv") -> Path:
    target = path / name
    target.write_bytes(text if isinstance(text, bytes) else text.encode())
    return target


def rows(stamps: list[str], rain: list[object] | None = None, temp: object = 10) -> str:
    rain = rain or [0] * len(stamps)
    lines = [f"{t},{temp},5,2,{mm}" for t, mm in zip(stamps, rain, strict=True)]
    return "t,temp,dew,wind,rain\n" + "\n".join(lines) + "\n"


def hours(start: str, count: int, freq: str = "h") -> list[str]:
    return [str(t) for t in pd.date_range(start, periods=count, freq=freq)]


def fails(path: Path, columns: Any = None, **more: Any) -> str:
    with pytest.raises(SprayWindowError) as caught:
        read_weather(path, columns, **more)
    text = str(caught.value)
    assert "\n" not in text
    return text


def local(zone: str, **more: Any) -> dict[str, Any]:
    return MAP | {"time": {"column": "t", "timezone": zone, **more}}
