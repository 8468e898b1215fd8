"""A past without gaps for any place: the NASA POWER reanalysis, through pvlib."""

from __future__ import annotations

import os
import queue
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd

from spraywindow.errors import SourceError, describe
from spraywindow.place import Place
from spraywindow.sources.session import cache_folder
from spraywindow.weather.hourly import check_hourly

URL = "https://power.larc.nasa.gov/api/temporal/hourly/point"
NAME = "NASA POWER reanalysis"
CREDIT = (
    "Data from the NASA Langley Research Center POWER Project, funded through the NASA Earth "
    "Science Directorate Applied Science Program"
)
COLUMNS: dict[str, tuple[str, tuple[str, ...]]] = {
    # service's name: our name, its units of the 're' community (any other is refused)
    "T2M": ("temp_c", ("C",)),
    "T2MDEW": ("dew_point_c", ("C",)),
    "WS10M": ("wind_ms", ("m/s",)),
    "PRECTOTCORR": ("rain_mm", ("mm/hour", "mm/hr", "mm/h")),
    "ALLSKY_SFC_SW_DWN": ("solar_wm2", ("Wh/m^2", "W/m^2", "Wh/m2", "W/m2")),
    "WD10M": ("wind_from_deg", ("Degrees", "degrees")),
}
CELL_NOTE = (
    "reanalysis of a grid cell some 50 km wide: it drizzles too often and misses local showers; "
    "compare it with a station where one is near"
)
HEIGHT_DIFFERENCE_M = 200.0
"""A cell farther above or below the site is named in the notes [m]; P: common practice."""


def reanalysis_record(
    place: Place,
    start: pd.Timestamp | str,
    end: pd.Timestamp | str,
    *,
    cache_dir: Path | None = None,
    url: str = URL,
    timeout_s: float = 120.0,
    progress: Callable[[int], None] | None = None,
) -> pd.DataFrame:
    """Past hours of the reanalysis, year by year, each whole year kept once read.

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
        Longest wait for one year [s].
    progress : callable, optional
        Called with each year before it is read.

    Returns
    -------
    pandas.DataFrame
        The checked hourly table, stamped at the start of the hour; NaN where the service has
        no value yet.

    Raises
    ------
    SourceError
        No answer in time, an error of the service, other units than asserted, or no value.
    """
    first, last = _hour(start), _hour(end)
    if last < first:
        raise ValueError(f"the record ends ({last}) before it starts ({first})")
    folder = cache_folder(cache_dir) / "power"
    years = []
    for year in range(first.year, last.year + 1):
        if progress is not None:
            progress(year)
        years.append(_year(place, year, last, folder, url, timeout_s))
    table = pd.concat(years).loc[first:last]
    cell_m = float(table.pop("cell_elevation_m").iloc[0])
    notes = [CELL_NOTE]
    if abs(cell_m - place.elevation_m) > HEIGHT_DIFFERENCE_M:
        notes.append(
            f"the cell's mean height is {cell_m:.0f} m, the site's {place.elevation_m:g} m"
        )
    table.attrs["notes"] = notes
    table.attrs["source"] = {
        "name": NAME,
        "issued": None,
        "fetched": None,
        "credit": CREDIT,
        "stale": False,
    }
    return check_hourly(table, name=NAME)


def parse_power(data: pd.DataFrame, meta: dict[str, Any]) -> pd.DataFrame:
    """The service's table, as pvlib reads it, in our names.

    Raises
    ------
    SourceError
        If a column lacks, a unit is not the one asserted, the times are not UTC, or there is
        no temperature or rain at all.
    """
    problems = []
    for name, (column, units) in COLUMNS.items():
        unit = meta["parameters"].get(name, {}).get("units")
        if name not in data.columns or unit not in units:
            problems.append(
                describe(
                    f"no {column} in a known unit",
                    where=name,
                    expected=" or ".join(units),
                    got=unit,
                )
            )
    if str(meta.get("time_standard", "")).upper() != "UTC":
        problems.append(
            describe("other times than asked for", expected="UTC", got=meta.get("time_standard"))
        )
    if not problems:
        problems = [
            f"no value of {name}" for name in ("T2M", "PRECTOTCORR") if data[name].isna().all()
        ]
    if problems:
        raise SourceError(f"{NAME}: " + " | ".join(problems))
    table = data[list(COLUMNS)].astype("float64")
    table = table.rename(columns={name: column for name, (column, _) in COLUMNS.items()})
    table.index.name = "time"
    table["cell_elevation_m"] = float(meta["altitude"])
    return table


def _hour(value: pd.Timestamp | str) -> pd.Timestamp:
    stamp = pd.Timestamp(value)
    stamp = stamp.tz_localize("UTC") if stamp.tz is None else stamp.tz_convert("UTC")
    return stamp.floor("h")


def _year(
    place: Place, year: int, last: pd.Timestamp, folder: Path, url: str, timeout_s: float
) -> pd.DataFrame:
    low, high = pd.Timestamp(year, 1, 1), pd.Timestamp(year, 12, 31)
    kept = folder / f"{place.latitude:.4f}_{place.longitude:.4f}_{year}.csv.gz"
    if kept.exists():
        table = pd.read_csv(kept, index_col="time")
        table.index = pd.DatetimeIndex(pd.to_datetime(table.index, utc=True))
        return table
    # The year that is still running is asked for up to the last hour wanted, and is not kept.
    until = min(high, last.tz_localize(None).normalize())
    table = _bounded(lambda: _ask(place, low, until, url), timeout_s, year)
    if until == high and table["temp_c"].notna().iloc[-1] and table["rain_mm"].notna().iloc[-1]:
        folder.mkdir(parents=True, exist_ok=True)
        half = kept.with_name(f"{kept.name}.{os.getpid()}.part")
        table.to_csv(half, compression="gzip", date_format="%Y-%m-%dT%H:%MZ")
        os.replace(half, kept)
    return table


def _ask(place: Place, low: pd.Timestamp, high: pd.Timestamp, url: str) -> pd.DataFrame:
    import requests
    from pvlib.iotools import get_nasa_power

    from spraywindow.sources.reply import what_failed

    try:
        data, meta = get_nasa_power(
            place.latitude,
            place.longitude,
            low,
            high,
            parameters=list(COLUMNS),
            community="re",
            map_variables=False,
            url=url,
        )
        return parse_power(data, meta)
    except (requests.ConnectionError, requests.Timeout) as error:
        raise SourceError(what_failed(error, NAME)) from error
    except (requests.RequestException, KeyError, ValueError, TypeError, IndexError) as error:
        text = " ".join(str(error).split())[:200]
        raise SourceError(
            describe(
                f"no usable answer for {low.year} ({type(error).__name__}: {text})",
                where=NAME,
                cure="years that are read already are kept; try again later",
            )
        ) from error


def _bounded(ask: Callable[[], pd.DataFrame], timeout_s: float, year: int) -> pd.DataFrame:
    # pvlib asks without a time-out: the wait is bounded here, whatever the server does.
    answers: queue.Queue[pd.DataFrame | BaseException] = queue.Queue()

    def work() -> None:
        try:
            answers.put(ask())
        except BaseException as error:  # handed on to the caller below
            answers.put(error)

    threading.Thread(target=work, daemon=True).start()
    try:
        answer = answers.get(timeout=timeout_s)
    except queue.Empty:
        raise SourceError(
            describe(
                f"no answer for {year} within {timeout_s:g} s",
                where=NAME,
                cure="try again later; years that are read already are kept",
            )
        ) from None
    if isinstance(answer, BaseException):
        raise answer
    return answer
