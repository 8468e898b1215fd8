"""Hourly forecast of MET Norway, Locationforecast 2.0 "complete": worldwide, free for all uses.

Two days and a half come by the hour, the week after in steps of 6 h: instants are interpolated
over one step, with the service's own extremes of the step beside them, and the rain totals stay
whole. The reply begins at the present hour. The Nordic area has chances of rain, which are read;
its percentiles of temperature and wind are not: the table has extremes of a step, and a
percentile is none.

References
----------
.. [1] MET Norway, *Locationforecast data model* and schema METJSONForecast (docs.api.met.no).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import InputError, brief
from spraywindow.place import Place
from spraywindow.sources import LONGEST_PLAIN_STEP_H
from spraywindow.sources.http import block, get_json, hour_stamps, numbers, stamps
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

BASE_URL = "https://api.met.no/weatherapi/locationforecast/2.0"
SERVICE = Service(
    "MET Norway", "Data from MET Norway, NLOD 2.0 and CC BY 4.0, https://api.met.no/", 12
)
INSTANTS = {  # their name: our name; all are on the stamp
    "air_temperature": "temp_c",
    "dew_point_temperature": "dew_point_c",
    "wind_speed": "wind_ms",
    "wind_speed_of_gust": "gust_ms",
    "wind_from_direction": "wind_from_deg",
    "cloud_area_fraction": "cloud",
}
AMOUNT, CHANCE = "precipitation_amount", "probability_of_precipitation"
EXTREMES = {"air_temperature_min": "temp_min_c", "air_temperature_max": "temp_max_c"}
PERIODS_H = {"next_1_hours": 1, "next_6_hours": 6}
LONGEST_STEP_H = 6


def parse(payload: Any) -> pd.DataFrame:
    """Read a reply of the "complete" (or "compact") address.

    Parameters
    ----------
    payload : object
        The JSON document.

    Returns
    -------
    pandas.DataFrame
        Contract columns with `PERIOD_COLUMNS` and `RANGE_COLUMNS`, on every hour from the first
        step to the last; ``attrs["issued"]`` is the service's ``updated_at``.

    Raises
    ------
    SourceError
        If a block is missing, a step is not on an hour, or a unit is not what it should be.
    """
    meta = block(payload, "properties", "meta", service=SERVICE.name)
    units = block(meta, "units", service=SERVICE.name, kind=dict)
    steps = block(payload, "properties", "timeseries", service=SERVICE.name, kind=list)
    given = [block(s, "time", service=SERVICE.name) for s in steps]
    times = hour_stamps(given, service=SERVICE.name)
    index = hours_between(times[0], times[-1], service=SERVICE.name)
    position = np.asarray((times - times[0]) / HOUR)
    hours = np.arange(len(index), dtype=float)
    left = np.searchsorted(position, hours, side="right") - 1
    right = np.minimum(left + 1, len(position) - 1)
    step_h = position[right] - position[left]
    share = np.where(step_h > 0, (hours - position[left]) / np.where(step_h > 0, step_h, 1), 0.0)
    bridged = (step_h <= LONGEST_STEP_H) & ~_holes(position)[left]

    columns: dict[str, NDArray[np.float64]] = {}
    details = [
        block(s, "data", "instant", "details", service=SERVICE.name, kind=dict) for s in steps
    ]
    for theirs, ours in INSTANTS.items():
        if ours not in REQUIRED and not any(theirs in step for step in details):
            continue
        values = _column([step.get(theirs) for step in details], theirs, ours, units)
        turn = values[right] - values[left]
        if ours == "wind_from_deg":
            turn = (turn + 180) % 360 - 180  # the short way round
        between = np.where(bridged, values[left] + share * turn, np.nan)
        columns[ours] = np.where(share == 0, values[left], between)
    if "wind_from_deg" in columns:
        columns["wind_from_deg"] = columns["wind_from_deg"] % 360

    fits = (step_h > 1) & (step_h <= LONGEST_STEP_H)
    for theirs, ours in EXTREMES.items():
        values = _column(_given(steps, "next_6_hours", theirs), theirs, "temp_c", units)
        columns[ours] = np.where(fits, values[left], np.nan)
    bare = np.isnan(columns["temp_min_c"]) | np.isnan(columns["temp_max_c"])
    # where others have extremes, the hour after a stamp is not known by the stamp either
    between = (share > 0) | bool((fits & ~bare).any())
    temp = np.where(between & (step_h > LONGEST_PLAIN_STEP_H) & bare, np.nan, columns["temp_c"])
    columns["temp_c"] = temp
    # the extremes are of the step's full hours: the stamp itself may lie outside them
    columns["temp_min_c"] = np.where(bare, np.nan, np.fmin(columns["temp_min_c"], temp))
    columns["temp_max_c"] = np.where(bare, np.nan, np.fmax(columns["temp_max_c"], temp))

    one, six = (
        _column(_given(steps, name, CHANCE), CHANCE, "rain_chance", units) for name in PERIODS_H
    )
    if not np.isnan(one).all() or not np.isnan(six).all():
        # of six hours it stands whole on each of them: none can be likelier wet
        own = np.where((step_h <= 1) & ~np.isnan(one[left]), one[left], six[left])
        columns["rain_chance"] = np.where(step_h <= LONGEST_STEP_H, own, np.nan)

    rain = rain_columns(index, *_totals(steps, times, units))
    table = pd.DataFrame(columns, index=index).join(rain)
    table.attrs["notes"] = rain.attrs["notes"]
    updated = block(meta, "updated_at", service=SERVICE.name)
    table.attrs["issued"] = stamps([updated], service=SERVICE.name)[0]
    return table


def _holes(position: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether steps lack after a stamp: its step is longer than a later one, or than the one
    before and shorter than the next. Forecasts grow coarser with their lead, all at once.
    """
    gaps = np.diff(position, append=np.inf)
    holes = gaps > np.minimum.accumulate(gaps[::-1])[::-1]
    holes[1:-2] |= (gaps[:-3] < gaps[1:-2]) & (gaps[1:-2] < gaps[2:-1])
    return np.asarray(holes)


def _totals(
    steps: list[Any], times: pd.DatetimeIndex, units: Any
) -> tuple[list[RainTotal], list[RainTotal]]:
    """Take the shortest total of each step: a longer one overlaps the next steps' own.

    Second are totals that check the hours: the hourly amounts were seen to hold less than their
    total; without what coarse steps hold.
    """
    columns = {
        hours: _column(_given(steps, name, AMOUNT), AMOUNT, "rain_mm", units)
        for name, hours in PERIODS_H.items()
    }
    hourly = {time for time, mm in zip(times, columns[1], strict=True) if not np.isnan(mm)}
    position = np.asarray((times - times[0]) / HOUR)
    steps_h, sound = np.diff(position, append=np.inf), ~_holes(position)
    coarse = {
        time: float(mm)
        for time, mm, step_h, is_step in zip(times, columns[6], steps_h, sound, strict=True)
        if 1 < step_h <= LONGEST_STEP_H and is_step and time not in hourly and mm > 0
    }
    totals: list[RainTotal] = []
    checks: list[RainTotal] = []
    for hours, column in columns.items():
        for time, mm in zip(times, column, strict=True):
            within = {time + hour * HOUR for hour in range(hours)}
            if hours == 1 or time not in hourly:
                totals.append(RainTotal(time, hours, float(mm)))
            if hours > 1 and time not in coarse:
                rest = float(mm) - sum(coarse.get(hour, 0.0) for hour in within)
                checks.append(RainTotal(time, hours, rest))
    checked = [time for time, mm in zip(times, columns[6], strict=True) if mm >= 0]
    if any(time in hourly for time in checked):
        # where a check lacks among others, it cannot be ruled out; the last hours have one of six
        last = max([max(hourly) - 5 * HOUR, *(time for time in checked if time in hourly)])
        for time in pd.date_range(times[0], last, freq="h").difference(pd.DatetimeIndex(checked)):
            checks.append(RainTotal(time, 6, math.inf))
    return totals, checks


def _given(steps: list[Any], period: str, theirs: str) -> list[Any]:
    return [_details(step, period).get(theirs) for step in steps]


def _details(step: Any, period: str) -> Any:
    """Details of a coming period; the last steps have none."""
    coming = step["data"].get(period) or {}
    details = coming.get("details") or {} if isinstance(coming, dict) else None
    if not isinstance(details, dict):
        raise SERVICE.odd(f"{period} is odd")
    return details


def _column(given: list[Any], theirs: str, ours: str, units: Any) -> NDArray[np.float64]:
    values = numbers(given, service=SERVICE.name, where=theirs)
    if np.isnan(values).all():
        return values
    try:
        return convert(values, units.get(theirs), COLUMNS[ours].unit)
    except InputError as error:
        raise SERVICE.odd(f"{theirs} comes in {brief(units.get(theirs))}") from error


def forecast(
    place: Place, *, now: pd.Timestamp, session: CachedSession, base_url: str = BASE_URL
) -> pd.DataFrame:
    """Fetch the forecast from the present hour on, checked.

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
    SourceError
        If no usable answer comes, or the forecast was issued more than a day ago.
    """
    params: dict[str, str | int | float] = {  # more than 4 decimals are answered with a 403
        "lat": round(place.latitude, 4),
        "lon": round(place.longitude, 4),
        "altitude": round(place.elevation_m),
    }

    def read(fresh: bool) -> pd.DataFrame:
        payload, answer = get_json(
            session, f"{base_url}/complete", params, now=now, service=SERVICE.name, fresh=fresh
        )
        table = parse(payload)
        issued, first = table.attrs["issued"], table.index[0]
        return finish(table, SERVICE, answer, issued=issued, forecast_from=first, now=now)

    return newest(read)
