"""Past records of weather stations, through the library `meteostat`.

The library answers a failure with an empty table, fills gaps with forecasts, keeps what it read
for a month and waits without an end; each of these is turned off or refused here.
"""

from __future__ import annotations

import logging
import os
import socket
import sqlite3
import urllib.error
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pandas as pd

from spraywindow.errors import SourceError, describe
from spraywindow.place import Place
from spraywindow.sources.session import cache_folder
from spraywindow.sources.station_rows import CREDIT, merge_stations, winter_notes
from spraywindow.weather.hourly import check_hourly

YEARS_A_CALL = 3
"""The library refuses longer calls."""
MOST_STATIONS = 10
"""The library refuses more stations a call."""
STATIONS = 4
HEIGHT_DIFFERENCE_M = 300.0
"""A station farther above or below the site is left out [m] (about 2 degC); P: common practice,
no source."""
TIMEOUT_S = 20.0
PARAMETERS = ("temp", "rhum", "prcp", "wspd", "wpgt", "wdir", "cldc")


def station_record(
    place: Place,
    start: pd.Timestamp | str,
    end: pd.Timestamp | str,
    *,
    cache_dir: Path | None = None,
    radius_km: float = 50.0,
    stations: int = STATIONS,
    timeout_s: float = TIMEOUT_S,
) -> pd.DataFrame:
    """Past hours from the weather stations near a place.

    Parameters
    ----------
    place : Place
        The site.
    start, end : timestamp
        First and last hour, UTC where they carry no offset.
    cache_dir : Path, optional
        Folder for what is kept; by default the user's cache.
    radius_km : float
        How far a station may lie [km].
    stations : int
        How many of the nearest are asked, 1 to 10.
    timeout_s : float
        Longest wait for each piece of an answer [s].

    Returns
    -------
    pandas.DataFrame
        The checked hourly table. Temperature, dew point, wind and cloud come from the nearest
        station that has them; rain is the wettest of the stations where the nearest one that
        measures rain knows it, else unknown. ``attrs["notes"]`` names the stations and how
        complete their rain was in each winter.

    Raises
    ------
    SourceError
        No station near, no answer, or an answer without any hour.
    """
    first, last = _hour(start), _hour(end)
    if last < first:
        raise ValueError(f"the record ends ({last}) before it starts ({first})")
    folder = cache_folder(cache_dir) / "meteostat"
    with _careful(folder, timeout_s) as library, _heard() as complaints:
        near = _near(library, place, radius_km, min(stations, MOST_STATIONS), folder)
        # A sum over the hour that ends at a stamp needs one stamp more.
        frames = [
            _fetch(library, list(near.index), *span)
            for span in _spans(first, last + pd.Timedelta(hours=1))
        ]
        observed = _observation_sources(library)
    found = [frame for frame in frames if frame is not None and len(frame)]
    names = ", ".join(
        f"{row['name']} ({row['distance'] / 1000:.0f} km)" for _, row in near.iterrows()
    )
    if not found:
        raise SourceError(
            describe(
                "the station archive gave nothing",
                where="meteostat",
                expected=f"hours of {first.date()} to {last.date()} at {names}",
                got=complaints[-1] if complaints else None,
                cure="check the network, take the reanalysis, or give a weather file",
            )
        )
    grid = pd.date_range(first, last, freq="h", name="time")
    table, notes = merge_stations(pd.concat(found), list(near.index), grid, observed)
    notes = [f"stations: {names}", *notes, *winter_notes(table["rain_mm"], place.latitude)]
    table.attrs["notes"] = notes
    table.attrs["source"] = {
        "name": f"stations through meteostat: {names}",
        "issued": None,
        "fetched": None,
        "credit": CREDIT,
        "stale": False,
    }
    return check_hourly(table, name="station record")


def _hour(value: pd.Timestamp | str) -> pd.Timestamp:
    stamp = pd.Timestamp(value)
    stamp = stamp.tz_localize("UTC") if stamp.tz is None else stamp.tz_convert("UTC")
    return stamp.floor("h")


def _spans(first: pd.Timestamp, last: pd.Timestamp) -> list[tuple[pd.Timestamp, pd.Timestamp]]:
    spans = []
    for year in range(first.year, last.year + 1, YEARS_A_CALL):
        low = max(first, pd.Timestamp(year, 1, 1, tz="UTC"))
        high = min(last, pd.Timestamp(year + YEARS_A_CALL - 1, 12, 31, 23, tz="UTC"))
        spans.append((low, high))
    return spans


@contextmanager
def _careful(folder: Path, timeout_s: float) -> Iterator[Any]:
    import meteostat

    folder.mkdir(parents=True, exist_ok=True)
    wanted: dict[str, Any] = {
        "include_model_data": False,  # no forecasts in the gaps of observations
        "cache_ttl": 0,  # else a month is the least that anything is kept
        "cache_autoclean": False,  # else everything older than the line above goes
        "cache_directory": str(folder),
        "network_timeout": timeout_s,
        "network_max_retries": 1,
    }
    if "MS_STATIONS_DB_FILE" not in os.environ:
        wanted["stations_db_file"] = str(folder / "stations.db")
    config = meteostat.config
    before = {key: getattr(config, key) for key in wanted}
    # The library reads its tables through urllib, which knows only the global time-out.
    waited = socket.getdefaulttimeout()
    try:
        for key, value in wanted.items():
            setattr(config, key, value)
        socket.setdefaulttimeout(timeout_s)
        yield meteostat
    finally:
        socket.setdefaulttimeout(waited)
        for key, value in before.items():
            setattr(config, key, value)


@contextmanager
def _heard() -> Iterator[list[str]]:
    # The library logs failures and goes on; without a handler, Python prints the traceback.
    complaints: list[str] = []

    class Ear(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            error = record.exc_info[1] if record.exc_info else None
            said = _no_connection(error) or str(error or record.getMessage())
            complaints.append(" ".join(said.split())[:160])

    logger, ear = logging.getLogger("meteostat"), Ear(logging.WARNING)
    logger.addHandler(ear)
    try:
        yield complaints
    finally:
        logger.removeHandler(ear)


def _no_connection(error: BaseException | None) -> str:
    """Say so where an error is the network's; its own text is an address and a trace."""
    import requests

    if isinstance(error, urllib.error.HTTPError):
        return ""  # the server did answer
    lost = (requests.ConnectionError, requests.Timeout, urllib.error.URLError, TimeoutError)
    return "no connection" if isinstance(error, lost) else ""


def _near(
    library: Any, place: Place, radius_km: float, stations: int, folder: Path
) -> pd.DataFrame:
    point = library.Point(place.latitude, place.longitude, round(place.elevation_m))
    try:
        near = library.stations.nearby(point, radius=int(radius_km * 1000), limit=3 * stations)
    except Exception as error:  # the library raises bare ones
        if isinstance(error.__cause__ or error, sqlite3.Error | pd.errors.DatabaseError):
            (folder / "stations.db").unlink(missing_ok=True)  # a broken download would stay a week
        raise SourceError(
            describe(
                f"the list of stations cannot be read ({' '.join(str(error).split())[:120]})",
                where="meteostat",
                cure="check the network, or give a weather file",
            )
        ) from error
    level = (near["elevation"].astype(float) - place.elevation_m).abs() <= HEIGHT_DIFFERENCE_M
    if not level.any():
        raise SourceError(
            describe(
                f"no station within {radius_km:g} km and {HEIGHT_DIFFERENCE_M:g} m of height",
                where="meteostat",
                got=f"{len(near)} near, all higher or lower" if len(near) else None,
                cure="widen the radius, or take the reanalysis",
            )
        )
    chosen: pd.DataFrame = near[level].head(stations)
    return chosen


def _fetch(
    library: Any, stations: list[str], first: pd.Timestamp, last: pd.Timestamp
) -> pd.DataFrame | None:
    span = (first.tz_localize(None).to_pydatetime(), last.tz_localize(None).to_pydatetime())
    parameters = [library.Parameter(name) for name in PARAMETERS]
    series = library.hourly(stations, *span, parameters=parameters)
    frame: pd.DataFrame | None = series.fetch(sources=True)
    return frame


def _observation_sources(library: Any) -> frozenset[str]:
    from meteostat.core.providers import provider_service
    from meteostat.enumerations import Grade

    measured = (Grade.RECORD, Grade.OBSERVATION)
    return frozenset(str(item.id) for item in provider_service.providers if item.grade in measured)
