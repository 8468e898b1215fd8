"""Members from a file: Parquet in long form, or netCDF, with the names of the CF conventions.

References
----------
.. [1] CF Conventions, *Standard Name Table*: names and canonical units.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import InputError, WeatherError, brief
from spraywindow.sources.members.members import Members, side_by_side, without_long_lines
from spraywindow.units import convert
from spraywindow.weather import COLUMNS, dew_point_from_humidity, has_wrong_date

Array = NDArray[np.float64]


class Quantity(NamedTuple):
    """Our name and unit of a CF quantity, its canonical unit, and the spellings of that."""

    ours: str
    unit: str
    canonical: str
    spellings: tuple[str, ...] = ()


_SPEED, _FLUX = ("m s-1", "m/s"), ("kg m-2 s-1", "mm s-1", "mm/s")
QUANTITIES = {
    "air_temperature": Quantity("temp_c", "degC", "K"),
    "dew_point_temperature": Quantity("dew_point_c", "degC", "K"),
    "relative_humidity": Quantity("rh_pct", "%", "fraction", ("1",)),
    "precipitation_flux": Quantity("rain_mm", "mm", "mm/s", _FLUX),
    "eastward_wind": Quantity("east_ms", "m/s", "m/s", _SPEED),
    "northward_wind": Quantity("north_ms", "m/s", "m/s", _SPEED),
    "wind_speed": Quantity("wind_ms", "m/s", "m/s", _SPEED),
    "wind_from_direction": Quantity("wind_from_deg", "deg", "deg", ("degree",)),
    "wind_speed_of_gust": Quantity("gust_ms", "m/s", "m/s", _SPEED),
    "cloud_area_fraction": Quantity("cloud", "fraction", "fraction", ("1",)),
    "surface_downwelling_shortwave_flux_in_air": Quantity(
        "solar_wm2", "W/m2", "W/m2", ("W m-2", "W m**-2")
    ),
    "surface_air_pressure": Quantity("pressure_hpa", "hPa", "Pa"),
}
SAME = {"air_pressure": "surface_air_pressure"}
"""What others call it; of pressure only that at the surface is taken."""
SUMS = ("precipitation_flux", "surface_downwelling_shortwave_flux_in_air", "wind_speed_of_gust")
"""What tells of a whole hour, and not of its stamp."""
MEMBER_NAMES = ("member", "parameter", "number", "realization", "ensemble", "ensemble_member")
TIME_NAMES = ("datetime", "time", "valid_time")
ISSUE_NAMES = ("reference_datetime", "forecast_reference_time", "reference_time")
LIMITS = "by the licence of the file's source; what its hours were made of, the file does not say"


def read_members(
    path: str | Path, *, stamp: Literal["start", "end"] = "start", credit: str = ""
) -> Members:
    """Read the members of one forecast for one place.

    Parameters
    ----------
    path : str or Path
        Parquet in long form: columns ``datetime``, ``variable`` (CF standard names),
        ``prediction`` (canonical CF units), a member's number in ``parameter`` or ``member``, and
        the issue in ``reference_datetime``. Or netCDF: CF names (or ``standard_name``) with
        ``units``, over time and members.
    stamp : {"start", "end"}
        Which end of its hour a sum, mean or maximum is stamped at.
    credit : str
        Whom to name.

    Returns
    -------
    Members
        Rain made of longer totals stands whole again, temperatures interpolated over more than
        3 h are unknown, the dew point is made of the humidity where the file has none.

    Raises
    ------
    InputError
        The file cannot be read, lacks an extra to be read with, or holds something else.
    WeatherError
        Its values break the contract of the weather table.
    """
    path = Path(path)
    try:
        start = path.open("rb").read(8)
    except OSError as error:
        raise InputError(f"{path}: cannot be read; {error.strerror or error}") from error
    netcdf = start[:3] == b"CDF" or start == b"\x89HDF\r\n\x1a\n"
    if not netcdf and start[:4] != b"PAR1":
        raise InputError("no members", where=str(path), expected="a Parquet or netCDF file")
    found, issued = _netcdf(path) if netcdf else _parquet(path)
    lacking = [name for name in ("air_temperature", "precipitation_flux") if name not in found]
    if not {"dew_point_temperature", "relative_humidity"} & set(found):
        lacking.append("dew_point_temperature or relative_humidity")
    if lacking:
        raise InputError(
            "no " + ", no ".join(lacking), where=str(path), got=", ".join(map(str, found))
        )
    members = found["air_temperature"].columns
    for name, frame in found.items():
        frame = frame.reindex(columns=members)  # what one lacks is unknown
        found[name] = frame.asfreq("h").shift(-1) if stamp == "end" and name in SUMS else frame
    tables = [_table({name: frame[member] for name, frame in found.items()}) for member in members]
    tables[0].attrs = {
        "source": {
            "name": path.name, "issued": issued, "fetched": None, "credit": credit, "stale": False,
        },
        "forecast_from": tables[0].index[0] if issued is None else issued.ceil("h"),
    }  # fmt: skip
    return side_by_side(tables, LIMITS, path.name)


def _table(series: Mapping[str, pd.Series]) -> pd.DataFrame:
    """One member's hours in our units."""
    raw = pd.DataFrame(dict(series)).asfreq("h")
    given = {
        QUANTITIES[str(name)].ours: values.to_numpy(dtype=float, copy=True)
        for name, values in raw.items()
    }
    east, north = (given.pop(name, None) for name in ("east_ms", "north_ms"))
    if east is not None and north is not None:
        given.setdefault("wind_ms", np.hypot(east, north))
        given.setdefault("wind_from_deg", np.degrees(np.arctan2(-east, -north)) % 360.0)
    humidity = given.pop("rh_pct", None)
    if humidity is not None and "dew_point_c" not in given:
        sound = np.where(humidity > 0.0, np.minimum(humidity, 100.0), np.nan)
        given["dew_point_c"] = np.asarray(dew_point_from_humidity(given["temp_c"], sound))
    given["temp_c"] = without_long_lines(given["temp_c"])
    given.setdefault("wind_ms", np.full(len(raw), np.nan))
    return pd.DataFrame({name: given[name] for name in COLUMNS if name in given}, index=raw.index)


def _in_our_unit(name: str, frame: pd.DataFrame, unit: str | None, path: Path) -> pd.DataFrame:
    """Values [hour, member] of a CF quantity; its canonical unit where none is told."""
    quantity = QUANTITIES[name]
    if unit is None or unit in quantity.spellings:
        unit = quantity.canonical
    if not all(pd.api.types.is_numeric_dtype(kind) for kind in frame.dtypes):
        raise WeatherError(f"{path.name}: {name} holds more than numbers")
    values = frame.to_numpy(dtype=float)
    try:
        if quantity.canonical == "mm/s":
            if unit != "mm/s":
                raise InputError("no flux")
            values, unit = values * 3600.0, "mm"  # of the hour
        values = np.asarray(convert(values, unit, quantity.unit))
    except InputError as error:
        raise InputError(f"{name} comes in {brief(unit)}", where=str(path)) from error
    return pd.DataFrame(values, index=frame.index, columns=frame.columns)


def _hours(times: Any, path: Path) -> pd.DatetimeIndex:
    try:
        index = pd.DatetimeIndex(pd.to_datetime(times, utc=True, format="ISO8601"), name="time")
    except (ValueError, TypeError) as error:
        raise WeatherError(f"{path.name}: a stamp is not a time") from error
    if not len(index) or index.hasnans or (index != index.floor("h")).any():
        raise WeatherError(f"{path.name}: a stamp is not on an hour")
    if has_wrong_date(index[0].timestamp() / 3600, index[-1].timestamp() / 3600, len(index)):
        raise WeatherError(f"{path.name}: the stamps span more than a century, with few rows")
    return index


def _one_of(names: tuple[str, ...], there: Any, what: str, path: Path) -> str:
    found = next((name for name in names if name in there), None)
    if found is None:
        raise InputError(
            f"no {what}", where=str(path), expected=" or ".join(names), got=", ".join(there)
        )
    return found


def _parquet(path: Path) -> tuple[dict[str, pd.DataFrame], pd.Timestamp | None]:
    try:
        rows = pd.read_parquet(path)
    except ImportError as error:
        raise InputError(
            f'{path}: Parquet needs an extra; pip install "spraywindow[parquet]"'
        ) from error
    except (OSError, ValueError) as error:
        words = " ".join(str(error).split())
        raise InputError(f"{path}: the Parquet file is damaged; {words}") from error
    names = [str(name) for name in rows.columns]
    for needed in ("variable", "prediction"):
        _one_of((needed,), names, "column", path)
    time = _one_of(TIME_NAMES, names, "column of times", path)
    member = _one_of(MEMBER_NAMES, names, "column of members", path)
    for once in (*ISSUE_NAMES, "latitude", "longitude"):
        if once in names and rows[once].nunique() > 1:
            raise InputError(
                f"several values of {once}", where=str(path), expected="one issue, one place"
            )
    rows["variable"] = rows["variable"].replace(SAME)
    rows = rows[rows["variable"].isin(QUANTITIES)]
    if rows.duplicated([time, member, "variable"]).any():
        raise InputError("an hour of a member stands twice", where=str(path))
    found = {}
    for name, part in rows.groupby("variable"):
        frame = part.pivot(index=time, columns=member, values="prediction").sort_index()
        frame.index = _hours(frame.index, path)
        found[str(name)] = _in_our_unit(str(name), frame, None, path)
    issue = next((name for name in ISSUE_NAMES if name in names), None)
    issued = None if issue is None or rows.empty else _issue(rows[issue].iloc[0], path)
    return found, issued


def _issue(given: Any, path: Path) -> pd.Timestamp:
    try:
        issued = pd.Timestamp(given)
    except (ValueError, TypeError) as error:
        raise WeatherError(f"{path.name}: the time of issue is none") from error
    return issued.tz_localize("UTC") if issued.tzinfo is None else issued.tz_convert("UTC")


def _netcdf(path: Path) -> tuple[dict[str, pd.DataFrame], pd.Timestamp | None]:
    try:
        import xarray
    except ImportError as error:
        raise InputError(
            f'{path}: netCDF needs an extra; pip install "spraywindow[netcdf]"'
        ) from error
    try:
        with xarray.open_dataset(path) as opened:
            data = opened.load().squeeze()
    except (OSError, ValueError) as error:
        words = " ".join(str(error).split())[:200]
        raise InputError(f"{path}: the netCDF file cannot be read; {words}") from error
    dims = [str(dim) for dim in data.dims]
    time = _one_of(TIME_NAMES, dims, "dimension of times", path)
    member = _one_of(MEMBER_NAMES, dims, "dimension of members", path)
    if more := [dim for dim in dims if dim not in (time, member)]:
        raise InputError(
            "more than times and members",
            where=str(path),
            expected="one place",
            got=", ".join(more),
        )
    found = {}
    for variable in data.data_vars.values():
        name = str(variable.attrs.get("standard_name", variable.name))
        name = SAME.get(name, name)
        if name in QUANTITIES and set(variable.dims) == {time, member}:
            frame = pd.DataFrame(
                variable.transpose(time, member).to_numpy(),
                data[time].to_numpy(),
                data[member].to_numpy(),
            )
            frame.index = _hours(frame.index, path)
            unit = str(variable.attrs.get("units", "none"))
            found[name] = _in_our_unit(name, frame, unit, path)
    issue = next((name for name in ISSUE_NAMES if name in data.coords), None)
    return found, None if issue is None else _issue(data[issue].to_numpy()[()], path)
