"""Hourly forecast of Open-Meteo: worldwide, free for non-commercial use, by name only.

The service stamps sums, means and maxima at the *end* of their hour; they are moved to its start
here, once, by the hour and not by the row: where a stamp lacks, its hour stays unknown. Instants
stay.

References
----------
.. [1] Open-Meteo, *Weather Forecast API* documentation (open-meteo.com/en/docs): the table
   "Hourly Parameter Definition", column "Valid time".
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any, NamedTuple

import pandas as pd

from spraywindow.errors import InputError, brief
from spraywindow.place import Place
from spraywindow.sources.http import block, get_json, hour_stamps, numbers
from spraywindow.sources.services.finish import Service, finish, hours_between
from spraywindow.units import convert
from spraywindow.weather import COLUMNS, REQUIRED

if TYPE_CHECKING:
    from requests_cache import CachedSession

BASE_URL = "https://api.open-meteo.com/v1"
CUSTOMER_URL = "https://customer-api.open-meteo.com/v1"
SERVICE = Service(
    "Open-Meteo", "Weather data by Open-Meteo.com, CC BY 4.0, https://open-meteo.com/", 12
)
PAST_DAYS, FORECAST_DAYS = 2, 10


class Variable(NamedTuple):
    """Their name, our name, and whether the value tells of the hour that ends at its stamp."""

    theirs: str
    ours: str
    hour_ending: bool


VARIABLES = (
    Variable("temperature_2m", "temp_c", False),
    Variable("dew_point_2m", "dew_point_c", False),
    Variable("wind_speed_10m", "wind_ms", False),
    Variable("precipitation", "rain_mm", True),
    Variable("wind_gusts_10m", "gust_ms", True),
    Variable("wind_direction_10m", "wind_from_deg", False),
    Variable("precipitation_probability", "rain_chance", True),
    Variable("cloud_cover", "cloud", False),
    Variable("shortwave_radiation", "solar_wm2", True),
    Variable("surface_pressure", "pressure_hpa", False),
)


def parse(payload: Any, ending: str = "") -> pd.DataFrame:
    """Read a reply of the forecast address, or one member of the ensemble's.

    Parameters
    ----------
    payload : object
        The JSON document, for one place, asked with ``timezone=GMT``.
    ending : str
        What follows the names of the variables: of a member ``"_member01"``, of one of several
        models ``"_member01_MODEL"``.

    Returns
    -------
    pandas.DataFrame
        Contract columns on hour starts, UTC; nulls, and variables whose unit is "undefined", are
        NaN; a required variable that is absent is NaN, an optional one is left out.

    Raises
    ------
    SourceError
        If a block is missing, the times are not UTC, or a unit is not what it should be.
    """
    if isinstance(payload, list):
        if len(payload) != 1:
            raise SERVICE.odd(f"{len(payload)} places came where one was asked")
        payload = payload[0]
    times = block(payload, "hourly", "time", service=SERVICE.name, kind=list)
    units = block(payload, "hourly_units", service=SERVICE.name, kind=dict)
    if payload.get("utc_offset_seconds") != 0:
        # one of today's offsets is put on all stamps, so local ones cannot be undone
        raise SERVICE.odd("the times are not UTC")
    if units.get("time") != "iso8601":
        raise SERVICE.odd("the times are not ISO 8601")
    told = hour_stamps(times, service=SERVICE.name)
    index = hours_between(told[0], told[-1], service=SERVICE.name)
    hourly = payload["hourly"]
    columns = {}
    for variable in VARIABLES:
        name = variable.theirs + ending
        if name not in hourly:
            if variable.ours in REQUIRED:
                columns[variable.ours] = pd.Series(float("nan"), index=index)
            continue
        values = numbers(hourly[name], service=SERVICE.name, where=name)
        if len(values) != len(told):
            raise SERVICE.odd(f"{name} has {len(values)} values for {len(told)} hours")
        series = pd.Series(values, index=told).reindex(index)
        columns[variable.ours] = _in_our_unit(series, variable, units.get(name))
    return pd.DataFrame(columns, index=index)


def _in_our_unit(series: pd.Series, variable: Variable, unit: Any) -> pd.Series:
    if unit == "undefined":  # what a model without the variable answers, with a 200
        return pd.Series(float("nan"), index=series.index)
    try:
        values = convert(series.to_numpy(), unit, COLUMNS[variable.ours].unit)
    except InputError as error:
        raise SERVICE.odd(f"{variable.theirs} comes in {brief(unit)}") from error
    out = pd.Series(values, index=series.index)
    return out.shift(-1) if variable.hour_ending else out


def asked(place: Place, api_key: str | None) -> dict[str, str | int | float]:
    """What is asked of the service: all variables, two days back and ten ahead, in UTC."""
    params: dict[str, str | int | float] = {
        "latitude": round(place.latitude, 4),
        "longitude": round(place.longitude, 4),
        "elevation": round(place.elevation_m),
        "hourly": ",".join(variable.theirs for variable in VARIABLES),
        "timezone": "GMT",
        "wind_speed_unit": "ms",
        "past_days": PAST_DAYS,
        "forecast_days": FORECAST_DAYS,
    }
    return params | {"apikey": api_key} if api_key else params


def forecast(
    place: Place,
    *,
    now: pd.Timestamp,
    session: CachedSession,
    base_url: str | None = None,
    api_key: str | None = None,
) -> pd.DataFrame:
    """Fetch the forecast with the two days before it, checked.

    Parameters
    ----------
    place : Place
    now : pandas.Timestamp
        UTC.
    session : CachedSession
        From `spraywindow.sources.http.session.polite_session`.
    base_url : str, optional
        Another address of the service.
    api_key : str, optional
        Key of a paid plan; ``SPRAYWINDOW_OPENMETEO_KEY`` by default.

    Raises
    ------
    SourceError
        If no usable answer comes, or the time of the answer is not about `now`.
    """
    key = api_key or os.environ.get("SPRAYWINDOW_OPENMETEO_KEY")
    base = base_url or (CUSTOMER_URL if key else BASE_URL)
    params = asked(place, key)
    payload, answer = get_json(session, f"{base}/forecast", params, now=now, service=SERVICE.name)
    table = parse(payload)
    forecast_from = min(now, answer.fetched).floor("h")
    return finish(table, SERVICE, answer, issued=None, forecast_from=forecast_from, now=now)
