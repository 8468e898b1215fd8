"""Hours of the NASA POWER reanalysis: one request, its answer read and checked.

Asked through the session that all services share. pvlib reads this service too
(`pvlib.iotools.get_nasa_power`), but it waits without an end, does not try again, and hides the
status of an error; it is the oracle of the tests.

References
----------
.. [1] NASA POWER, *Hourly API* documentation (power.larc.nasa.gov/docs/services/api): values by
   parameter and hour ``YYYYMMDDHH``, stamped at the start of the hour.
"""

from __future__ import annotations

import math
from typing import Any

import pandas as pd
import requests

from spraywindow.errors import SourceError, describe
from spraywindow.place import Place
from spraywindow.sources.reply import CURE, block, document, numbers, refused, what_failed

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
    if str(standard).upper() != "UTC":
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
        return pd.Series(read, index=pd.to_datetime(list(values), format="%Y%m%d%H", utc=True))
    except ValueError as error:
        what = f"an hour of {name} cannot be read"
        raise SourceError(describe(what, where=NAME, cure=CURE)) from error


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
