"""Every unit against pint; what is refused, and how."""

from __future__ import annotations

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spraywindow import units
from spraywindow.errors import InputError
from spraywindow.units import UNITS, convert, quantity, unit

PINT = pint.UnitRegistry()
BASE = {
    "temperature": "degC", "length": "m", "speed": "m/s", "pressure": "hPa", "irradiance": "W/m^2",
    "share": "dimensionless", "angle": "deg", "time": "hour", "volume": "liter", "mass": "kg",
    "area": "m^2",
}  # fmt: skip
PINT_NAME = {
    "inHg": "inch_Hg_32F", "kn": "knot", "W/m2": "W/m^2", "MJ/m2/h": "MJ/m^2/hour",
    "fraction": "dimensionless", "%": "percent", "oktas": "0.125 dimensionless",
    "tenths": "0.1 dimensionless", "m3": "m^3", "fl_oz": "fluid_ounce", "Tbsp": "tablespoon",
    "tsp": "teaspoon", "ft3": "ft^3", "yd3": "yd^3", "m2": "m^2", "ft2": "ft^2", "gal": "gallon",
    "qt": "quart", "pt": "pint", "h": "hour", "d": "day", "in": "inch", "cup": "cup", "L": "liter",
}  # fmt: skip


@pytest.mark.parametrize("name", units._TABLE)
def test_every_unit_against_pint(name: str) -> None:
    ours, given_unit = UNITS[name], PINT_NAME.get(name, name)
    base = BASE[ours.dimension]
    if ours.dimension == "temperature":
        theirs = PINT.Quantity(37.5, name).to("degC").magnitude
    else:
        theirs = (37.5 * PINT.Quantity(given_unit)).to(base).magnitude
    # pint's acre is of survey feet (4e-6 larger); inches of mercury differ in the seventh digit
    assert ours.scale * 37.5 + ours.offset == pytest.approx(theirs, rel=5e-6)


@given(st.sampled_from(sorted(units._TABLE)), st.floats(-1e6, 1e6))
def test_there_and_back(name: str, value: float) -> None:
    base = next(n for n in units._TABLE if UNITS[n].dimension == UNITS[name].dimension)
    back = convert(convert(value, name, base), base, name)
    assert back == pytest.approx(value, rel=1e-9, abs=1e-6)


@pytest.mark.parametrize(
    ("text", "target", "value"),
    [
        ("12 ft", "m", 3.6576), ("85 degF", "degC", 29.4444), ("4 days", "h", 96.0),
        ("5 gal/acre", "L/ha", 46.7698), ("0.254 mm", "in", 0.01), ("10mph", "m/s", 4.4704),
        ("-4 °C", "degF", 24.8), ("+1e1 M", "ft", 32.8084), (".5 hPa", "Pa", 50.0),
        ("3 FT/S", "m/s", 0.9144), ("2 lb/acre", "kg/ha", 2.24170), ("2 percent", "%", 2.0),
        ("5 degF", "delta_degC", 2.77778), ("5 DELTA_DEGF", "delta_degC", None),
        ("5 delta_degF", "delta_degF", 5.0), ("29.92 INHG", "hPa", 1013.2),
        ("50 deg F", "degC", 10.0), ("1 cubic yard", "ft3", 27.0),
    ],
)  # fmt: skip
def test_quantities_as_people_write_them(text: str, target: str, value: float | None) -> None:
    if value is None:
        with pytest.raises(InputError, match="unknown unit"):
            quantity(text, target)
    else:
        assert quantity(text, target) == pytest.approx(value, rel=1e-4)


@pytest.mark.parametrize(
    ("text", "target", "match"),
    [
        ("12", "m", r'where: a number without its unit; expected text such as "3 m"; got \'12\''),
        (12, "m", "without its unit"), (0.0, "m", "without its unit"), (True, "m", "not a quant"),
        (None, "m", "not a quantity"), ("ft", "m", "not a quantity"), ("", "m", "not a quantity"),
        ("nan degC", "degC", "not a quantity"), ("1e999 m", "m", "not a quantity"),
        ("12 furlong", "m", "unknown unit; expected one of m, mm, cm"), ("1,5 m", "m", "unknown"),
        ("12 kg", "m", "where: a mass where a length belongs; expected a unit such as m"),
        ("2 degC/h", "degC", "a temperature/time where a"),
        ("5 delta_degF", "degF", "unknown unit"), ("5 /h", "m/s", "unknown unit"),
        ("NW", "m", "not a quantity"), (["1 m"], "m", "not a q"),
    ],
)  # fmt: skip
def test_what_is_refused(text: object, target: str, match: str) -> None:
    with pytest.raises(InputError, match=match):
        quantity(text, target, where="where")


def test_compass_points() -> None:
    # 16 points of 22.5 degrees, clockwise from north
    assert [quantity(p, "deg") for p in ("N", "nne", "E", " S ", "WNW", "NNW")] == [
        0.0, 22.5, 90.0, 180.0, 292.5, 337.5,
    ]  # fmt: skip
    assert quantity("315 deg", "deg") == 315.0
    names = (
        "north",
        "Northeast",
        "east",
        "south-east",
        "south",
        "South West",
        " west ",
        "NORTHWEST",
    )
    assert [quantity(name, "deg") for name in names] == [45.0 * number for number in range(8)]


@pytest.mark.parametrize("text", ["north-north", "northwestern", "120", 120, ""])
def test_bearings_that_are_none_get_a_bearing_as_example(text: object) -> None:
    with pytest.raises(InputError, match='expected text such as "NW" or "120 deg"; got'):
        quantity(text, "deg")


def test_arrays_keep_unknowns() -> None:
    out = convert(np.array([32.0, np.nan, 212.0]), "degF", "degC")
    assert out == pytest.approx([0.0, np.nan, 100.0], nan_ok=True)


def test_a_unit_that_is_no_text() -> None:
    with pytest.raises(InputError, match=r"map\.toml: unknown unit.*got 3"):
        unit(3, where="map.toml")  # type: ignore[arg-type]


def test_spellings_mean_one_thing() -> None:
    assert unit("Kilometers") == unit("km")
    assert unit("W/m²") == unit("w/m2") == unit("wm-2")
    assert unit("wmoUnit:km_h-1") == unit("km/h")
