"""Weather tables of single sites put side by side as one dataset."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from spraywindow.errors import InputError
from spraywindow.place import Place
from spraywindow.weather import COARSE, COLUMNS


def sites_dataset(
    tables: Sequence[pd.DataFrame], places: Sequence[Place], names: Sequence[str]
) -> xr.Dataset:
    """Put hourly tables side by side, as `score_region` reads them.

    Parameters
    ----------
    tables : sequence of DataFrame
        One a site, with the columns of the weather table on a UTC index; hours and columns that
        one of them lacks are unknown.
    places : sequence of Place
    names : sequence of str

    Returns
    -------
    Dataset
        Over ``time`` and ``site``, with units, the bounds of the hours, and the places.

    Raises
    ------
    InputError
        If there are no tables, or not as many as places and names.
    """
    if not tables or not len(tables) == len(places) == len(names):
        raise InputError("not one table, place and name for each site")
    first, last = min(t.index[0] for t in tables), max(t.index[-1] for t in tables)
    index = pd.date_range(first, last, freq="h")
    known = [name for name in (*COLUMNS, *COARSE) if any(name in table for table in tables)]
    whole = [table.reindex(index=index, columns=known) for table in tables]
    data = xr.Dataset(
        {
            name: (
                ("time", "site"),
                np.stack([table[name].to_numpy(dtype=float) for table in whole], axis=1),
                {"units": (COLUMNS | COARSE)[name].unit},
            )
            for name in known
        },
        coordinates(index, places, names),
    )
    credits_told = dict.fromkeys(
        str(table.attrs["source"]["credit"]) for table in tables
        if table.attrs.get("source", {}).get("credit")
    )  # fmt: skip
    return data.assign_attrs(credit="; ".join(credits_told)) if credits_told else data


def coordinates(
    index: pd.DatetimeIndex, places: Sequence[Place], names: Sequence[str]
) -> dict[str, Any]:
    """The hours with their bounds, and the sites."""
    time = index.tz_convert("UTC").tz_localize(None)
    bounds = np.stack([time, time + pd.Timedelta(hours=1)], axis=1)
    return {
        "time": ("time", time, {"standard_name": "time", "bounds": "time_bounds"}),
        "time_bounds": (("time", "bound"), bounds),
        "site": list(names),
        "latitude": ("site", [place.latitude for place in places], {"units": "degrees_north"}),
        "longitude": ("site", [place.longitude for place in places], {"units": "degrees_east"}),
        "elevation": ("site", [place.elevation_m for place in places], {"units": "m"}),
        "timezone": ("site", [place.timezone for place in places]),
    }
