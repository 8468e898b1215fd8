"""Sites of a gridded forecast as the weather tables that all commands read."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from spraywindow.errors import InputError
from spraywindow.place import Place
from spraywindow.sources.grids.read_grid import read_grid
from spraywindow.weather import COARSE, COLUMNS, check_hourly

if TYPE_CHECKING:
    import xarray as xr


def site_table(dataset: xr.Dataset, site: str) -> pd.DataFrame:
    """The weather table of a site.

    Parameters
    ----------
    dataset : Dataset
        From `spraywindow.sources.grids.read_grid`.
    site : str
        One of its sites.

    Raises
    ------
    InputError
        If the dataset has members: one table holds one forecast.
    WeatherError
        If the site's weather breaks the contract of the table.
    """
    if "member" in dataset.dims:
        raise InputError(
            "the fields are of members", expected="one forecast",
            cure="the control run alone can be read as weather",
        )  # fmt: skip
    here = dataset.sel(site=site)
    index = pd.DatetimeIndex(here["time"].to_numpy(), name="time").tz_localize("UTC").as_unit("us")
    names = [name for name in (*COLUMNS, *COARSE) if name in here]
    table = pd.DataFrame({name: here[name].to_numpy().astype(float) for name in names}, index=index)
    told = dataset.attrs
    notes = list(told["notes"])
    if "height_difference" in here.coords:
        above = float(here["height_difference"])
        side = "above" if above > 0 else "below"
        notes.append(f"the cell lies {abs(above):.0f} m {side} the site")
    table.attrs = {
        "source": {
            "name": told["source"],
            "issued": pd.Timestamp(told["issued"]) if told["issued"] else None,
            "fetched": None,
            "credit": told["credit"],
            "stale": False,
        },
        "forecast_from": pd.Timestamp(told["forecast_from"]),
        "notes": notes,
    }
    return check_hourly(table, name=site)


def field_tables(
    path: Path, sites: Mapping[str, Place], columns: Path | None = None
) -> dict[str, pd.DataFrame]:
    """The weather tables of sites, by name, from one file of fields.

    Raises
    ------
    InputError
        As `spraywindow.sources.grids.read_grid` and `site_table`; or a column map is given.
    """
    if columns is not None:
        raise InputError("fields take no column map", where=str(path))
    data = read_grid(path, sites)
    return {name: site_table(data, name) for name in sites}
