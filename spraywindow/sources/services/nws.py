"""Hourly forecast of the US National Weather Service: gridpoint layers, public domain, US only.

Equal values in a row come merged, so they are laid out on their hours again; rain amounts are
totals of 1 to 6 h, never repeated, and end earlier than the other layers.

References
----------
.. [1] National Weather Service, *API Web Service* and *Gridpoints* documentation
   (weather.gov/documentation/services-web-api).
"""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import InputError, SourceError, brief
from spraywindow.place import Place
from spraywindow.sources.http import ServiceRefusal, block, get_json, numbers
from spraywindow.sources.services.finish import (
    HOUR,
    RainTotal,
    Service,
    finish,
    hours_between,
    newest,
    rain_columns,
)
from spraywindow.units import convert
from spraywindow.weather import COLUMNS, REQUIRED

if TYPE_CHECKING:
    from requests_cache import CachedSession

BASE_URL = "https://api.weather.gov"
SERVICE = Service(
    "US National Weather Service",
    "Forecast by the US National Weather Service (public domain), https://www.weather.gov/",
    6,
)
HEADERS = {"Accept": "application/geo+json"}
LAYERS = {  # their name: our name; each holds on every hour of its interval
    "temperature": "temp_c",
    "dewpoint": "dew_point_c",
    "windSpeed": "wind_ms",
    "windGust": "gust_ms",
    "windDirection": "wind_from_deg",
    "probabilityOfPrecipitation": "rain_chance",
    "skyCover": "cloud",
}
RAIN = "quantitativePrecipitation"
LONGEST_INTERVAL_H = 400
Floats = NDArray[np.float64]
GRID_KEPT_H = 30 * 24.0
"""Which grid square a point lies in hardly ever changes: an old answer may stand in [h]."""


class OutsideServiceArea(SourceError):
    """The service has no forecast for the point."""


class Validity(NamedTuple):
    """A value that holds for, or is the total of, ``[start, start + hours)``."""

    start: pd.Timestamp
    hours: int
    value: float


def parse(payload: Any) -> pd.DataFrame:
    """Read a reply of the gridpoint address.

    Parameters
    ----------
    payload : object
        The GeoJSON document.

    Returns
    -------
    pandas.DataFrame
        Contract columns with `PERIOD_COLUMNS`; hours that a layer does not tell, and required
        layers that the office leaves out, are NaN; ``attrs["issued"]`` is ``updateTime``.

    Raises
    ------
    SourceError
        If a block is missing, or a layer has an unknown unit.
    """
    properties = block(payload, "properties", service=SERVICE.name)
    updated = block(properties, "updateTime", service=SERVICE.name)
    layers = {name: _layer(properties, name, ours) for name, ours in LAYERS.items()}
    rain = _layer(properties, RAIN, "rain_mm")
    told = [interval for layer in layers.values() for interval in layer]
    if not told:
        raise SERVICE.odd("the answer holds no layers")
    last = max(i.start + (i.hours - 1) * HOUR for i in told)
    index = hours_between(min(i.start for i in told), last, service=SERVICE.name)
    expanded = {
        name: _expanded(index, layer)
        for name, layer in layers.items()
        if layer or LAYERS[name] in REQUIRED
    }
    columns = {LAYERS[name]: values for name, (values, _) in expanded.items()}
    sound = _sound_totals(rain)
    amounts = rain_columns(index, sound)
    table = pd.DataFrame(columns, index=index).join(amounts)
    differ = {name: count for name, (_, count) in expanded.items() if count}
    if len(sound) < len(set(rain)):
        differ[RAIN] = len({
            total.start + hour * HOUR
            for total in set(rain).difference(sound) for hour in range(total.hours)
        })  # fmt: skip
    table.attrs["notes"] = amounts.attrs["notes"] + [
        f"{name}: {count} hours are told more than one thing and are unknown"
        for name, count in differ.items()
    ]
    table.attrs["issued"] = _time(updated)
    return table


def _layer(properties: Any, name: str, ours: str) -> list[Validity]:
    """Read a layer in our unit; an absent or empty one is an empty list."""
    layer = properties.get(name) or {}
    given = layer.get("values") or [] if isinstance(layer, dict) else None
    if not isinstance(given, list) or not all(isinstance(entry, dict) for entry in given):
        raise SERVICE.odd(f"{name} is not a list of intervals")
    if not given:
        return []
    values = numbers([entry.get("value") for entry in given], service=SERVICE.name, where=name)
    try:
        values = convert(values, layer.get("uom"), COLUMNS[ours].unit)
    except InputError as error:
        raise SERVICE.odd(f"{name} comes in {brief(layer.get('uom'))}") from error
    intervals = []
    for entry, value in zip(given, values, strict=True):
        valid = entry.get("validTime")
        odd = SERVICE.odd(f"{name} has a validTime {brief(valid)}")
        if not isinstance(valid, str):
            raise odd
        start, _, duration = valid.partition("/")
        first = _time(start)
        try:
            hours = pd.Timedelta(duration) / HOUR
        except ValueError as error:
            raise odd from error
        if not 0 < hours <= LONGEST_INTERVAL_H:
            raise odd
        if first == first.floor("h") and hours == int(hours):  # else it tells no whole hours
            intervals.append(Validity(first, int(hours), float(value)))
    return intervals


def _expanded(index: pd.DatetimeIndex, layer: list[Validity]) -> tuple[Floats, int]:
    """Lay each value out on all hours of its interval; count those that are told differently.

    These are unknown: intervals that overlap and differ contradict each other.
    """
    low, high = np.full(len(index), np.inf), np.full(len(index), -np.inf)
    for start, hours, value in layer:
        first = int((start - index[0]) / HOUR)
        here = slice(first, first + hours)
        low[here], high[here] = np.minimum(low[here], value), np.maximum(high[here], value)
    return np.where(low == high, low, np.nan), int(np.count_nonzero(low < high))


def _sound_totals(rain: list[Validity]) -> list[RainTotal]:
    """Leave out totals that share an hour with another one: both cannot be right."""
    totals = [RainTotal(*interval) for interval in set(rain)]
    told = Counter(t.start + hour * HOUR for t in totals for hour in range(t.hours))
    return [t for t in totals if all(told[t.start + hour * HOUR] == 1 for hour in range(t.hours))]


def _time(text: Any) -> pd.Timestamp:
    try:
        time = pd.Timestamp(text)
        if time.tzinfo is not None:
            return time.tz_convert("UTC")
    except (ValueError, TypeError):
        pass
    raise SERVICE.odd(f"a stamp is not a time: {brief(text)}")


def forecast(
    place: Place, *, now: pd.Timestamp, session: CachedSession, base_url: str = BASE_URL
) -> pd.DataFrame:
    """Find the grid square of a place and fetch its forecast, checked.

    Parameters
    ----------
    place : Place
    now : pandas.Timestamp
        UTC.
    session : CachedSession
        From `spraywindow.sources.http.session.polite_session`.
    base_url : str
        Another address of the service.

    Raises
    ------
    OutsideServiceArea
        If the service answers that it does not serve the point.
    SourceError
        If no usable answer comes, or the forecast was issued more than a day ago.
    """
    # 4 decimals and no trailing zeros, else the service redirects
    point = ",".join(
        f"{round(x, 4):.4f}".rstrip("0").rstrip(".") for x in (place.latitude, place.longitude)
    )
    try:
        where, _ = get_json(
            session,
            f"{base_url}/points/{point}",
            headers=HEADERS,
            now=now,
            max_stale_h=GRID_KEPT_H,
            service=SERVICE.name,
        )
    except ServiceRefusal as error:
        if error.status == 404:
            raise OutsideServiceArea(str(error)) from error
        raise
    found = [
        block(where, "properties", key, service=SERVICE.name)
        for key in ("gridId", "gridX", "gridY")
    ]
    grid = [str(part) if isinstance(part, str | int) else "" for part in found]
    if not re.fullmatch(r"[A-Z]{3} \d{1,6} \d{1,6}", " ".join(grid)):
        raise SERVICE.odd(f"the grid square is not one: {brief(found)}")

    def read(fresh: bool) -> pd.DataFrame:
        payload, answer = get_json(
            session,
            f"{base_url}/gridpoints/{grid[0]}/{grid[1]},{grid[2]}",
            headers=HEADERS,
            now=now,
            service=SERVICE.name,
            fresh=fresh,
        )
        table = parse(payload)
        issued, first = table.attrs["issued"], table.index[0]
        return finish(table, SERVICE, answer, issued=issued, forecast_from=first, now=now)

    return newest(read)
