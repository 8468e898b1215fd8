"""Past records of weather stations, through the library `meteostat`.

The library answers a failure with an empty table, fills gaps with forecasts, keeps what it read
for a month and waits without an end; each of these is turned off or refused here.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pandas as pd

from spraywindow.errors import SourceError
from spraywindow.place import Place
from spraywindow.sources.http import Result, cache_folder, within
from spraywindow.sources.past.meteostat_library import Complaint, careful, heard, uncached
from spraywindow.sources.past.station_rows import CREDIT, merge_stations, winter_notes
from spraywindow.weather import check_hourly

MOST_STATIONS = 10
"""The library refuses more stations a call."""
STATIONS = 4
HEIGHT_DIFFERENCE_M = 300.0
"""A station farther above or below the site is left out [m] (about 2 degC); P: common practice,
no source."""
TIMEOUT_S = 20.0
LONGEST_S = 60.0
"""The stations are a check beside the reanalysis: nobody waits longer for them [s]; P."""
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
    longest_s: float = LONGEST_S,
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
    longest_s : float
        Longest wait for all answers together [s].

    Returns
    -------
    pandas.DataFrame
        The checked hourly table. Temperature, dew point, wind and cloud come from the nearest
        station that has them; rain is the wettest of the stations where the nearest one that
        measures rain knows it, else unknown. ``attrs["notes"]`` names the stations, the years for
        which an answer failed, and how complete the rain was in each winter.

    Raises
    ------
    SourceError
        No station near, no answer in time, an answer without any hour, or a cache folder that
        cannot be made.
    """
    first, last = _hour(start), _hour(end)
    if last < first:
        raise ValueError(f"the record ends ({last}) before it starts ({first})")
    folder = cache_folder(cache_dir) / "meteostat"
    bounded = _Bounded(longest_s)
    failed: dict[int, str] = {}
    with careful(folder, timeout_s) as library, heard() as complaints:
        limit = min(stations, MOST_STATIONS)
        near = bounded(partial(_near, library, place, radius_km, limit, folder))
        frames = []
        # A sum over the hour that ends at a stamp needs one stamp more.
        for low, high in _years(first, last + pd.Timedelta(hours=1)):
            before = len(complaints)
            ask = partial(_fetch, library, list(near.index), low, high, complaints)
            frames.append(bounded(ask))
            if len(complaints) > before:
                failed[low.year] = complaints[-1].text
        observed = _observation_sources(library)
    found = [frame for frame in frames if frame is not None and len(frame)]
    names = ", ".join(
        f"{row['name']} ({row['distance'] / 1000:.0f} km)" for _, row in near.iterrows()
    )
    if not found:
        raise SourceError(
            "the station archive gave nothing",
            where="meteostat",
            expected=f"hours of {first.date()} to {last.date()} at {names}",
            got=next(reversed(failed.values()), None),
            cure="check the network, take the reanalysis, or give a weather file",
        )
    grid = pd.date_range(first, last, freq="h", name="time")
    table, notes = merge_stations(pd.concat(found), list(near.index), grid, observed)
    if failed:
        years = ", ".join(map(str, failed))
        reason = next(reversed(failed.values()))
        notes.append(f"stations: not every answer came for {years} ({reason}): hours may lack")
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


def _years(first: pd.Timestamp, last: pd.Timestamp) -> list[tuple[pd.Timestamp, pd.Timestamp]]:
    """Asked for one by one, so that a failure is known by its year (three are the most a call)."""
    return [
        (
            max(first, pd.Timestamp(year, 1, 1, tz="UTC")),
            min(last, pd.Timestamp(year, 12, 31, 23, tz="UTC")),
        )
        for year in range(first.year, last.year + 1)
    ]


class _Bounded:
    """Several pieces of work under one limit of time [s]."""

    def __init__(self, longest_s: float) -> None:
        self.longest_s = longest_s
        self.end = time.monotonic() + longest_s

    def __call__(self, work: Callable[[], Result]) -> Result:
        try:
            return within(max(self.end - time.monotonic(), 0.0), work)
        except TimeoutError as error:
            raise SourceError(
                f"no answer within {self.longest_s:g} s",
                where="meteostat",
                cure="try again later (what came is kept), or give a weather file",
            ) from error


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
            f"the list of stations cannot be read ({' '.join(str(error).split())[:120]})",
            where="meteostat",
            cure="check the network, or give a weather file",
        ) from error
    level = (near["elevation"].astype(float) - place.elevation_m).abs() <= HEIGHT_DIFFERENCE_M
    if not level.any():
        raise SourceError(
            f"no station within {radius_km:g} km and {HEIGHT_DIFFERENCE_M:g} m of height",
            where="meteostat",
            got=f"{len(near)} near, all higher or lower" if len(near) else None,
            cure="widen the radius, or take the reanalysis",
        )
    chosen: pd.DataFrame = near[level].head(stations)
    return chosen


def _fetch(
    library: Any,
    stations: list[str],
    first: pd.Timestamp,
    last: pd.Timestamp,
    complaints: list[Complaint],
) -> pd.DataFrame | None:
    """The rows that came; what failed is among the complaints."""
    before = len(complaints)
    frame = _ask(library, stations, first, last, complaints)
    if any(complaint.grave for complaint in complaints[before:]):
        del complaints[before:]
        with uncached(library):
            frame = _ask(library, stations, first, last, complaints)
    return frame


def _ask(
    library: Any,
    stations: list[str],
    first: pd.Timestamp,
    last: pd.Timestamp,
    complaints: list[Complaint],
) -> pd.DataFrame | None:
    span = (first.tz_localize(None).to_pydatetime(), last.tz_localize(None).to_pydatetime())
    parameters = [library.Parameter(name) for name in PARAMETERS]
    try:
        series = library.hourly(stations, *span, parameters=parameters)
        frame: pd.DataFrame | None = series.fetch(sources=True)
    except Exception as error:  # the library raises bare ones, for a text among numbers too
        complaints.append(Complaint(" ".join(str(error).split())[:160], False))
        return None
    return frame


def _observation_sources(library: Any) -> frozenset[str]:
    from meteostat.core.providers import provider_service
    from meteostat.enumerations import Grade

    measured = (Grade.RECORD, Grade.OBSERVATION)
    return frozenset(str(item.id) for item in provider_service.providers if item.grade in measured)
