"""Numbers with their units, in the reader's system."""

from __future__ import annotations

import math
from typing import Literal

from spraywindow.units import convert

System = Literal["metric", "us"]

_SHOWN: dict[str, dict[str, tuple[str, str, int]]] = {
    # contract unit: system -> (unit to convert to, unit as shown, decimals)
    "degC": {"metric": ("degC", "°C", 1), "us": ("degF", "°F", 0)},
    "K": {"metric": ("degC", "°C", 1), "us": ("degF", "°F", 0)},
    "m/s": {"metric": ("m/s", "m/s", 1), "us": ("mph", "mph", 0)},
    "mm": {"metric": ("mm", "mm", 1), "us": ("in", "in", 2)},
    "m": {"metric": ("m", "m", 1), "us": ("ft", "ft", 0)},
    "fraction": {"metric": ("%", "%", 0), "us": ("%", "%", 0)},
    "%": {"metric": ("%", "%", 0), "us": ("%", "%", 0)},
    "deg": {"metric": ("deg", "°", 0), "us": ("deg", "°", 0)},
    "h": {"metric": ("h", "h", 0), "us": ("h", "h", 0)},
}


def shown(value: float, unit: str, system: System) -> str:
    """Write a number in the reader's system, with its unit; "unknown" for NaN.

    Parameters
    ----------
    value : float
        In `unit`.
    unit : str
        A unit of the weather table or of a limit; "K" is a difference of temperatures.

    Examples
    --------
    >>> shown(10.0, "degC", "us")
    '50 °F'
    """
    if math.isnan(value):
        return "unknown"
    target, name, decimals = _SHOWN[unit][system]
    if unit == "K":
        value = convert(value, "delta_degC", f"delta_{target}")
    else:
        value = convert(value, unit, target)
    if unit == "mm" and 0 < abs(value) < 1:
        decimals = 2  # 0.254 mm is a limit, and not 0.3
    space = "" if name == "°" else " "
    # adding zero turns a rounded -0 into 0
    return f"{round(value, decimals) + 0.0:.{decimals}f}{space}{name}"


def can_show(unit: str) -> bool:
    """Whether a limit's unit means something to a reader (flags and points do not)."""
    return unit in _SHOWN
