"""Numbers with their units, and dates, in the reader's system or in the user's own measure."""

from __future__ import annotations

import datetime as dt
import math
from typing import Literal

import numpy as np

from spraywindow.reasons import Amount, NearDay, Reason
from spraywindow.units import UNITS, convert

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
    return "unknown" if math.isnan(value) else "".join(shown_parts(value, unit, system))


def shown_parts(value: float, unit: str, system: System) -> tuple[str, str]:
    """The figure and the unit of `shown`, the space before it included; the value is known."""
    target, name, decimals = _SHOWN[unit][system]
    if unit == "K":
        value = convert(value, "delta_degC", f"delta_{target}")
    else:
        value = convert(value, unit, target)
    if unit == "mm" and 0 < abs(value) < 1:
        decimals = 2  # 0.254 mm is a limit, and not 0.3
    space = "" if name == "°" else " "
    # adding zero turns a rounded -0 into 0
    return f"{round(value, decimals) + 0.0:.{decimals}f}", f"{space}{name}"


def can_show(unit: str) -> bool:
    """Whether a limit's unit means something to a reader (flags and points do not)."""
    return unit in _SHOWN


_US = {"mm": "in", "cm": "in"}
_LADDERS: dict[tuple[str, System], tuple[tuple[str, str], ...]] = {
    # base unit and system: unit and its name, the largest first
    ("L", "metric"): (("L", "L"), ("mL", "mL")),
    ("L", "us"): (("gal", "gal"), ("fl_oz", "fl oz")),
    ("kg", "metric"): (("kg", "kg"), ("g", "g")),
    ("kg", "us"): (("lb", "lb"), ("oz", "oz")),
    ("m3", "metric"): (("m3", "m³"), ("L", "L")),
    ("m3", "us"): (("yd3", "yd³"), ("ft3", "ft³")),
    ("L/ha", "metric"): (("L/ha", "L/ha"),),
    ("L/ha", "us"): (("gal/acre", "gal/acre"),),
    ("kg/ha", "metric"): (("kg/ha", "kg/ha"),),
    ("kg/ha", "us"): (("lb/acre", "lb/acre"),),
    ("L/min", "metric"): (("L/min", "L/min"),),
    ("L/min", "us"): (("gal/min", "gal/min"),),
    ("m/s", "metric"): (("km/h", "km/h"),),
    ("m/s", "us"): (("mph", "mph"),),
    ("mm", "metric"): (("mm", "mm"),),
    ("mm", "us"): (("in", "in"),),
    ("m", "metric"): (("m", "m"), ("cm", "cm")),
    ("m", "us"): (("in", "in"),),
    ("m2", "metric"): (("ha", "ha"), ("m2", "m²")),
    ("m2", "us"): (("acre", "acres"), ("ft2", "ft²")),
}
_LEAST = 0.1
"""An amount below this share of a unit is written in the next smaller one."""


def figures(value: float) -> str:
    """Write a number with three figures, whole from 100 on, without an exponent."""
    if value == 0:
        return "0"
    decimals = max(0, 2 - int(np.floor(np.log10(abs(value)))))
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def amount_in(value: float, base: str, system: System) -> str:
    """Write an amount given in a base unit in the reader's system, such as "1.2 gal"."""
    return " ".join(amount_parts(value, base, system))


def amount_parts(value: float, base: str, system: System) -> tuple[str, ...]:
    """The figure and the unit of `amount_in`; "unknown" alone where nothing is known."""
    if not np.isfinite(value):
        return ("unknown",)
    *larger, smallest = _LADDERS[base, system]
    name, words = next(
        (each for each in larger if abs(convert(value, base, each[0])) >= _LEAST), smallest
    )
    return figures(convert(value, base, name)), words


def dose_words(amount: float, measure: str) -> str:
    """Write an amount in the user's own measure: "1 cup", "2.5 cups", "250 g"."""
    stem = measure[:-1] if len(measure) > 3 and measure[:-1] in UNITS else measure
    plural = f"{stem}s" if len(stem) > 2 and f"{stem}s" in UNITS else stem
    shown = figures(amount)
    return f"{shown} {plural if amount > 1 or amount == 0 else stem}"


def date_words(date: dt.date) -> str:
    """A date with its year: "5 Mar 2026"."""
    return f"{date.day} {date:%b %Y}"


def reason_words(reason: Reason | None, system: System) -> str:
    """Put a reason into words: its amounts in the reader's units, its dates as people read them.

    Examples
    --------
    >>> rain = Amount(25.0, "mm")
    >>> reason_words(Reason("none after {}; over {}", (dt.date(2026, 8, 15), rain)), "us")
    'none after 15 Aug 2026; over 1 in'
    """

    def say(told: Amount | NearDay | dt.date | str) -> str:
        if isinstance(told, Amount):
            return amount_words(told, system)
        return date_words(told) if isinstance(told, dt.date) else str(told)

    return "" if reason is None else reason.said(say)


def amount_words(amount: Amount, system: System) -> str:
    """Write an amount: what was measured with its decimals, a limit as the round number it is."""
    if amount.decimals is not None:
        return shown(round(amount.value, amount.decimals), amount.unit, system)
    if amount.unit == "kg":
        return amount_in(amount.value, "kg", system)
    if system == "metric":
        return str(amount)
    target = _US[amount.unit]
    bounds = [_round_us(convert(each, amount.unit, target)) for each in amount.bounds]
    return f"{'-'.join(bounds)} {target}"


def _round_us(value: float) -> str:
    """Two figures, or the half nearest by: 150 mm are 6 in to everybody."""
    half = round(value * 2) / 2
    return f"{half:g}" if half and abs(value / half - 1) < 0.02 else f"{value:.2g}"


def duration_words(hours: float) -> str:
    """Write a duration as people do: "25 min", "1 h 25 min", "2 h"."""
    minutes = round(60 * hours)
    whole, rest = divmod(minutes, 60)
    return " ".join(
        text for text in (f"{whole} h" * bool(whole), f"{rest} min" * bool(rest)) if text
    ) or "0 min"  # fmt: skip


def rain_words(low_mm: float, high_mm: float, system: System) -> str:
    """Bounds of rain: one amount where they meet, "?" where nothing is known."""
    name, decimals = ("mm", 1) if system == "metric" else ("in", 2)
    low, high = (
        f"{convert(value, 'mm', name):.{decimals}f}" if np.isfinite(value) else ""
        for value in (low_mm, high_mm)
    )
    if not high:
        return "?" if low_mm == 0 else f"{low} {name} or more"
    return f"{high} {name}" if low == high else f"{low}-{high} {name}"
