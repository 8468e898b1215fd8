"""Rows of several stations joined into one hourly table, honestly where they disagree."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from spraywindow.units import convert
from spraywindow.weather import dew_point_from_humidity

CREDIT = "Meteostat (CC BY 4.0), with the weather services that measured"
RAIN_STATION_SHARE = 0.5
"""A station that knows less of the hours than this does not decide about rain; P: common
practice, no source."""
_HOUR = pd.Timedelta(hours=1)
_INSTANTS = ("temp_c", "dew_point_c", "wind_ms", "wind_from_deg", "cloud")
_ENDED = ("rain_mm", "gust_ms")


def merge_stations(
    rows: pd.DataFrame, stations: Sequence[str], grid: pd.DatetimeIndex, observed: frozenset[str]
) -> tuple[pd.DataFrame, list[str]]:
    """Join the rows of several stations.

    Parameters
    ----------
    rows : pandas.DataFrame
        Index (station, time), naive UTC, stamped at the end of the hour for sums and maxima;
        columns of the library: temp [degC], rhum [%], prcp [mm], wspd, wpgt [km/h], wdir [deg],
        cldc [oktas], and for each a `_source`.
    stations : sequence of str
        Nearest first.
    grid : pandas.DatetimeIndex
        The hours wanted, UTC.
    observed : frozenset of str
        The sources that measure; rain of any other is not known.

    Returns
    -------
    table : pandas.DataFrame
        On `grid`; NaN is unknown.
    notes : list of str
    """
    each = {
        station: _one_station(rows.loc[[station]].droplevel("station"), observed).reindex(grid)
        for station in stations
        if station in rows.index.get_level_values("station")
    }
    table = pd.DataFrame(index=grid)
    notes = []
    # Temperature and dew point of one row come from one station, wind from one, cloud from one.
    for group in (("temp_c", "dew_point_c"), ("wind_ms", "wind_from_deg", "gust_ms"), ("cloud",)):
        joined = pd.DataFrame(np.nan, index=grid, columns=list(group))
        for station, own in each.items():
            lacking = joined[group[0]].isna() & own[group[0]].notna()
            joined = joined.mask(lacking, own[list(group)])
            if station != next(iter(each)) and lacking.any():
                notes.append(f"{group[0]}: {lacking.mean():.0%} of the hours from {station}")
        table[list(group)] = joined
    rain = pd.DataFrame({station: own["rain_mm"] for station, own in each.items()})
    deciding = [name for name in rain if rain[name].notna().mean() >= RAIN_STATION_SHARE]
    if deciding:
        # Rain is not interpolated, and a gap at the nearest gauge is not filled with a dry
        # hour somewhere else.
        table["rain_mm"] = rain.max(axis=1).where(rain[deciding[0]].notna())
        notes.append(f"rain: the wettest of {rain.shape[1]} stations where {deciding[0]} knows it")
    else:
        table["rain_mm"] = np.nan
        notes.append("rain: no station knows half of the hours; unknown throughout")
    return table, notes


def winter_notes(rain_mm: pd.Series, latitude: float) -> list[str]:
    """How complete the rain is in each winter (November to February, or May to August)."""
    time = pd.DatetimeIndex(rain_mm.index)
    north = latitude >= 0
    inside = time.month.isin([11, 12, 1, 2] if north else [5, 6, 7, 8])
    if not inside.any():
        return [f"rain known in {rain_mm.notna().mean():.0%} of the hours"]
    began = time.year - (time.month < 7) if north else time.year
    known = rain_mm.notna()[inside].groupby(np.asarray(began)[inside]).mean()
    return [
        f"winter {year}{f'/{(int(year) + 1) % 100:02d}' if north else ''}: "
        f"rain known in {share:.0%} of the hours"
        for year, share in zip(known.index.tolist(), known.tolist(), strict=True)
    ]


def _one_station(rows: pd.DataFrame, observed: frozenset[str]) -> pd.DataFrame:
    def column(name: str) -> pd.Series:
        if name not in rows.columns:
            return pd.Series(np.nan, index=rows.index)
        return pd.to_numeric(rows[name], errors="coerce").astype("float64")

    temp_c = column("temp")
    humid = column("rhum").clip(upper=100.0)
    oktas = column("cldc")
    own = pd.DataFrame(
        {
            "temp_c": temp_c,
            "dew_point_c": dew_point_from_humidity(
                temp_c.to_numpy(), humid.where(humid > 0).to_numpy()
            ),
            "wind_ms": convert(column("wspd").to_numpy(), "km/h", "m/s"),
            "wind_from_deg": column("wdir"),
            "cloud": oktas.where(oktas <= 8) / 8,  # 9: the sky cannot be seen
            "rain_mm": column("prcp").where(_measured(rows, observed)),
            "gust_ms": convert(column("wpgt").to_numpy(), "km/h", "m/s"),
        },
        index=rows.index,
    )
    own.index = pd.DatetimeIndex(own.index).tz_localize("UTC")
    instants, ended = own[list(_INSTANTS)], own[list(_ENDED)]
    # The one place where a sum over the hour that ends at the stamp moves to its start.
    return instants.join(ended.set_axis(own.index - _HOUR), how="outer")


def _measured(rows: pd.DataFrame, observed: frozenset[str]) -> pd.Series:
    if "prcp_source" not in rows.columns:
        return pd.Series(False, index=rows.index)
    named = rows["prcp_source"].astype("object")
    allowed = {
        text: all(word in observed for word in str(text).split())
        for text in named.dropna().unique()
    }
    return named.map(allowed).fillna(False).astype(bool)
