"""Fields of a forecast as their files tell them: what, over which hours, for which member.

The names and step types are those of GRIB as ecCodes gives them (`WANTED`); netCDF comes to the
same by its CF names, cell methods and time bounds.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import InputError
from spraywindow.units import convert
from spraywindow.weather import COARSE, COLUMNS

Floats = NDArray[np.float64]
SINGLE = -1
"""Number of the member of a forecast that has no members."""


class Wanted(NamedTuple):
    """What of ours a quantity gives, and over which kinds of steps it can be read."""

    ours: str
    kinds: tuple[str, ...]


WANTED = {
    "2t": Wanted("temp_c", ("instant",)),
    "mn2t": Wanted("temp_min_c", ("min",)),
    "mx2t": Wanted("temp_max_c", ("max",)),
    "mn2t3": Wanted("temp_min_c", ("min",)),
    "mx2t3": Wanted("temp_max_c", ("max",)),
    "mn2t6": Wanted("temp_min_c", ("min",)),
    "mx2t6": Wanted("temp_max_c", ("max",)),
    "2d": Wanted("dew_point_c", ("instant",)),
    "2r": Wanted("rh_pct", ("instant",)),
    "10u": Wanted("east_ms", ("instant",)),
    "10v": Wanted("north_ms", ("instant",)),
    "10si": Wanted("wind_ms", ("instant",)),
    "10wdir": Wanted("wind_from_deg", ("instant",)),
    "10fg": Wanted("gust_ms", ("max",)),
    "10fg3": Wanted("gust_ms", ("max",)),
    "10fg6": Wanted("gust_ms", ("max",)),
    "max_i10fg": Wanted("gust_ms", ("max",)),
    "i10fg": Wanted("gust_ms", ("instant", "max")),
    "gust": Wanted("gust_ms", ("instant", "max")),
    "tp": Wanted("rain_mm", ("accum",)),
    "tcc": Wanted("cloud", ("instant",)),
    "ssrd": Wanted("solar_wm2", ("accum", "avg")),
    "sdswrf": Wanted("solar_wm2", ("avg",)),
    "avg_sdswrf": Wanted("solar_wm2", ("avg",)),
    "sp": Wanted("pressure_hpa", ("instant",)),
    "z": Wanted("cell_m", ("instant",)),
    "orog": Wanted("cell_m", ("instant",)),
}
"""By the short name of ecCodes."""
UNITS = {
    "K": "K", "m s**-1": "m/s", "kg m**-2": "mm", "m": "m", "(0 - 1)": "fraction", "%": "%",
    "Pa": "Pa", "Degree true": "deg", "degrees": "deg", "W m**-2": "W/m2",
}  # fmt: skip
"""Spellings of ecCodes that the table of units does not have."""
JOULES = "J m**-2"
OTHER_UNIT = "another unit than is known for it"
GEOPOTENTIAL = "m**2 s**-2"
GRAVITY = 9.80665
"""Geopotential over height: the constant of WMO-No. 306, code table 4.2 [m/s2]."""
PARTS = {"rh_pct": "%", "east_ms": "m/s", "north_ms": "m/s", "cell_m": "m"}
"""Units of what is no column of the weather table, but gives one."""


class Key(NamedTuple):
    """Of one field: what of ours, its kind of step, its hours since 1970, its member."""

    ours: str
    kind: str
    start_h: int
    end_h: int
    member: int


@dataclass(eq=False)
class Fields:
    """What the fields say at the sites.

    Attributes
    ----------
    sites : int
        How many.
    values : dict of Key to float32 array [site]
        In our units; radiation summed over its step in W h/m2. NaN is unknown.
    run : Timestamp or None
        When the forecast was begun, UTC.
    centre : str
        Who made it.
    cell_m : array [site] or None
        Height of the grid's ground there [m].
    turned : bool
        Whether winds are told along rows and columns that do not run east and north: their speed
        is known, and where they come from is not.
    """

    sites: int
    values: dict[Key, NDArray[np.float32]] = field(default_factory=dict)
    run: pd.Timestamp | None = None
    centre: str = ""
    cell_m: Floats | None = None
    turned: bool = False

    def add(self, key: Key, values: Floats, where: str) -> None:
        """Take one field in; the same one twice only if it says the same."""
        if key.ours == "cell_m":
            self.cell_m = values
            return
        kept = values.astype(np.float32)
        there = self.values.setdefault(key, kept)
        if there is not kept and not np.array_equal(there, kept, equal_nan=True):
            hours = f"hours {key.start_h} to {key.end_h} since 1970"
            raise InputError(f"{key.ours} of {hours} stands twice and differs", where=where)

    def issued(self, run: pd.Timestamp, where: str) -> None:
        """Take the time of issue in; all fields are of one."""
        if self.run is not None and self.run != run:
            raise InputError(
                "fields of several runs", where=where, expected=f"those of {self.run}", got=str(run)
            )
        self.run = run


def in_our_unit(values: Floats, key: Key, unit: str, where: str) -> Floats:
    """Values in the unit of a column of ours, or of what gives one.

    Radiation comes as a sum [W h/m2], of energy or of a mean over the step.

    Raises
    ------
    InputError
        If the unit is not known for it.
    """
    ours = key.ours
    if ours == "cell_m" and unit == GEOPOTENTIAL:
        return values / GRAVITY
    if ours == "solar_wm2" and key.kind == "accum":
        if unit == JOULES:
            return values / 3600.0
        raise InputError(OTHER_UNIT, where=where, expected=JOULES, got=unit)
    to = PARTS.get(ours) or (COLUMNS | COARSE)[ours].unit
    try:
        out = np.asarray(convert(values, UNITS.get(unit, unit), to))
    except InputError as error:
        raise InputError(OTHER_UNIT, where=where, expected=f"such as {to}", got=unit) from error
    return out * (key.end_h - key.start_h) if ours == "solar_wm2" else out
