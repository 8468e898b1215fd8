"""Fields of the year's work in the site file: doses in any measure, rates of mixing, flows."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import BeforeValidator

from spraywindow.errors import InputError, describe
from spraywindow.orchard.fertilizer import Dose
from spraywindow.units import quantity, unit

_AMOUNT = re.compile(r"^\s*([-+]?(?:\d+\.?\d*|\.\d+))\s*(\S.*?)\s*$")
_RATE = re.compile(
    r"^\s*([-+]?[\d.]+\s*\S.*?)\s*(?:/|\bper\b|\bin\b)\s*([\d.]*)\s*([^\d\s].*?)\s*$"
)


@dataclass(frozen=True)
class MixRate:
    """What one litre of spray holds: litres of a liquid or kilograms of a powder."""

    per_litre: float
    base: Literal["L", "kg"]


def parse_dose(text: object) -> Dose:
    """Read "4 cups" or "250 g" and keep the measure as it was written.

    Raises
    ------
    InputError
        If there is no number, or the unit is not one of mass or volume.

    Examples
    --------
    >>> parse_dose("1.5 cups")
    Dose(amount=1.5, measure='cups')
    """
    match = _AMOUNT.match(text) if isinstance(text, str) else None
    if match is None or not _measures(match[2], "mass", "volume"):
        raise InputError(
            describe(
                "not an amount for one tree",
                expected='a number and a measure: "1 cup", "2 Tbsp", "250 g", "0.5 lb"',
                got=text,
            )
        )
    return Dose(float(match[1]), match[2])


def parse_rate(text: object) -> MixRate:
    """Read a rate of mixing: "2 %" (by volume), "200 mL in 10 L", "5 Tbsp/gal", "4 lb/100 gal".

    Raises
    ------
    InputError
        If it is none of these, not more than zero, or more than the tank holds.

    Examples
    --------
    >>> parse_rate("200 mL in 10 L")
    MixRate(per_litre=0.02, base='L')
    """
    trouble = InputError(
        describe(
            "not a rate of mixing",
            expected='such as "2 %", "200 mL in 10 L", "5 Tbsp/gal", "3 g/L" or "4 lb/100 gal"',
            got=text,
        )
    )
    if not isinstance(text, str):
        raise trouble
    if text.strip().endswith("%"):
        return _usable(MixRate(quantity(text, "fraction"), "L"), trouble)
    match = _RATE.match(text)
    above = _AMOUNT.match(match[1]) if match else None
    if match is None or above is None:
        raise trouble
    if not _measures(above[2], "mass", "volume") or not _measures(match[3], "volume"):
        raise trouble
    base: Literal["L", "kg"] = "L" if _measures(above[2], "volume") else "kg"
    try:
        spray_l = quantity(f"{match[2] or '1'} {match[3]}", "L")
        return _usable(MixRate(quantity(match[1], base) / spray_l, base), trouble)
    except (ZeroDivisionError, ValueError) as error:
        raise trouble from error


def _usable(rate: MixRate, trouble: InputError) -> MixRate:
    """Refuse nothing, and more than the tank itself or than any powder that dissolves."""
    if not 0 < rate.per_litre <= (1.0 if rate.base == "L" else 2.0):
        raise trouble
    return rate


def _measures(name: str, *dimensions: str) -> bool:
    try:
        return unit(name).dimension in dimensions
    except InputError:
        return False


def _texts(value: object) -> object:
    """Let one amount stand for a list of one."""
    return [value] if isinstance(value, str) else value


DoseField = Annotated[Dose, BeforeValidator(parse_dose)]
RateField = Annotated[MixRate, BeforeValidator(parse_rate)]
OneOrMore = BeforeValidator(_texts)
