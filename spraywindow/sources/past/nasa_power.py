"""A past without gaps for any place: the NASA POWER reanalysis, whole years kept once read.

Asked through the session that all services share. pvlib reads this service too
(`pvlib.iotools.get_nasa_power`), but it waits without an end, does not try again, and hides the
status of an error; it is the oracle of the tests.

References
----------
.. [1] NASA POWER, *Hourly API* documentation (power.larc.nasa.gov/docs/services/api): values by
   parameter and hour ``YYYYMMDDHH``, stamped at the start of the hour.
.. [2] NASA POWER, *Methodology*: meteorology on cells of 1/2 by 5/8 degree, radiation on cells of
   1 degree, a point takes those of its cell (from memory).
"""

from __future__ import annotations

import math
import os
import zlib
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

import pandas as pd
import requests

from spraywindow.errors import SourceError, describe
from spraywindow.place import Place
from spraywindow.sources.http import (
    CURE,
    OLDEST_COPY_H,
    block,
    cache_folder,
    cache_trouble,
    document,
    make_polite,
    numbers,
    refused,
    what_failed,
)
from spraywindow.weather import check_hourly

NAME = "NASA POWER reanalysis"
COLUMNS: dict[str, tuple[str, tuple[str, ...]]] = {
    # service's name: our name, its units of the 're' community (any other is refused)
    "T2M": ("temp_c", ("C",)),
    "T2MDEW": ("dew_point_c", ("C",)),
    "WS10M": ("wind_ms", ("m/s",)),
    "PRECTOTCORR": ("rain_mm", ("mm/hour", "mm/hr", "mm/h")),
    "ALLSKY_SFC_SW_DWN": ("solar_wm2", ("Wh/m^2", "W/m^2", "Wh/m2", "W/m2")),
    "WD10M": ("wind_from_deg", ("Degrees", "degrees")),
}
CELL_HEIGHT = "cell_elevation_m"


def parse(payload: Any) -> pd.DataFrame:
    """Read an answer of the hourly address.

    Parameters
    ----------
    payload : object
        The JSON document.

    Returns
    -------
    pandas.DataFrame
        Contract columns on the hour starts that the answer has, UTC, and the height of the cell
        [m] as `CELL_HEIGHT`; the service's fill value is NaN.

    Raises
    ------
    SourceError
        If a block is missing or odd, a column lacks, a unit is not the one asserted, or the times
        are not UTC.
    """
    values = block(payload, "properties", "parameter", service=NAME, kind=dict)
    told = block(payload, "parameters", service=NAME, kind=dict)
    header = block(payload, "header", service=NAME, kind=dict)
    place = block(payload, "geometry", "coordinates", service=NAME, kind=list)
    problems = []
    for name, (column, units) in COLUMNS.items():
        about = told.get(name)
        unit = about.get("units") if isinstance(about, dict) else None
        if not isinstance(values.get(name), dict):
            problems.append(describe(f"no {column}", where=name))
        elif unit not in units:
            what = f"no {column} in a known unit"
            problems.append(describe(what, where=name, expected=" or ".join(units), got=unit))
    standard = header.get("time_standard")
    if not isinstance(standard, str) or standard.upper() != "UTC":
        problems.append(describe("other times than asked for", expected="UTC", got=standard))
    if problems:
        raise SourceError(f"{NAME}: " + " | ".join(problems))
    (fill,) = numbers([header.get("fill_value")], service=NAME, where="fill_value")
    columns = {
        column: _series(values[name], name).replace(fill, math.nan)
        for name, (column, _) in COLUMNS.items()
    }
    table = pd.DataFrame(columns)
    table.index.name = "time"
    height = place[2] if len(place) > 2 else None  # unknown is no reason to refuse the weather
    (table[CELL_HEIGHT],) = numbers([height], service=NAME, where="the height of the cell")
    return table


def _series(values: dict[str, Any], name: str) -> pd.Series:
    read = numbers(list(values.values()), service=NAME, where=name)
    try:
        if any(len(hour) != 10 for hour in values):  # else 202501011 is read as 1:00
            raise ValueError
        return pd.Series(read, index=pd.to_datetime(list(values), format="%Y%m%d%H", utc=True))
    except ValueError as error:
        what = f"an hour of {name} cannot be read"
        raise SourceError(what, where=NAME, cure=CURE) from error


def fetch(
    session: requests.Session, url: str, place: Place, low: pd.Timestamp, high: pd.Timestamp
) -> pd.DataFrame:
    """Ask for whole days, from `low` to `high`, and `parse` the answer.

    Raises
    ------
    SourceError
        If no usable answer comes; a `ServiceRefusal` for an error status.
    """
    params: dict[str, str | float] = {
        "latitude": place.latitude,
        "longitude": place.longitude,
        "start": f"{low:%Y%m%d}",
        "end": f"{high:%Y%m%d}",
        "community": "re",
        "parameters": ",".join(COLUMNS),
        "format": "json",
        "header": "True",
        "time-standard": "utc",
    }
    name = f"{NAME}, {low.year}"
    try:
        response = session.get(url, params=params)
    except requests.RequestException as error:
        raise SourceError(what_failed(error, name)) from error
    if not response.ok:
        raise refused(response, name)
    return parse(document(response.content))


URL = "https://power.larc.nasa.gov/api/temporal/hourly/point"
CREDIT = (
    "Data from the NASA Langley Research Center POWER Project, funded through the NASA Earth "
    "Science Directorate Applied Science Program"
)
CELL_NOTE = (
    "reanalysis of a grid cell some 50 km wide: it drizzles too often and misses local showers; "
    "compare it with a station where one is near"
)
CONNECT_S = 5.0
HEIGHT_DIFFERENCE_M = 200.0
"""A cell farther above or below the site is named in the notes [m]; P: common practice."""
CELL_DEG = (0.5, 0.625)
"""Size of the cells of the meteorology, whose middles lie on whole multiples of it [degrees]; those
of the radiation lie between whole degrees."""
KEPT_COLUMNS = [*(ours for ours, _ in COLUMNS.values()), CELL_HEIGHT]


def reanalysis_record(
    place: Place,
    start: pd.Timestamp | str,
    end: pd.Timestamp | str,
    *,
    cache_dir: Path | None = None,
    url: str = URL,
    timeout_s: float = 120.0,
    backoff_s: float = 1.0,
    progress: Callable[[int], None] | None = None,
) -> pd.DataFrame:
    """Past hours of the reanalysis, year by year, each whole year kept once read.

    Neighbours share an answer: the middle of what has the same cells as the site is asked for, and
    what is kept is of there. A year that is still running is kept for `OLDEST_COPY_H`.

    Parameters
    ----------
    place : Place
        The site.
    start, end : timestamp
        First and last hour, UTC where they carry no offset.
    cache_dir : Path, optional
        Folder for what is kept; by default the user's cache.
    url : str
        The service.
    timeout_s : float
        Longest wait for one year, with its retries [s].
    backoff_s : float
        Wait before the first retry [s], doubled for the next.
    progress : callable, optional
        Called with each year before it is read.

    Returns
    -------
    pandas.DataFrame
        The checked hourly table, stamped at the start of the hour; NaN where the service has
        no value yet. ``attrs["source"]["fetched"]`` is the time at which the last year was read.

    Raises
    ------
    SourceError
        No answer in time, an error of the service, other units than asserted, no value, or a
        cache folder that cannot be made.
    """
    first, last = _hour(start), _hour(end)
    if last < first:
        raise ValueError(f"the record ends ({last}) before it starts ({first})")
    folder = cache_folder(cache_dir)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SourceError(cache_trouble(folder, error)) from error
    years, notes = [], [CELL_NOTE]
    with requests.Session() as session:
        make_polite(session, (CONNECT_S, timeout_s), timeout_s, backoff_s)
        cell = shared_point(place)
        ask = partial(fetch, session, url, cell)
        for year in range(first.year, last.year + 1):
            if progress is not None:
                progress(year)
            name = f"{cell.latitude:.4f}_{cell.longitude:.4f}_{year}.csv.gz"
            hours, fetched, trouble = _year(ask, year, last, folder / "power" / name)
            years.append(hours)
            if trouble and trouble not in notes:
                notes.append(trouble)
    table = pd.concat(years).loc[first:last]
    empty = [f"no {name}" for name in ("temp_c", "rain_mm") if table[name].isna().all()]
    if empty:
        what = f"{' and '.join(empty)} in the hours asked for"
        raise SourceError(what, where=NAME, expected=f"{first} to {last}", cure=CURE)
    unknown = int(table[["temp_c", "rain_mm"]].isna().any(axis=1).sum())
    if unknown:
        notes.append(f"{unknown} of {len(table)} hours have no temperature or no rain: unknown")
    cell_m = float(table.pop(CELL_HEIGHT).max())
    if abs(cell_m - place.elevation_m) > HEIGHT_DIFFERENCE_M:
        notes.append(
            f"the cell's mean height is {cell_m:.0f} m, the site's {place.elevation_m:g} m"
        )
    table.attrs["notes"] = notes
    table.attrs["source"] = {
        "name": NAME,
        "issued": None,
        "fetched": fetched,
        "credit": CREDIT,
        "stale": False,
    }
    return check_hourly(table, name=NAME)


def shared_point(place: Place) -> Place:
    """The middle of what has the same cells of meteorology and of radiation as a place.

    Examples
    --------
    >>> point = shared_point(Place(40.6, 22.4, 50.0, "Europe/Athens"))
    >>> point.latitude, point.longitude
    (40.5, 22.5)
    """
    middle = []
    for at, size in zip((place.latitude, place.longitude), CELL_DEG, strict=True):
        cell, whole = math.floor(at / size + 0.5) * size, math.floor(at)
        low, high = max(cell - size / 2, whole), min(cell + size / 2, whole + 1)
        middle.append((low + high) / 2)
    latitude, longitude = middle
    return replace(place, latitude=min(latitude, 90.0), longitude=min(longitude, 180.0))


def _hour(value: pd.Timestamp | str) -> pd.Timestamp:
    stamp = pd.Timestamp(value)
    stamp = stamp.tz_localize("UTC") if stamp.tz is None else stamp.tz_convert("UTC")
    return stamp.floor("h")


def _year(
    ask: Callable[[pd.Timestamp, pd.Timestamp], pd.DataFrame],
    year: int,
    last: pd.Timestamp,
    kept: Path,
) -> tuple[pd.DataFrame, pd.Timestamp, str]:
    """The hours of a year, when they were fetched, and why they cannot be kept."""
    low, high = pd.Timestamp(year, 1, 1, tz="UTC"), pd.Timestamp(year, 12, 31, tz="UTC")
    until = min(high, last.normalize())
    hours = _hours(low, until)
    running = kept.with_name(f"running_{kept.name}")
    for file, wanted, oldest_h in (
        (kept, _hours(low, high), math.inf), (running, hours, OLDEST_COPY_H),
    ):  # fmt: skip
        table = _read_kept(file, wanted, oldest_h)
        if table is not None:
            return table, _written(file), ""
    answer = ask(low, until)
    fetched = pd.Timestamp.now("UTC")
    table = answer.reindex(hours)  # an hour that the answer leaves out is unknown
    if not hours.isin(answer.index).all():
        return table, fetched, ""
    settled = until == high and table[["temp_c", "rain_mm"]].iloc[-1].notna().all()
    try:
        _keep(table, kept if settled else running)
    except OSError as error:
        why = error.strerror or error
        return table, fetched, f"what is read cannot be kept in {kept.parent} ({why})"
    return table, fetched, ""


def _written(file: Path) -> pd.Timestamp:
    return pd.Timestamp(file.stat().st_mtime, unit="s", tz="UTC")


def _hours(low: pd.Timestamp, high: pd.Timestamp) -> pd.DatetimeIndex:
    return pd.date_range(low, high + pd.Timedelta(hours=23), freq="h", name="time")


def _read_kept(kept: Path, hours: pd.DatetimeIndex, oldest_h: float) -> pd.DataFrame | None:
    """A year that was kept; None where there is none, or it is damaged or old: to be read anew."""
    try:
        written = _written(kept)
        if (pd.Timestamp.now("UTC") - written) / pd.Timedelta(hours=1) > oldest_h:
            return None
        table = _parsed(kept, written)
    except (OSError, EOFError, ValueError, zlib.error):
        return None
    whole = table.index.equals(hours) and list(table.columns) == KEPT_COLUMNS
    return table if whole else None


@lru_cache(maxsize=64)
def _parsed(kept: Path, written: pd.Timestamp) -> pd.DataFrame:
    """The table of a file as it was written then; sites of one cell, one after another, share it.

    Raises
    ------
    OSError, EOFError, ValueError, zlib.error
        If it is damaged.
    """
    table = pd.read_csv(kept, index_col="time").astype("float64")
    table.index = pd.DatetimeIndex(pd.to_datetime(table.index, utc=True), name="time")
    return table


def _keep(table: pd.DataFrame, kept: Path) -> None:
    kept.parent.mkdir(parents=True, exist_ok=True)
    half = kept.with_name(f"{kept.name}.{os.getpid()}.part")
    try:
        table.to_csv(half, compression="gzip", date_format="%Y-%m-%dT%H:%MZ")
        os.replace(half, kept)
    finally:
        half.unlink(missing_ok=True)
