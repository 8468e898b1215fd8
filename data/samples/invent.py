"""Write the demo's two weather files: invented hours of mild, wet winters, from seeds.

``python data/samples/invent.py [folder]`` writes them beside itself, or into the folder named;
the same bytes every time.

The scheme is the daily one of [1]_ (wet and dry days as a first-order Markov chain, amounts by
season, temperature as a persistent departure that depends on the day being wet), spread over
the hours by a fixed daily course. The seasonal figures below are invented, in the manner of a
mild east-Mediterranean lowland (common practice, no source); no record was fitted.

References
----------
.. [1] Richardson, C. W., 1981, Stochastic simulation of daily precipitation, temperature, and
   solar radiation. Water Resources Research 17(1):182-190. :doi:`10.1029/WR017i001p00182`
.. [2] Kasten, F. and Czeplak, G., 1980, Solar and terrestrial radiation dependent on the amount
   and type of cloud. Solar Energy 24:177-189. :doi:`10.1016/0038-092X(80)90391-6`
.. [3] Haurwitz, B., 1945, Insolation in relation to cloudiness and cloud density. Journal of
   Meteorology 2:154-166; through `pvlib.clearsky.haurwitz`.
"""

from __future__ import annotations

import gzip
import io
import sys
from itertools import accumulate
from pathlib import Path

import numpy as np
import pandas as pd

from spraywindow.place import Place
from spraywindow.sources.demo.samples import DEMO_NOW, DEMO_PLACE, FORECAST_FILE, WINTERS_FILE

FIRST_WINTER, WINTERS = 2013, 12
RECORD_DAYS, FORECAST_DAYS = 2, 8
WINTERS_SEED = 4
WEEK_SEED = 8418
"""Picked among twelve thousand, for a week with good hours, and bad ones for several reasons."""

DECIMALS = {
    "temp_c": 1,
    "dew_point_c": 1,
    "wind_ms": 1,
    "rain_mm": 1,
    "gust_ms": 1,
    "wind_from_deg": -1,
    "cloud": 2,
    "solar_wm2": 0,
}
"""Decimals of each column, as a weather service gives them."""

# Mid-month values, January first.
MEAN_C = (8.6, 9.0, 11.2, 14.4, 18.9, 23.2, 25.8, 25.6, 22.0, 17.8, 13.2, 10.0)
CLEAR_RANGE_C = (13.5, 13.5, 13.5, 13.5, 14.5, 15.0, 15.5, 15.5, 15.0, 14.0, 13.5, 13.5)
DEW_BELOW_COLDEST_C = (0.0, 0.0, 0.5, 1.0, 2.0, 3.0, 4.0, 4.0, 2.0, 0.5, 0.0, 0.0)
WET_AFTER_DRY = (0.24, 0.24, 0.20, 0.15, 0.10, 0.05, 0.02, 0.02, 0.06, 0.14, 0.22, 0.25)
WET_AFTER_WET = (0.57, 0.55, 0.50, 0.44, 0.37, 0.28, 0.20, 0.20, 0.34, 0.46, 0.55, 0.58)
WET_DAY_MM = (10.0, 9.0, 8.0, 6.0, 5.0, 4.0, 4.0, 4.0, 8.0, 12.0, 13.0, 12.0)
_MID_MONTH_DAY = (np.arange(12) + 0.5) * 365.25 / 12

# Departure from the day's mean as a share of its range, by solar hour: coldest near sunrise.
_COURSE_HOUR = (0.0, 3.0, 6.0, 7.0, 9.0, 11.0, 13.0, 14.5, 16.0, 18.0, 20.0, 22.0)
_COURSE = (-0.30, -0.40, -0.48, -0.50, -0.15, 0.22, 0.46, 0.50, 0.40, 0.05, -0.10, -0.20)

_BURN_IN_DAYS = 30


def generate(start: pd.Timestamp, end: pd.Timestamp, seed: int, place: Place) -> pd.DataFrame:
    """Invent hourly weather; the same arguments give the same table.

    Parameters
    ----------
    start, end : pandas.Timestamp
        First hour, and the hour after the last; tz-aware, on the hour.
    seed : int
        Of the random stream.
    place : Place
        Sets the solar day (longitude), the sun and the season (latitude).

    Returns
    -------
    pandas.DataFrame
        UTC hourly index, stamps at the start of the hour; the columns of `DECIMALS` (those of
        the weather table, `spraywindow.weather.table`), rounded to those decimals, no gaps.

    Raises
    ------
    ValueError
        If a time has no zone, is not on the hour, or `end` is not after `start`.

    Examples
    --------
    >>> place = Place(37.8, 21.4, 60.0, "Europe/Athens")
    >>> first = pd.Timestamp("2026-01-01", tz="UTC")
    >>> generate(first, first + pd.Timedelta(days=2), 1, place).shape
    (48, 8)
    """
    for time in (start, end):
        if time.tzinfo is None or time != time.floor("h"):
            raise ValueError(f"start and end must be tz-aware whole hours, got {time}")
    if end <= start:
        raise ValueError(f"end must be after start, got {start} and {end}")
    hours = pd.date_range(
        start.tz_convert("UTC"), end.tz_convert("UTC"), freq="h", inclusive="left", name="time"
    )
    since = (hours.tz_localize(None) - pd.Timestamp("1970-01-01")) / pd.Timedelta(hours=1)
    solar_h = since.to_numpy(dtype=float) + place.longitude / 15
    first_day = int(solar_h[0] // 24) - _BURN_IN_DAYS
    day = np.arange(first_day, int(solar_h[-1] // 24) + 2)
    season_day = (day + (0 if place.latitude >= 0 else 182.6)) % 365.25

    random = np.random.default_rng(seed)
    daily = _days(random, season_day)
    rain = _rain_by_hour(random, daily["wet"], daily["rain_mm"])
    rain = rain[np.floor(solar_h).astype(int) - first_day * 24]
    return pd.DataFrame(_hours(random, hours, solar_h, day, daily, rain, place), index=hours)


def rain_chance(rain_mm: np.ndarray, lead_h: np.ndarray) -> np.ndarray:
    """Chance of rain that a forecaster would give with `rain_mm` in mind [0-1, whole percents].

    Rain near the hour counts, over a reach that widens with the lead, and the chance shrinks
    toward the climate's with the lead (common practice, no source).

    Parameters
    ----------
    rain_mm : ndarray
        Rain of each hour [mm].
    lead_h : ndarray
        Hours ahead of the issue time, the same length.
    """
    rain = (rain_mm > 0).astype(float)
    distance = np.abs(np.arange(rain.size)[:, None] - np.arange(rain.size)[None, :])
    reach_h = 1.5 + lead_h[:, None] / 24
    near = (rain[None, :] * np.exp(-((distance / reach_h) ** 2))).max(axis=1)
    trust = np.clip(0.95 - 0.06 * lead_h / 24, 0.3, 1.0)
    return np.asarray(np.round(0.02 + trust * 0.9 * near + (1 - trust) * 0.15, 2))


def _days(random: np.random.Generator, season_day: np.ndarray) -> dict[str, np.ndarray]:
    """Daily state: wet or dry, rain, mean and range of temperature, cloud, dew point, wind."""
    count = season_day.size
    draw = random.random(count)
    after_dry, after_wet = (_of_season(t, season_day) for t in (WET_AFTER_DRY, WET_AFTER_WET))
    wet = np.zeros(count, dtype=bool)
    for number in range(1, count):  # [1]_ the chain: two transition probabilities
        wet[number] = draw[number] < (after_wet if wet[number - 1] else after_dry)[number]
    shape = 0.7
    rain = 0.3 + random.gamma(shape, _of_season(WET_DAY_MM, season_day) / shape)

    warm, cloudy, humid, windy = (
        _persistent(random.standard_normal(count), memory) for memory in (0.75, 0.4, 0.5, 0.5)
    )
    cloud = np.clip(np.where(wet, 0.78, 0.30) + 0.2 * cloudy, 0.02, 1.0)
    wind = 3.0 * np.exp(0.4 * np.clip(windy, -2.5, 2.5)) * np.where(wet, 1.3, 1.0)
    mean = _of_season(MEAN_C, season_day) + 2.3 * warm + np.where(wet, 0.9, -0.5)
    stirred = 1 - 0.05 * np.clip(wind - 2.0, 0.0, 6.0)  # wind evens day and night out
    spread = _of_season(CLEAR_RANGE_C, season_day) * (1 - 0.6 * cloud) * stirred
    dry_air = np.where(wet, 0.0, 0.6 * np.clip(wind - 3.0, 0.0, 6.0))
    dry_air = dry_air + _of_season(DEW_BELOW_COLDEST_C, season_day)
    dew = mean - 0.5 * spread + np.where(wet, 1.0, 0.0) + 1.5 * humid - dry_air
    bearing = np.where(wet, 210.0, 330.0) + 35.0 * random.standard_normal(count)
    return {
        "wet": wet,
        "rain_mm": rain,
        "mean_c": mean,
        "range_c": spread,
        "cloud": cloud,
        "dew_point_c": dew,
        "wind_ms": wind,
        "east": np.sin(np.radians(bearing)),
        "north": np.cos(np.radians(bearing)),
    }


def _rain_by_hour(
    random: np.random.Generator, wet: np.ndarray, amount_mm: np.ndarray
) -> np.ndarray:
    """Spread each wet day's rain over 3 to 12 hours that may run past midnight [mm]."""
    rain = np.zeros(wet.size * 24)
    for number in np.flatnonzero(wet):
        first = number * 24 + int(random.integers(0, 24))
        weight = random.exponential(size=int(random.integers(3, 13)))
        part = rain[first : first + weight.size]
        part += amount_mm[number] * (weight / weight.sum())[: part.size]
    return rain


def _hours(
    random: np.random.Generator,
    hours: pd.DatetimeIndex,
    solar_h: np.ndarray,
    day: np.ndarray,
    daily: dict[str, np.ndarray],
    rain: np.ndarray,
    place: Place,
) -> dict[str, np.ndarray]:
    """Hourly columns from the daily state, which runs smoothly from noon to noon."""
    smooth = {name: np.interp(solar_h / 24, day + 0.5, values) for name, values in daily.items()}
    course = np.interp(solar_h % 24, _COURSE_HOUR, _COURSE, period=24)
    rough_temp, rough_cloud, rough_wind, rough_bearing = (
        _persistent(random.standard_normal(solar_h.size), 0.8) for _ in range(4)
    )
    raining = np.round(rain, DECIMALS["rain_mm"]) > 0

    cloud = np.clip(smooth["cloud"] + 0.15 * rough_cloud, 0.0, 1.0)
    cloud = np.where(raining, np.maximum(cloud, 0.85), cloud)
    temp = smooth["mean_c"] + smooth["range_c"] * course + 0.35 * rough_temp
    dew = smooth["dew_point_c"] + 0.8 * course
    dew = np.where(raining, np.maximum(dew, temp - 0.8), dew)
    # Nightly cooling past the dew point takes the water out of the air.
    dew = np.minimum(dew, temp - 0.15)
    wind = smooth["wind_ms"] * (0.72 + 0.7 * course) * np.exp(0.22 * rough_wind)
    bearing = np.degrees(np.arctan2(smooth["east"], smooth["north"])) + 15.0 * rough_bearing
    columns = {
        "temp_c": temp,
        "dew_point_c": dew,
        "wind_ms": wind,
        "rain_mm": rain,
        "gust_ms": 0.5 + wind * (1.4 + 0.1 * np.abs(rough_wind)),
        "wind_from_deg": bearing % 360,
        "cloud": cloud,
        "solar_wm2": _clear_sky(hours, place) * (1 - 0.75 * cloud**3.4),  # [2]_
    }
    # Adding zero turns the -0.0 of rounding into 0.0.
    return {name: np.round(values, DECIMALS[name]) + 0.0 for name, values in columns.items()}


def _clear_sky(hours: pd.DatetimeIndex, place: Place) -> np.ndarray:
    """Clear-sky global radiation at mid-hour [W/m²], [3]_."""
    from pvlib import clearsky, solarposition

    middle = hours + pd.Timedelta(minutes=30)
    day = middle.day_of_year
    minutes = solarposition.equation_of_time_spencer71(day)
    angle = solarposition.hour_angle(middle, place.longitude, minutes)
    declination = solarposition.declination_spencer71(day)
    zenith = solarposition.solar_zenith_analytical(
        np.radians(place.latitude), np.radians(angle), declination
    )
    degrees = pd.Series(np.degrees(np.asarray(zenith, dtype=float)), index=hours)
    return np.asarray(clearsky.haurwitz(degrees)["ghi"], dtype=float)


def _of_season(table: tuple[float, ...], season_day: np.ndarray) -> np.ndarray:
    return np.asarray(np.interp(season_day, _MID_MONTH_DAY, table, period=365.25))


def _persistent(shocks: np.ndarray, memory: float) -> np.ndarray:
    """First-order autoregression of unit variance from independent unit shocks."""
    scale = (1 - memory**2) ** 0.5
    first, *rest = shocks.tolist()
    return np.array(list(accumulate(rest, lambda a, b: memory * a + scale * b, initial=first)))


def invent_forecast() -> pd.DataFrame:
    """Weather around `DEMO_NOW`, as `demo_forecast` reads it from its file."""
    table = generate(
        DEMO_NOW - pd.Timedelta(days=RECORD_DAYS),
        DEMO_NOW + pd.Timedelta(days=FORECAST_DAYS),
        WEEK_SEED,
        DEMO_PLACE,
    )
    lead_h = np.arange(len(table)) - RECORD_DAYS * 24
    chance = rain_chance(table["rain_mm"].to_numpy(), np.maximum(lead_h, 0).astype(float))
    return table.assign(rain_chance=np.where(lead_h < 0, np.nan, chance))


def invent_winters() -> pd.DataFrame:
    """Weather of the past winters, as `demo_winters` reads it from its file."""
    first = pd.Timestamp(FIRST_WINTER, 9, 1, tz="UTC")
    return generate(first, first + pd.DateOffset(years=WINTERS), WINTERS_SEED, DEMO_PLACE)


def write_samples(folder: Path) -> list[Path]:
    """Write the two weather files anew from their seeds; the same bytes every time.

    Returns
    -------
    list of pathlib.Path
        The files written.
    """
    files = {
        folder / FORECAST_FILE: _to_csv(invent_forecast()),
        folder / WINTERS_FILE: _packed(_to_csv(invent_winters())),
    }
    for path, content in files.items():
        path.write_bytes(content)
    return list(files)


def _to_csv(table: pd.DataFrame) -> bytes:
    whole = {name: "int64" for name, decimals in DECIMALS.items() if decimals <= 0}
    text = table.astype(whole).to_csv(date_format="%Y-%m-%dT%H:%MZ", lineterminator="\n")
    return text.encode()


def _packed(text: bytes) -> bytes:
    """Gzip without the clock and the name of the file in its header."""
    buffer = io.BytesIO()
    with gzip.GzipFile(filename="", mode="wb", fileobj=buffer, mtime=0) as packed:
        packed.write(text)
    return buffer.getvalue()


if __name__ == "__main__":
    folder = Path(*sys.argv[1:2]) if sys.argv[1:] else Path(__file__).parent
    if not folder.is_dir():
        raise SystemExit(f"{folder}: no such folder")
    for path in write_samples(folder):
        print(path)
