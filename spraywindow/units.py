"""The units of this trade, read as people write them: "12 ft", "85 degF", "4 days", "5 gal/acre".

A small table instead of a units library: importing one costs half a cold start. The library
`pint` is the oracle in the tests.

References
----------
.. [1] NIST Special Publication 811 (2008), Guide for the Use of the SI, appendix B.8: factors.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from spraywindow.errors import InputError

Number = TypeVar("Number", float, np.ndarray)


@dataclass(frozen=True)
class Unit:
    """A unit: ``base value = scale * value + offset`` in the base unit of its dimension."""

    dimension: str
    scale: float
    offset: float = 0.0


_MILE_M, _FOOT_M, _INCH_M, _GALLON_L, _POUND_KG = 1609.344, 0.3048, 0.0254, 3.785411784, 0.45359237
_ACRE_M2 = 4046.8564224

_TABLE: dict[str, tuple[str, float, float, str]] = {
    # name: dimension, scale, offset, other spellings
    "degC": ("temperature", 1.0, 0.0, "°c c celsius deg_c degreesc wmounit:degc"),
    "degF": ("temperature", 5 / 9, -160 / 9, "°f f fahrenheit deg_f degreesf wmounit:degf"),
    "K": ("temperature", 1.0, -273.15, "kelvin wmounit:k"),
    "m": ("length", 1.0, 0.0, "metre metres meter meters wmounit:m"),
    "mm": ("length", 1e-3, 0.0, "millimetre millimetres millimeter millimeters wmounit:mm"),
    "cm": ("length", 1e-2, 0.0, "centimetre centimetres centimeter centimeters"),
    "km": ("length", 1e3, 0.0, "kilometre kilometres kilometer kilometers"),
    "in": ("length", _INCH_M, 0.0, "inch inches"),
    "ft": ("length", _FOOT_M, 0.0, "foot feet"),
    "yd": ("length", 3 * _FOOT_M, 0.0, "yard yards"),
    "mi": ("length", _MILE_M, 0.0, "mile miles"),
    "m/s": ("speed", 1.0, 0.0, "mps ms-1 wmounit:m_s-1"),
    "km/h": ("speed", 1 / 3.6, 0.0, "kmh kph km/hr wmounit:km_h-1"),
    "mph": ("speed", _MILE_M / 3600, 0.0, "mi/h mi/hr"),
    "kn": ("speed", 1852 / 3600, 0.0, "kt kts knot knots"),
    "hPa": ("pressure", 1.0, 0.0, "mb mbar millibar millibars"),
    "kPa": ("pressure", 10.0, 0.0, ""),
    "Pa": ("pressure", 0.01, 0.0, "wmounit:pa"),
    "inHg": ("pressure", 33.86389, 0.0, ""),
    "W/m2": ("irradiance", 1.0, 0.0, "w/m^2 w/m² wm-2"),
    "MJ/m2/h": ("irradiance", 1e6 / 3600, 0.0, "mj/m^2/h mj/m²/h"),
    "fraction": ("share", 1.0, 0.0, "1 ratio"),
    "%": ("share", 0.01, 0.0, "percent pct wmounit:percent"),
    "oktas": ("share", 0.125, 0.0, "okta"),
    "tenths": ("share", 0.1, 0.0, "tenth"),
    "deg": ("angle", 1.0, 0.0, "° degree degrees wmounit:degree_(angle)"),
    "h": ("time", 1.0, 0.0, "hr hrs hour hours"),
    "min": ("time", 1 / 60, 0.0, "minute minutes"),
    "s": ("time", 1 / 3600, 0.0, "sec second seconds"),
    "d": ("time", 24.0, 0.0, "day days"),
    "week": ("time", 168.0, 0.0, "weeks wk"),
    "L": ("volume", 1.0, 0.0, "l litre litres liter liters"),
    "mL": ("volume", 1e-3, 0.0, "ml millilitre milliliter cc"),
    "m3": ("volume", 1e3, 0.0, "m^3 m³ cubic_metre cubic_metres"),
    "gal": ("volume", _GALLON_L, 0.0, "gallon gallons"),
    "qt": ("volume", _GALLON_L / 4, 0.0, "quart quarts"),
    "pt": ("volume", _GALLON_L / 8, 0.0, "pint pints"),
    "cup": ("volume", _GALLON_L / 16, 0.0, "cups"),
    "fl_oz": ("volume", _GALLON_L / 128, 0.0, "floz fluid_ounce fluid_ounces"),
    "Tbsp": ("volume", _GALLON_L / 256, 0.0, "tbsp tablespoon tablespoons"),
    "tsp": ("volume", _GALLON_L / 768, 0.0, "teaspoon teaspoons"),
    "ft3": ("volume", 1e3 * _FOOT_M**3, 0.0, "ft^3 ft³ cubic_foot cubic_feet cuft"),
    "yd3": ("volume", 27e3 * _FOOT_M**3, 0.0, "yd^3 yd³ cubic_yard cubic_yards cuyd"),
    "kg": ("mass", 1.0, 0.0, "kilogram kilograms"),
    "g": ("mass", 1e-3, 0.0, "gram grams"),
    "lb": ("mass", _POUND_KG, 0.0, "lbs pound pounds"),
    "oz": ("mass", _POUND_KG / 16, 0.0, "ounce ounces"),
    "m2": ("area", 1.0, 0.0, "m^2 m² square_metres"),
    "ha": ("area", 1e4, 0.0, "hectare hectares"),
    "acre": ("area", _ACRE_M2, 0.0, "ac acres"),
    "ft2": ("area", _FOOT_M**2, 0.0, "ft^2 ft² sqft square_feet"),
}

UNITS: dict[str, Unit] = {}
for _name, (_dimension, _scale, _offset, _others) in _TABLE.items():
    for _spelling in (_name, _name.lower(), *_others.split()):
        UNITS.setdefault(_spelling, Unit(_dimension, _scale, _offset))

_QUANTITY = re.compile(r"^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")
_POINTS = (
    "N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE",
    "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW",
)  # fmt: skip
_NAMED_POINTS = (
    "north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest",
)  # fmt: skip


def unit(text: object, *, where: str = "", dimension: str = "") -> Unit:
    """Look a unit up by any spelling in the table, or as a quotient of two ("kg/ha").

    Raises
    ------
    InputError
        If the unit is unknown; the message lists the known ones, of `dimension` where it is given.
    """
    key = text.strip().replace(" ", "_") if isinstance(text, str) else text
    for candidate in (key, key.lower()) if isinstance(key, str) else ():
        if candidate in UNITS:
            return UNITS[candidate]
    if isinstance(key, str) and 0 < key.count("/") < 4:
        above, below = (unit(part, where=where) for part in key.rsplit("/", 1))
        if not above.offset and not below.offset:
            if (above.dimension, below.dimension) == ("length", "time"):
                return Unit("speed", above.scale / below.scale / 3600)  # "ft/s": m/h to m/s
            return Unit(f"{above.dimension}/{below.dimension}", above.scale / below.scale)
    known = [name for name, row in _TABLE.items() if dimension in ("", row[0])] or [*_TABLE]
    raise InputError("unknown unit", where=where, expected="one of " + ", ".join(known), got=text)


def convert(values: Number, source: object, target: str, *, where: str = "") -> Number:
    """Convert a number or an array from one unit to another of the same dimension.

    Parameters
    ----------
    values : float or array
        In `source` units; NaN stays NaN.
    source, target : str
        Unit names, the source's as it was found; a `target` of ``"delta_degC"`` or
        ``"delta_degF"`` converts a difference.

    Raises
    ------
    InputError
        If a unit is unknown or the two do not measure the same thing.

    Examples
    --------
    >>> convert(50.0, "degF", "degC")
    10.0
    >>> round(convert(10.0, "mph", "m/s"), 4)
    4.4704
    """
    difference = target.startswith("delta_")
    wanted = unit(target.removeprefix("delta_"))
    source_name = str(source).removeprefix("delta_") if difference else source
    given = unit(source_name, where=where, dimension=wanted.dimension)
    if given.dimension != wanted.dimension:
        raise InputError(
            f"a {given.dimension} where a {wanted.dimension} belongs",
            where=where,
            expected=f"a unit such as {target}",
            got=source,
        )
    if given == wanted:
        return values
    if difference or not (given.offset or wanted.offset):
        return values * (given.scale / wanted.scale)
    return (values * given.scale + (given.offset - wanted.offset)) / wanted.scale


def quantity(text: object, target: str, *, where: str = "") -> float:
    """Read "12 ft" as a number in `target` units; a bare number is refused.

    Raises
    ------
    InputError
        If there is no number, no unit, or a unit of another dimension.

    Examples
    --------
    >>> round(quantity("12 ft", "m"), 4)
    3.6576
    >>> quantity("NW", "deg")
    315.0
    """
    point = _compass_deg(text) if isinstance(text, str) and target == "deg" else None
    if point is not None:
        return point
    match = _QUANTITY.match(text) if isinstance(text, str) else None
    if match is not None and not np.isfinite(float(match[1])):
        match = None
    if match is None or not match[2]:
        bare = match is not None or (isinstance(text, int | float) and not isinstance(text, bool))
        example = f'"3 {target.removeprefix("delta_")}"' if target != "deg" else '"NW" or "120 deg"'
        raise InputError(
            "a number without its unit" if bare else "not a quantity",
            where=where,
            expected=f"text such as {example}",
            got=text,
        )
    return float(convert(float(match[1]), match[2], target, where=where))


def _compass_deg(text: str) -> float | None:
    """Bearing of a compass point, "NNW" or "north-west" [deg]; None for any other text."""
    word = text.strip().upper()
    if word in _POINTS:
        return _POINTS.index(word) * 22.5
    name = "".join(text.lower().replace("-", " ").split())
    return _NAMED_POINTS.index(name) * 45.0 if name in _NAMED_POINTS else None
