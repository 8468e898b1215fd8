"""Archived forecasts of Open-Meteo: what was forecast one to seven days before each hour.

Sums, means and maxima come stamped at the end of their hour and are moved to its start here,
once. By name only: the free tier is for non-commercial use. Replayed, every hour after an evening
takes the forecast that is at least as old as that evening, never a younger one; so it satisfies
`spraywindow.winters.ForecastReplay`.

References
----------
.. [1] Open-Meteo, *Previous Runs API* documentation (open-meteo.com/en/docs/previous-runs-api):
   "Previous day 1" is the forecast made 24 hours before the valid time, day 2 48 hours, ...
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import InputError, SourceError, brief
from spraywindow.place import Place
from spraywindow.sources.http import block, get_json, hour_stamps, numbers
from spraywindow.sources.services import SERVICE, Variable
from spraywindow.units import convert
from spraywindow.weather import (
    COLUMNS,
    PERIOD_COLUMNS,
    RANGE_COLUMNS,
    REQUIRED,
    dew_point_from_humidity,
)

if TYPE_CHECKING:
    from requests_cache import CachedSession

DAYS = 7
MOST_UNKNOWN = 0.05
"""A winter with more unknown forecasts than this share is not covered; P."""
Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Archived:
    """Archived forecasts of one place.

    Attributes
    ----------
    first_h : int
        Hour of row 0, counted from 1970.
    columns : mapping of str to array [hour, day]
        Contract columns on hour starts as forecast 1, 2, ... `DAYS` days before; NaN where none
        is archived. A column that is archived nowhere is left out.
    notes : tuple of str
        What is archived and from when, and the credit.
    """

    first_h: int
    columns: Mapping[str, Floats]
    notes: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """What people read."""
        return "archived forecasts"

    @property
    def measures(self) -> bool:
        """They were wrong at times."""
        return True

    @property
    def days(self) -> int:
        """Days that they reach."""
        return DAYS

    def covers(self, first_h: int, last_h: int) -> bool:
        """Whether nearly all hours from one to another have the required values."""
        begin, end = first_h - self.first_h, last_h - self.first_h
        if begin < 0 or not set(REQUIRED) <= self.columns.keys():
            return False
        wanted = max(end - begin, 1)
        known = ~np.isnan(sum(self.columns[name][begin:end, 0] for name in REQUIRED))
        return bool(np.count_nonzero(known) >= (1.0 - MOST_UNKNOWN) * wanted)

    def known(
        self, truth: Mapping[str, Floats], lead_h: Integers, valid_h: Integers
    ) -> dict[str, Floats]:
        """The record up to each evening, the archived forecasts after it.

        Parameters and result are those of `spraywindow.winters.ForecastReplay`. A column that is
        not archived is left out of the record too, so that its limit is not judged; totals and
        ranges of the record end with the evening.
        """
        ahead = lead_h >= 0
        day = np.minimum(np.maximum(lead_h, 0) // 24, DAYS - 1)
        reached = (lead_h < 24 * DAYS)[:, None]
        out = {}
        for name, values in truth.items():
            if name in (*PERIOD_COLUMNS, *RANGE_COLUMNS):
                out[name] = np.where(ahead[:, None], np.nan, values)
            elif name in self.columns or name in REQUIRED:
                forecast = self._forecast(name, day, valid_h)
                forecast = np.where(reached, forecast, np.nan)
                out[name] = np.where(ahead[:, None], forecast, values)
        return out

    def _forecast(self, name: str, day: Integers, valid_h: Integers) -> Floats:
        """Values [hour, evening] of each hour as forecast on its row's day."""
        if name not in self.columns:
            return np.full(valid_h.shape, np.nan)
        archive, row = self.columns[name], valid_h - self.first_h
        inside = (row >= 0) & (row < len(archive))
        picked = archive[np.clip(row, 0, len(archive) - 1), day[:, None]]
        return np.where(inside, picked, np.nan)


BASE_URL = "https://previous-runs-api.open-meteo.com/v1"
CUSTOMER_URL = "https://customer-previous-runs-api.open-meteo.com/v1"
ARCHIVE_FROM = pd.Timestamp("2024-01-01", tz="UTC")
"""Most models are archived from then on (read in the documentation)."""
PIECE_D = 90
OLD_COPY_H = 24.0 * 365
"""An archive does not change: a copy a year old may stand in for a failed request [h]."""
_RH = "rh_pct"
VARIABLES = (
    Variable("temperature_2m", "temp_c", False),
    Variable("relative_humidity_2m", _RH, False),
    Variable("wind_speed_10m", "wind_ms", False),
    Variable("precipitation", "rain_mm", True),
    Variable("wind_gusts_10m", "gust_ms", True),
    Variable("wind_direction_10m", "wind_from_deg", False),
    Variable("cloud_cover", "cloud", False),
    Variable("shortwave_radiation", "solar_wm2", True),
)


def parse(payloads: Iterable[Any]) -> Archived:
    """Read replies of the previous-runs address, in order of time.

    Parameters
    ----------
    payloads : iterable of object
        JSON documents for one place, asked with ``timezone=GMT``.

    Raises
    ------
    SourceError
        If a block is missing, the times are not UTC, or a unit is not what it should be.
    """
    parts = [_table(payload) for payload in payloads]
    table = pd.concat(parts)
    if table.index.max() - table.index.min() > len(parts) * pd.Timedelta(days=PIECE_D):
        raise SERVICE.odd(
            "the answers span more time than was asked for"
        )  # it would fill the memory
    table = table[~table.index.duplicated()].asfreq("h")
    columns: dict[str, Floats] = {}
    for variable in VARIABLES:
        values = table[variable.ours]
        values = values.shift(-1) if variable.hour_ending else values
        if values.notna().to_numpy().any():
            columns[variable.ours] = values.to_numpy()
    rh = columns.pop(_RH, None)
    if rh is not None and "temp_c" in columns:
        columns["dew_point_c"] = dew_point_from_humidity(columns["temp_c"], rh)
    first = pd.Timestamp(table.index[0])
    return Archived(first.value // 3_600_000_000_000, columns, _notes(columns, first))


def _table(payload: Any) -> pd.DataFrame:
    """Values by (our name, days before) in our units, still on the service's stamps."""
    times = block(payload, "hourly", "time", service=SERVICE.name, kind=list)
    units = block(payload, "hourly_units", service=SERVICE.name, kind=dict)
    if payload.get("utc_offset_seconds") != 0:
        raise SERVICE.odd("the times are not UTC")
    if units.get("time") != "iso8601":
        raise SERVICE.odd("the times are not ISO 8601")
    index = hour_stamps(times, service=SERVICE.name)
    columns = {}
    for variable in VARIABLES:
        for day in range(1, DAYS + 1):
            name = f"{variable.theirs}_previous_day{day}"
            values = np.full(len(index), np.nan)
            if name in payload["hourly"] and units.get(name) != "undefined":
                values = numbers(payload["hourly"][name], service=SERVICE.name, where=name)
                if len(values) != len(index):
                    raise SERVICE.odd(f"{name} has {len(values)} values for {len(index)} hours")
                values = _in_our_unit(values, name, variable, units.get(name))
            columns[variable.ours, day] = values
    return pd.DataFrame(columns, index=index)


def _in_our_unit(values: Floats, name: str, variable: Variable, unit: Any) -> Floats:
    ours = "%" if variable.ours == _RH else COLUMNS[variable.ours].unit
    try:
        return np.asarray(convert(values, unit, ours), dtype=float)
    except InputError as error:
        raise SERVICE.odd(f"{name} comes in {brief(unit)}") from error


def _notes(columns: Mapping[str, Floats], first: pd.Timestamp) -> tuple[str, ...]:
    """Which columns are archived and from when, and the credit."""
    since: dict[str, list[str]] = {}
    for name, values in columns.items():
        known = ~np.isnan(values[:, 0])
        if known.any():
            start = first + pd.Timedelta(hours=int(known.argmax()))
            since.setdefault(str(start.date()), []).append(name)
    parts = [f"{', '.join(names)} from {start}" for start, names in sorted(since.items())]
    missing = [name for name in REQUIRED if name not in columns]
    parts += [f"not archived: {', '.join(missing)}"] if missing else []
    return (
        f"Archived forecasts: {'; '.join(parts)}.",
        f"Archived forecasts: {SERVICE.credit}; its free tier is for non-commercial use.",
    )


def archived_forecasts(
    place: Place,
    first: pd.Timestamp,
    last: pd.Timestamp,
    *,
    now: pd.Timestamp,
    session: CachedSession,
    base_url: str | None = None,
    api_key: str | None = None,
) -> Archived:
    """Fetch what was forecast for a stretch of time, from `ARCHIVE_FROM` on.

    Parameters
    ----------
    place : Place
    first, last : pandas.Timestamp
        Of the record that is replayed.
    now, session, base_url, api_key
        As for `spraywindow.sources.services.openmeteo.forecast`.

    Raises
    ------
    SourceError
        If no usable answer comes, or the record ends before the archive begins.
    """
    begin = max(first, ARCHIVE_FROM).normalize()
    if last < begin:
        raise SourceError(
            "no archived forecasts for this record",
            where=SERVICE.name,
            expected=f"hours from {ARCHIVE_FROM.date()} on",
            got=f"a record up to {last.date()}",
        )
    key = api_key or os.environ.get("SPRAYWINDOW_OPENMETEO_KEY")
    base = base_url or (CUSTOMER_URL if key else BASE_URL)
    names = [f"{v.theirs}_previous_day{day}" for v in VARIABLES for day in range(1, DAYS + 1)]
    params: dict[str, str | int | float] = {
        "latitude": round(place.latitude, 4),
        "longitude": round(place.longitude, 4),
        "elevation": round(place.elevation_m),
        "hourly": ",".join(names),
        "timezone": "GMT",
        "wind_speed_unit": "ms",
    }
    if key:
        params["apikey"] = key
    payloads = []
    for start in pd.date_range(begin, last, freq=f"{PIECE_D}D"):
        end = min(start + pd.Timedelta(days=PIECE_D - 1), last)
        dates = {"start_date": f"{start:%Y-%m-%d}", "end_date": f"{end:%Y-%m-%d}"}
        payload, _ = get_json(
            session, f"{base}/forecast", {**params, **dates}, now=now, max_stale_h=OLD_COPY_H,
            service=SERVICE.name,
        )  # fmt: skip
        payloads.append(payload)
    return parse(payloads)
