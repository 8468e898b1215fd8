"""Many sites from one gridded forecast: fields in, a dataset in CF form out.

For an advisory service's evening: 10,000 sites ask a service 10,000 times, or read one file.
Fetching is left to those who run it: `ecmwf-opendata` and `herbie-data` fetch whole fields of open
forecasts. Neither was tried here, and the reading is tested on files written in the same form.

References
----------
.. [1] CF Conventions 1.11: sections 3.3 (standard names), 7.1 (cell boundaries).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

import numpy as np
import pandas as pd

from spraywindow.errors import InputError
from spraywindow.place import Place
from spraywindow.sources.grids.cells import Method, Sites
from spraywindow.sources.grids.fields import SINGLE, Fields, Floats
from spraywindow.sources.grids.grib import read_grib
from spraywindow.sources.grids.hours import Hours, on_the_hours
from spraywindow.sources.grids.kind import GRIB, NETCDF, first_bytes
from spraywindow.sources.grids.netcdf import read_netcdf
from spraywindow.sources.members import QUANTITIES
from spraywindow.weather import COARSE, COLUMNS

if TYPE_CHECKING:
    import xarray as xr

HEIGHT_DIFFERENCE_M = 200.0
"""A cell farther above or below its site is named in the notes [m]; P: common practice."""
STANDARD_NAMES = {each.ours: name for name, each in QUANTITIES.items() if each.ours in COLUMNS} | {
    "rain_mm": "thickness_of_rainfall_amount"
}
METHODS = {"total": "time: sum", "mean": "time: mean", "maximum": "time: maximum"}


def read_grid(
    paths: str | Path | Sequence[str | Path],
    sites: Mapping[str, Place],
    *,
    method: Method = "nearest",
    credit: str = "",
) -> xr.Dataset:
    """Read the hours of many sites from the fields of one run of a forecast.

    Parameters
    ----------
    paths : str, Path or sequence of them
        GRIB (1 or 2) or netCDF in CF form; the steps, quantities and members of one run may lie
        in several files. Needed are temperature, dew point or humidity at 2 m, wind at 10 m and
        rain; gusts, cloud, radiation, pressure and the height of the ground are read if there.
    sites : mapping of str to Place
        By name.
    method : {"nearest", "bilinear"}
        The nearest cell, or the values between the four around, on grids of latitudes and
        longitudes. Between a wet and a dry cell lies a little rain.
    credit : str
        Whom to name; default: the centre that the file names.

    Returns
    -------
    Dataset
        Dimensions ``time`` (hour starts, UTC, with bounds) and ``site``, and ``member`` where the
        fields have it; the columns of the weather table in its units, with CF attributes where CF
        has a name. Coordinates: ``latitude``, ``longitude``, ``elevation``, ``timezone`` of the
        sites; ``cell_height`` and ``height_difference`` (cell less site, with a ``comment`` that
        names the far ones) where the ground of the grid is told. Temperatures stay the cell's.
        ``attrs``: ``source``, ``credit``, ``issued`` and ``forecast_from`` (ISO 8601), ``notes``.

    Raises
    ------
    InputError
        A file cannot be read, holds several runs, or lacks what is needed; a unit or kind of step
        is not known for it; a sum falls; a site lies outside the grid.
    """
    if method not in get_args(Method):
        raise InputError("unknown method", expected=" or ".join(get_args(Method)), got=method)
    files = [Path(each) for each in ([paths] if isinstance(paths, str | Path) else paths)]
    if not files:
        raise InputError("no files", expected="at least one")
    wanted = Sites.of(sites)
    fields = Fields(len(wanted.names))
    for path in files:
        head = first_bytes(path)
        if head.startswith(GRIB):
            read_grib(path, fields, wanted, method)
        elif head.startswith(NETCDF):
            read_netcdf(path, fields, wanted, method)
        else:
            what = "no fields" if head else "cannot be read, or is empty"
            raise InputError(what, where=str(path), expected="GRIB or netCDF")
    name = files[0].name if len(files) == 1 else f"{files[0].name} and {len(files) - 1} more"
    hours = on_the_hours(fields, name)
    return _dataset(hours, fields, wanted, name, method, credit)


def _dataset(
    hours: Hours, fields: Fields, sites: Sites, name: str, method: str, credit: str
) -> xr.Dataset:
    import xarray as xr

    count = len(hours.columns["temp_c"])
    first = pd.Timestamp(hours.first_h, unit="h")
    index = pd.date_range(first, periods=count, freq="h", unit="ns")
    single = hours.members == (SINGLE,)
    dims = ("time", "site") if single else ("time", "site", "member")
    variables: dict[str, Any] = {
        ours: (dims, values[..., 0] if single else values, _attributes(ours))
        for ours in (*COLUMNS, *COARSE)
        if (values := hours.columns.get(ours)) is not None
    }
    bounds = np.stack([index, index + pd.Timedelta(hours=1)], axis=1)
    run = fields.run
    forecast_from = first.tz_localize("UTC") if run is None else run.ceil("h")
    heights, notes = _heights(sites, fields.cell_m)
    coords: dict[str, Any] = {
        "time": ("time", index, {"standard_name": "time", "bounds": "time_bounds"}),
        "time_bounds": (("time", "bound"), bounds),
        "site": ("site", list(sites.names)),
        "latitude": ("site", sites.latitude, _about("latitude", "degrees_north")),
        "longitude": ("site", sites.longitude, _about("longitude", "degrees_east")),
        "elevation": ("site", sites.elevation_m, _about("surface_altitude", "m")),
        "timezone": ("site", [place.timezone for place in sites.places]),
    }
    if not single:
        coords["member"] = ("member", list(hours.members), {"standard_name": "realization"})
    attrs = {
        "Conventions": "CF-1.11",
        "source": f"{fields.centre or name}, {method} cell",
        "credit": credit or fields.centre,
        "issued": "" if run is None else run.isoformat(),
        "forecast_from": forecast_from.isoformat(),
        "notes": [*hours.notes, *notes],
    }
    out = xr.Dataset(variables, coords | heights, attrs)
    out["time"].encoding["units"] = "hours since 1970-01-01"  # of its bounds too
    return out


def _attributes(ours: str) -> dict[str, str]:
    column = (COLUMNS | COARSE)[ours]
    out = {"units": column.unit, "long_name": column.meaning}
    if ours in STANDARD_NAMES:
        out["standard_name"] = STANDARD_NAMES[ours]
    if column.kind in METHODS:
        out["cell_methods"] = METHODS[column.kind]
    return out


def _about(standard: str, unit: str) -> dict[str, str]:
    return {"standard_name": standard, "units": unit}


def _heights(sites: Sites, cell_m: Floats | None) -> tuple[dict[str, Any], list[str]]:
    """The heights of the cells, and what is to be said of them."""
    if cell_m is None:
        return {}, ["the fields do not tell the height of the ground: a cell may lie far above"]
    above = cell_m - sites.elevation_m
    about = {"units": "m", "long_name": "height of the ground in the cell"}
    less = {"units": "m", "long_name": "height of the ground in the cell less that of the site"}
    far = np.abs(above) > HEIGHT_DIFFERENCE_M
    if far.any():
        less["comment"] = (
            f"{int(far.sum())} sites lie more than {HEIGHT_DIFFERENCE_M:.0f} m above or below "
            f"their cell: {sites.named(far)}"
        )
    heights = {"cell_height": ("site", cell_m, about), "height_difference": ("site", above, less)}
    return heights, []
