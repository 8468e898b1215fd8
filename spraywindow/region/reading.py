"""A dataset of many sites by the CF conventions: what gives each column, where, and on which hours.

Only attributes and coordinates are read here; the values stay where they are. A total, mean or
maximum needs the bounds of its hours: a rain that is shifted by an hour is a false "go".

References
----------
.. [1] CF Conventions 1.11, sections 3.1 (units), 3.3 (standard names), 7.1 (cell boundaries).
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from spraywindow.errors import InputError, WeatherError, one_line
from spraywindow.place import Place
from spraywindow.sources.members import QUANTITIES, SAME, TIME_NAMES
from spraywindow.units import convert
from spraywindow.weather import (
    COARSE,
    COLUMNS,
    REQUIRED,
    Array,
    dew_point_from_humidity,
    index_problems,
)

AMOUNTS = {
    "precipitation_amount": "mm",
    "thickness_of_rainfall_amount": "m",
    "thickness_of_precipitation_amount": "m",
    "lwe_thickness_of_precipitation_amount": "m",
}
"""Standard names of rain as a depth of water, and their canonical units; 1 kg/m2 is 1 mm."""
SPELLINGS = {"kg m-2": "mm", "kg/m2": "mm", "kg m**-2": "mm"}
MADE_OF = {"rh_pct": "dew_point_c", "east_ms": "wind_ms", "north_ms": "wind_ms"}
"""What stands in for a column of ours that the dataset lacks."""
LATITUDE, LONGITUDE = ("latitude", "lat"), ("longitude", "lon")
ELEVATION = (
    "surface_altitude", "altitude", "height_above_mean_sea_level", "elevation", "elevation_m",
)  # fmt: skip
TIMEZONE = "timezone"
HOUR = np.timedelta64(1, "h")


@dataclass(frozen=True)
class Given:
    """One variable of the dataset: what of ours it gives, its unit, and whether it is end-stamped.

    `flux` says that it is a rate over the hour, of which the hour's sum is made.
    """

    variable: Hashable
    ours: str
    unit: str
    to: str
    flux: bool = False
    end: bool = False

    def values(self, found: NDArray[Any]) -> Array:
        """Values [hour, site] in our unit, on hour starts."""
        values = np.asarray(found, dtype=float)
        if self.flux:
            values = values * 3600.0
        values = np.asarray(convert(values, self.unit, self.to))
        if self.end:
            values = np.concatenate([values[1:], np.full((1, *values.shape[1:]), np.nan)])
        return values


@dataclass(frozen=True, eq=False)
class Region:
    """A dataset understood.

    Attributes
    ----------
    data : Dataset
        On a gap-free hourly dimension ``time``; its coordinates are loaded.
    time : hashable
        What its dimension of times was called.
    given : tuple of Given
    latitude, longitude, elevation : DataArray
        Loaded, over the dimensions of the sites [degrees, degrees, m].
    timezone : DataArray or None
        IANA names over the dimensions of the sites.
    notes : tuple of str
        What was made of it.
    """

    data: xr.Dataset
    time: Hashable
    given: tuple[Given, ...]
    latitude: xr.DataArray
    longitude: xr.DataArray
    elevation: xr.DataArray
    timezone: xr.DataArray | None
    notes: tuple[str, ...]

    @property
    def index(self) -> pd.DatetimeIndex:
        """The hours, UTC."""
        return pd.DatetimeIndex(self.data["time"].to_numpy()).tz_localize("UTC")

    @property
    def dims(self) -> tuple[Hashable, ...]:
        """All dimensions but time, in the order of the temperature."""
        over = self.data[self.variable("temp_c")].dims
        return tuple(dim for dim in over if dim != "time")

    def variable(self, ours: str) -> Hashable:
        """The variable that gives something of ours."""
        return next(each.variable for each in self.given if each.ours == ours)

    @property
    def columns(self) -> tuple[str, ...]:
        """Columns of the weather table that it gives."""
        ours = {MADE_OF.get(each.ours, each.ours) for each in self.given}
        if {"east_ms", "north_ms"} & {each.ours for each in self.given}:
            ours.add("wind_from_deg")
        return tuple(name for name in (*COLUMNS, *COARSE) if name in ours)


def read_region(dataset: xr.Dataset) -> Region:
    """Understand a dataset, or refuse it with everything that is wrong with it.

    Parameters
    ----------
    dataset : Dataset
        Dimension ``time`` (hours, UTC) and any others; CF standard names with ``units``, or our
        own names of the weather table (which carry their unit). Totals, means and maxima over the
        hour need the time's ``bounds``. Coordinates latitude, longitude and surface altitude, and
        ``timezone`` (also as an attribute of the dataset), over some of the other dimensions.

    Raises
    ------
    InputError
        A quantity is missing or stands twice, a unit cannot be converted, no place is told.
    WeatherError
        The hours break the contract of the weather table.
    """
    time = _time(dataset)
    data = dataset if time == "time" else dataset.rename({time: "time"})
    data = data.assign_coords({name: each.load() for name, each in data.coords.items()})
    found, problems = _given(data)
    ours = {each.ours for each in found}
    lacking = [
        name
        for name in REQUIRED
        if name not in ours
        and not (name == "dew_point_c" and "rh_pct" in ours)
        and not (name == "wind_ms" and {"east_ms", "north_ms"} <= ours)
    ]
    if lacking:
        what = "no " + ", no ".join(COLUMNS[name].name for name in lacking)
        problems.append(f"{what}; variables are {', '.join(map(str, data.data_vars)) or 'none'}")
    shift, trouble = _shift(data)
    whole_hour = [each for each in found if _of_the_hour(each.ours)]
    if trouble and whole_hour:
        problems.append(f"{', '.join(str(each.variable) for each in whole_hour)}: {trouble}")
    places: dict[str, xr.DataArray] = {}
    for name, names in (
        ("latitude", LATITUDE), ("longitude", LONGITUDE), ("elevation", ELEVATION),
    ):  # fmt: skip
        coordinate = _coordinate(data, names)
        if coordinate is None:
            problems.append(f"no {name}; expected a coordinate {' or '.join(names)}")
        else:
            places[name] = coordinate
    if problems:
        raise InputError(one_line(problems))
    places["longitude"] = places["longitude"].where(
        places["longitude"] <= 180.0, places["longitude"] - 360.0
    )
    _check_ranges(places)
    if "time" not in data[next(each.variable for each in found if each.ours == "temp_c")].dims:
        raise InputError("the temperature has no dimension of times")
    given = tuple(
        Given(each.variable, each.ours, each.unit, each.to, each.flux,
              end=bool(shift) and _of_the_hour(each.ours))
        for each in found
    )  # fmt: skip
    data, notes = _whole_hours(data)
    zone = data.coords.get(TIMEZONE, data.attrs.get(TIMEZONE))
    return Region(
        data=data[[each.variable for each in given]],
        time=time,
        given=given,
        timezone=None if zone is None else xr.DataArray(zone),
        notes=tuple(notes),
        **places,
    )


def columns_of(given: Iterable[Given], found: Mapping[str, NDArray[Any]]) -> dict[str, Array]:
    """Columns [hour, site] of the weather table, from what the dataset's variables hold."""
    out = {each.ours: each.values(found[each.ours]) for each in given}
    east, north = out.pop("east_ms", None), out.pop("north_ms", None)
    if east is not None and north is not None:
        out.setdefault("wind_ms", np.hypot(east, north))
        out.setdefault("wind_from_deg", np.degrees(np.arctan2(-east, -north)) % 360.0)
    humidity = out.pop("rh_pct", None)
    if humidity is not None and "dew_point_c" not in out:
        sound = np.where(humidity > 0.0, np.minimum(humidity, 100.0), np.nan)
        out["dew_point_c"] = np.asarray(dew_point_from_humidity(out["temp_c"], sound))
    return out


def _time(dataset: xr.Dataset) -> Hashable:
    """What the dimension of times is called."""
    named = [
        name for name, each in dataset.coords.items()
        if each.dims == (name,) and (each.attrs.get("standard_name") == "time" or
                                     name in TIME_NAMES)
    ]  # fmt: skip
    if len(named) != 1:
        raise InputError(
            "no dimension of times" if not named else "several dimensions of times",
            expected=" or ".join(TIME_NAMES), got=", ".join(map(str, dataset.dims)),
        )  # fmt: skip
    if not np.issubdtype(dataset[named[0]].dtype, np.datetime64):
        raise WeatherError("the times are no dates", got=str(dataset[named[0]].dtype))
    return named[0]


def _of_the_hour(ours: str) -> bool:
    """Whether a quantity of ours tells of a whole hour, and not of its stamp."""
    return ours in COARSE or (ours in COLUMNS and COLUMNS[ours].kind != "instant")


def _given(data: xr.Dataset) -> tuple[list[Given], list[str]]:
    found: dict[str, Given] = {}
    problems = []
    for variable, each in data.data_vars.items():
        standard = str(each.attrs.get("standard_name", ""))
        standard = SAME.get(standard, standard)
        try:
            given = _one(variable, each, standard)
        except InputError as error:
            problems.append(f"{variable}: {error}")
            continue
        if given is None:
            continue
        if given.ours in found:
            twice = f"{found[given.ours].variable} and {variable}"
            problems.append(f"{twice} both give {given.ours}; keep one")
        found[given.ours] = given
    return list(found.values()), problems


def _one(variable: Hashable, each: xr.DataArray, standard: str) -> Given | None:
    """What a variable gives; None where it is nothing of ours."""
    unit = each.attrs.get("units")
    if standard in QUANTITIES or standard in AMOUNTS:
        if unit is None:
            raise InputError(f"{standard} without units")
        if standard in AMOUNTS:
            ours, to, spelled, flux = "rain_mm", "mm", SPELLINGS.get(str(unit), str(unit)), False
        else:
            quantity = QUANTITIES[standard]
            flux = quantity.canonical == "mm/s"
            ours, to = quantity.ours, "mm" if flux else quantity.unit
            spelled = quantity.canonical if unit in quantity.spellings else str(unit)
            if flux:
                if spelled != "mm/s":
                    raise InputError("units", expected="kg m-2 s-1", got=unit)
                spelled = "mm"
    elif variable in COLUMNS or variable in COARSE:
        ours, flux = str(variable), False
        to = (COLUMNS | COARSE)[ours].unit
        spelled = to if unit is None else str(unit)
    else:
        return None
    if not (np.issubdtype(each.dtype, np.number)):
        raise InputError("it holds no numbers", got=str(each.dtype))
    if ours == "rain_mm" and "time: point" in str(each.attrs.get("cell_methods", "")):
        raise InputError("rain at an instant is no sum over the hour", expected="time: sum or mean")
    try:
        convert(0.0, spelled, to)
    except InputError as error:
        raise InputError("it comes in another unit", expected=f"such as {to}", got=unit) from error
    return Given(variable, ours, spelled, to, flux)


def _shift(data: xr.Dataset) -> tuple[int, str]:
    """How many rows behind its hour a total is stamped; or why nobody knows."""
    time = data["time"]
    name = time.attrs.get("bounds", time.encoding.get("bounds"))
    if name is None or name not in data.variables:
        return 0, (
            "which hours they are of is not told; expected time bounds (CF 7.1): the attribute "
            '"bounds" of time, and the variable that it names'
        )
    bounds = data[name].to_numpy()
    if bounds.shape != (time.size, 2) or not np.issubdtype(bounds.dtype, np.datetime64):
        return 0, f"the bounds {name} are no pairs of times"
    length = bounds[:, 1] - bounds[:, 0]
    if (length != HOUR).any():
        longest = length.max() / HOUR
        return 0, f"they are of other periods than an hour; got {longest:g} h"
    if (bounds[:, 0] == time.to_numpy()).all():
        return 0, ""
    if (bounds[:, 1] == time.to_numpy()).all():
        return 1, ""
    return 0, "their hours neither begin nor end at the times"


def _coordinate(data: xr.Dataset, names: tuple[str, ...]) -> xr.DataArray | None:
    for name, each in data.variables.items():
        if each.attrs.get("standard_name") in names or name in names:
            found = data[name].reset_coords(drop=True).load().astype(float)
            unit = str(each.attrs.get("units", ""))
            if names == ELEVATION and unit:
                found = found.copy(data=np.asarray(convert(found.to_numpy(), unit, "m")))
            return found
    return None


def _check_ranges(places: Mapping[str, xr.DataArray]) -> None:
    for name, low, high in (
        ("latitude", -90.0, 90.0), ("longitude", -180.0, 180.0), ("elevation", -450.0, 6000.0),
    ):  # fmt: skip
        values = places[name].to_numpy()
        wrong = ~((values >= low) & (values <= high))
        if wrong.any():
            raise InputError(
                f"{int(wrong.sum())} sites with a {name} out of range",
                expected=f"{low:g} to {high:g}", got=float(values[wrong].flat[0]),
            )  # fmt: skip


def _whole_hours(data: xr.Dataset) -> tuple[xr.Dataset, list[str]]:
    """Every hour a row, those that lack as NaN."""
    index = pd.DatetimeIndex(data["time"].to_numpy()).tz_localize("UTC")
    if problems := index_problems(index):
        raise WeatherError(one_line(problems))
    full = pd.date_range(index[0], index[-1], freq="h").tz_localize(None)
    if len(full) == len(index):
        return data, []
    return data.reindex(time=full), [f"{len(full) - len(index)} missing hours are unknown"]


def time_zones(region: Region) -> tuple[xr.DataArray, tuple[str, ...]]:
    """Numbers of the sites' time zones, and the zones.

    Raises
    ------
    InputError
        If none is told or one is unknown.
    """
    if region.timezone is None:
        raise InputError(
            f"no {TIMEZONE}: local days are needed",
            expected=f'a coordinate or an attribute {TIMEZONE}, such as "Europe/Athens"',
        )
    names, numbers = np.unique(region.timezone.to_numpy().astype(str), return_inverse=True)
    for name in names:
        Place(0.0, 0.0, 0.0, str(name))  # refuses what is no zone
    shaped = region.timezone.copy(data=numbers.reshape(region.timezone.shape))
    return shaped, tuple(map(str, names))


def credit_of(dataset: xr.Dataset) -> str:
    """Whom to name for the weather: the dataset's credit, else where it says it comes from."""
    told = dataset.attrs
    if told.get("credit"):
        return str(told["credit"])
    return "; ".join(str(told[name]) for name in ("institution", "source") if told.get(name))
