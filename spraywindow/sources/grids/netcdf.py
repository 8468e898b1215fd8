"""Fields of netCDF files in CF form: standard names, units, cell methods and time bounds.

References
----------
.. [1] CF Conventions 1.11: sections 3.3 (standard names), 7.1 (cell boundaries), 7.3 (cell
   methods).
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import InputError
from spraywindow.sources.grids.cells import Cells, Method, Sites, find_cells
from spraywindow.sources.grids.fields import SINGLE, Fields, Key, in_our_unit
from spraywindow.sources.members import ISSUE_NAMES, MEMBER_NAMES, QUANTITIES, SAME, TIME_NAMES
from spraywindow.weather import COLUMNS

AMOUNTS = ("precipitation_amount", "lwe_thickness_of_precipitation_amount", "rainfall_amount")
GROUND = "surface_altitude"
KINDS = {"point": "instant", "sum": "accum", "mean": "avg", "maximum": "max", "minimum": "min"}
EXTREMES = {("temp_c", "max"): "temp_max_c", ("temp_c", "min"): "temp_min_c"}
READ = {"instant", "accum", "max", "min"}
SPELLINGS = {"kg m-2": "mm", "m s-1": "m/s", "W m-2": "W/m2", "1": "fraction", "degree": "deg"}
LATITUDE, LONGITUDE = ("latitude", "lat"), ("longitude", "lon")


def read_netcdf(path: Path, fields: Fields, sites: Sites, method: Method) -> None:
    """Take the variables of a file in that this trade needs; all others are passed over.

    Raises
    ------
    InputError
        The file cannot be read; a quantity comes in another unit, or over other periods than can
        be read, or does not tell its periods; several runs; or a site lies outside.
    """
    try:
        import xarray
    except ImportError as error:
        raise InputError(
            f'{path}: netCDF needs an extra; pip install "spraywindow[netcdf]"'
        ) from error
    try:
        with xarray.open_dataset(path, chunks=None) as data:
            _read(data, path, fields, sites, method)
    except (OSError, RuntimeError) as error:
        words = " ".join(str(error).split())[:200]
        raise InputError(f"{path}: the netCDF file cannot be read; {words}") from error


def _read(data: Any, path: Path, fields: Fields, sites: Sites, method: Method) -> None:
    cells: dict[tuple[Any, ...], Cells] = {}
    issue = next((name for name in ISSUE_NAMES if name in data.variables), None)
    if issue is not None:
        fields.issued(pd.Timestamp(data[issue].to_numpy()[()]).tz_localize("UTC"), path.name)
    fields.centre = str(data.attrs.get("institution", ""))
    for variable in data.variables.values():
        standard = str(variable.attrs.get("standard_name", ""))
        standard = SAME.get(standard, standard)
        if standard not in (*QUANTITIES, *AMOUNTS, GROUND) or len(variable.dims) < 2:
            continue
        where = f"{path.name}, {standard}"
        over = [dim for dim in variable.dims if dim not in (*TIME_NAMES, *MEMBER_NAMES)]
        if tuple(over) not in cells:
            cells[tuple(over)] = _cells(data, over, sites, method, path.name)
        found = cells[tuple(over)]
        unit = str(variable.attrs.get("units", "none"))
        unit = SPELLINGS.get(unit, unit)
        if standard == GROUND:
            ground = variable.isel({dim: 0 for dim in variable.dims if dim not in over})
            picked = found.pick(ground.transpose(*over).to_numpy().ravel().astype(float))
            key = Key("cell_m", "instant", 0, 0, SINGLE)
            fields.add(key, in_our_unit(picked, key, unit, where), path.name)
            continue
        ours, kind = _what(standard, str(variable.attrs.get("cell_methods", "")), where)
        starts, ends, time = _periods(data, variable, kind, where)
        member = next((dim for dim in variable.dims if dim in MEMBER_NAMES), None)
        numbers = [SINGLE] if member is None else [int(each) for each in data[member].to_numpy()]
        for row, (start, end) in enumerate(zip(starts.tolist(), ends.tolist(), strict=True)):
            at_time = variable.isel({time: row})
            for place, number in enumerate(numbers):
                one = at_time if member is None else at_time.isel({member: place})
                picked = found.pick(one.transpose(*over).to_numpy().ravel().astype(float))
                key = Key(ours, kind, start, end, number)
                if standard == "precipitation_flux":  # a mean rate: of the period its sum
                    picked, told = picked * 3600.0 * (end - start), _rate(unit, where)
                else:
                    told = unit
                fields.add(key, in_our_unit(picked, key, told, where), path.name)


def _rate(unit: str, where: str) -> str:
    if unit not in QUANTITIES["precipitation_flux"].spellings:
        raise InputError(
            "another unit than is known for it", where=where, expected="kg m-2 s-1", got=unit
        )
    return "mm"


def _what(standard: str, methods: str, where: str) -> tuple[str, str]:
    """What of ours a variable gives, and over which kind of step."""
    ours = "rain_mm" if standard in AMOUNTS else QUANTITIES[standard].ours
    usual = COLUMNS[ours].kind if ours in COLUMNS else "instant"
    told = re.search(r"time: (\w+)", methods)
    method = told[1] if told else {"total": "sum", "instant": "point"}.get(usual, usual)
    kind = KINDS.get(method, method)
    if standard == "precipitation_flux" and kind == "avg":
        kind = "accum"  # made a sum where it is read
    ours = EXTREMES.get((ours, kind), ours)
    fits = {
        "rain_mm": ("accum",), "solar_wm2": ("avg",), "gust_ms": ("instant", "max"),
        "temp_min_c": ("min",), "temp_max_c": ("max",),
    }.get(ours, ("instant",))  # fmt: skip
    if kind not in fits:
        raise InputError(
            "steps of another kind than is known for it", where=where,
            expected=" or ".join(name for name, each in KINDS.items() if each in fits), got=method,
        )  # fmt: skip
    return ours, kind


def _periods(
    data: Any, variable: Any, kind: str, where: str
) -> tuple[NDArray[np.int64], NDArray[np.int64], str]:
    """Start and end of each step [h since 1970], and the name of the dimension of times."""
    time = next((dim for dim in variable.dims if dim in TIME_NAMES), None)
    if time is None:
        raise InputError(
            "no dimension of times", where=where, expected=" or ".join(TIME_NAMES),
            got=", ".join(map(str, variable.dims)),
        )  # fmt: skip
    stamps = data[time]
    ends = _hours(stamps.to_numpy(), where)
    if kind == "instant":
        return ends, ends, time
    name = stamps.attrs.get("bounds", stamps.encoding.get("bounds"))
    if name not in data.variables:
        raise InputError(
            "its periods are not told", where=where, expected="time bounds (CF 7.1)",
            cure="a total of an unknown period may hide rain",
        )  # fmt: skip
    bounds = _hours(data[name].to_numpy().ravel(), where).reshape(-1, 2)
    return bounds[:, 0], bounds[:, 1], time


def _hours(times: NDArray[Any], where: str) -> NDArray[np.int64]:
    if not np.issubdtype(times.dtype, np.datetime64):
        raise InputError("the times are no dates", where=where, got=str(times.dtype))
    minutes = times.astype("datetime64[m]").astype(np.int64)
    if (minutes % 60).any():
        raise InputError("a time is not on a whole hour", where=where)
    return minutes // 60


def _cells(data: Any, over: list[Any], sites: Sites, method: Method, where: str) -> Cells:
    """The cells of the sites on the grid of these dimensions."""
    found = []
    for names in (LATITUDE, LONGITUDE):
        given = next(
            (each for name, each in data.variables.items()
             if (name in names or each.attrs.get("standard_name") == names[0])
             and set(each.dims) <= set(over)),
            None,
        )  # fmt: skip
        if given is None:
            raise InputError(f"no {names[0]} over {', '.join(map(str, over))}", where=where)
        found.append(given)
    sizes = {dim: data.sizes[dim] for dim in over}
    latitude, longitude = (
        each.set_dims(sizes).transpose(*over).to_numpy().ravel().astype(float) for each in found
    )
    columns = sizes[over[-1]] if len(over) == 2 else 0
    return find_cells(latitude, longitude, columns, sites, method, where)
