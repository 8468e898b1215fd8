"""Hold the advice that was given against the weather that came."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Any

import pandas as pd

from spraywindow.errors import InputError, describe, one_line
from spraywindow.orchard.came import came, extremes_between, rain_between
from spraywindow.weather.hourly import COLUMNS
from spraywindow.weather.rain import MEASURABLE_MM

WINDOWS_H = (24, 48, 72)
KEYS = ("site", "material", "now", "start", "end", "verdict", "limits")
"""What a receipt must carry; more is kept and passed over."""


@dataclass(frozen=True)
class Judgement:
    """Advice beside what came after its end; None is unknown.

    `rain_mm` holds (least, most) by window, `spoiled` whether rain spoiled it, `temp_min_c`
    and `temp_max_c` the extremes from the start on; `held` says for a "go" whether the first
    24 h stayed dry and above 0 °C. `errors` compares the hours the receipt carries: by column
    the number, mean error and mean absolute error of forecast minus weather.
    """

    site: str
    material: str
    now: str
    start: str
    end: str
    verdict: str
    limits: Any
    rain_mm: dict[str, tuple[float, float | None]]
    spoiled: dict[str, bool | None]
    temp_min_c: dict[str, float | None]
    temp_max_c: dict[str, float | None]
    held: bool | None
    errors: dict[str, dict[str, float]]

    def as_json(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return asdict(self)


def judge(receipt: str | Mapping[str, Any], weather: pd.DataFrame, *, now: datetime) -> Judgement:
    """Compare a receipt with the weather that came.

    Parameters
    ----------
    receipt : str or mapping
        JSON text or its values, with `KEYS`; times in ISO 8601 with offset. ``hours``, a list
        of ``{"time": ..., column: value}``, lets the forecast's errors be measured too.
    weather : pandas.DataFrame
        Hourly table of what came; hours after `now` or forecast are not used.
    now : datetime
        tz-aware.

    Raises
    ------
    InputError
        If the receipt is not readable; all problems at once.
    """
    values = read_receipt(receipt)
    past = came(weather, now)
    start, end = (datetime.fromisoformat(values[key]) for key in ("start", "end"))
    rain_mm: dict[str, tuple[float, float | None]] = {}
    spoiled: dict[str, bool | None] = {}
    lows: dict[str, float | None] = {}
    highs: dict[str, float | None] = {}
    for hours in WINDOWS_H:
        until, key = end + timedelta(hours=hours), str(hours)
        least, most = rain_between(past, end, until)
        rain_mm[key] = round(least, 2), None if math.isinf(most) else round(most, 2)
        spoiled[key] = True if least >= MEASURABLE_MM else False if most < MEASURABLE_MM else None
        low, high = extremes_between(past, start, until)
        lows[key], highs[key] = (None if math.isnan(value) else value for value in (low, high))
    return Judgement(
        **{key: values[key] for key in KEYS},
        rain_mm=rain_mm,
        spoiled=spoiled,
        temp_min_c=lows,
        temp_max_c=highs,
        held=_held(spoiled["24"], lows["24"]) if values["verdict"] == "go" else None,
        errors=_errors(values.get("hours") or [], past),
    )


def read_receipt(receipt: str | Mapping[str, Any]) -> dict[str, Any]:
    """Read a receipt and check what `judge` needs; raises `InputError`, all problems at once."""
    try:
        values = json.loads(receipt) if isinstance(receipt, str) else dict(receipt)
    except ValueError as error:
        raise InputError(describe(f"not JSON ({error})", where="receipt")) from error
    if not isinstance(values, dict):
        raise InputError(describe("not a JSON object", where="receipt", got=type(values).__name__))
    problems = [describe("is missing", where=key) for key in KEYS if key not in values]
    for key in ("now", "start", "end"):
        if key in values and not _is_time(values[key]):
            problems.append(
                describe("not a time with its offset", where=key, expected="ISO 8601",
                         got=values[key])
            )  # fmt: skip
    hours = values.get("hours") or []
    if not isinstance(hours, list) or not all(
        isinstance(hour, dict) and _is_time(hour.get("time")) for hour in hours
    ):
        problems.append(describe("not a list of hours with their time", where="hours"))
    if problems:
        raise InputError(f"receipt: {one_line(problems)}")
    return values


def _is_time(text: object) -> bool:
    try:
        return isinstance(text, str) and datetime.fromisoformat(text).utcoffset() is not None
    except ValueError:
        return False


def _held(spoiled: bool | None, low_c: float | None) -> bool | None:
    """A go held if it stayed dry and free of frost; one known failure settles it."""
    if spoiled or (low_c is not None and low_c <= 0):
        return False
    return None if spoiled is None or low_c is None else True


def _errors(hours: list[dict[str, Any]], past: pd.DataFrame) -> dict[str, dict[str, float]]:
    if not hours:
        return {}
    told = pd.DataFrame(hours)
    told.index = pd.to_datetime(told["time"], utc=True)
    out = {}
    for column in COLUMNS:
        if column in told.columns and column in past.columns:
            forecast = pd.to_numeric(told[column], errors="coerce")
            error = (forecast - past[column].reindex(told.index)).dropna()
            if column == "wind_from_deg":
                error = (error + 180) % 360 - 180  # the short way round
            if len(error):
                out[column] = {
                    "n": len(error),
                    "mean": round(float(error.mean()), 3),
                    "mean_absolute": round(float(error.abs().mean()), 3),
                }
    return out
