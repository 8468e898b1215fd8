"""Fields of the site file, as people write them: quantities, clock times, days, stages, doses."""

from __future__ import annotations

import datetime as dt
import math
import re
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from spraywindow.errors import InputError, did_you_mean
from spraywindow.handbook import Dose
from spraywindow.trees import cultivar_group, parse_stage
from spraywindow.units import quantity, unit

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

CROPS = (
    "peach", "nectarine", "apricot", "plum", "prune", "cherry", "almond", "pluot", "plumcot",
    "aprium", "damson", "mirabelle", "greengage",
)  # fmt: skip
_CROPS_IN_PLURAL = {*(f"{crop}s" for crop in CROPS), "peaches", "cherries"}
NEAR_CROP = 0.8
"""So alike, a word is a slip for a crop: "peech" is, "pear" and "berries" are not; P."""


class Table(BaseModel):
    """A table of the site file: no key beside its fields, frozen."""

    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True)


def measured(
    unit: str, low: float = -math.inf, high: float = math.inf, *, above: bool = False
) -> BeforeValidator:
    """Read a quantity in `unit` and hold it between two bounds; `above`: not `low` itself."""

    def read(text: object) -> float:
        value = quantity(text, unit)
        if low <= value <= high and not (above and value == low):
            return value
        shown = unit.removeprefix("delta_")
        bounds = [f"{'more than' if above else 'at least'} {low:g} {shown}"] * (low > -math.inf)
        bounds += [f"at most {high:g} {shown}"] * (high < math.inf)
        raise InputError("out of range", expected=", ".join(bounds), got=text)

    return BeforeValidator(read)


def degrees(most: float, positive: str) -> BeforeValidator:
    """Read a latitude or a longitude: a bare number, as maps give it."""

    def read(value: object) -> float:
        usable = isinstance(value, int | float) and not isinstance(value, bool)
        if usable and -most <= value <= most:  # type: ignore[operator]  # a number: checked
            return float(value)  # type: ignore[arg-type]
        expected = f"a number, {-most:g} to {most:g} degrees, {positive} positive"
        raise InputError("out of range", expected=expected, got=value)

    return BeforeValidator(read)


def _clock(text: object) -> float:
    """Read "7:30" or a TOML time as hours from midnight; 24:00 is the end of the day."""
    if isinstance(text, dt.time):
        return text.hour + text.minute / 60
    if isinstance(text, str):
        hour, colon, minute = text.strip().partition(":")
        if hour.isdecimal() and (minute.isdecimal() or not colon):
            value = int(hour) + int(minute or 0) / 60
            if value <= 24 and int(minute or 0) < 60:
                return value
    raise InputError("not a clock time", expected='such as "07:30"', got=text)


def _weekday(text: object) -> int:
    if isinstance(text, str):
        for number, name in enumerate(WEEKDAYS):
            if text.strip().lower().startswith(name.lower()):
                return number
    expected = "one of " + ", ".join(WEEKDAYS)
    raise InputError("not a day of the week", expected=expected, got=text)


def _day_of_year(text: object) -> tuple[int, int]:
    """Read "20 Feb" or "02-20" as (month, day)."""
    if isinstance(text, str):
        words = text.replace("-", " ").split()
        if len(words) == 2:
            named = [
                number
                for word in words
                for number, name in enumerate(_MONTHS, start=1)
                if word.lower().startswith(name.lower())
            ]
            figures = [int(word) for word in words if word.isdecimal()]
            month, day = (
                (named + figures)
                if len(named) == len(figures) == 1
                else figures
                if len(figures) == 2
                else (0, 0)
            )
            try:
                dt.date(2024, month, day)
            except ValueError:
                pass
            else:
                return month, day
    raise InputError("not a day of the year", expected='such as "20 Feb"', got=text)


def _stage(text: object) -> int:
    if isinstance(text, int | str):
        return parse_stage(text).bbch
    raise InputError("not a growth stage", expected='such as "dormant" or 51', got=text)


def _date(text: object) -> dt.date:
    """Let a date be written with or without quotes, but not as a time."""
    if isinstance(text, dt.date) and not isinstance(text, dt.datetime):
        return text
    if isinstance(text, str):
        try:
            return dt.date.fromisoformat(text.strip())
        except ValueError:
            pass
    got = str(text) if isinstance(text, dt.datetime) else text
    raise InputError("not a date", expected="such as 2026-01-10", got=got)


def _target(text: object) -> str | dt.date:
    """Read where rounds belong: a stage in words, or a day."""
    try:
        return _date(text)
    except InputError:
        _stage(text)
        return str(text)


def _crop(text: object) -> object:
    """Refuse what is nearly a crop, a word for itself; other crops may be called anything."""
    for word in re.findall(r"[^\W\d_]+", text.lower()) if isinstance(text, str) else ():
        known = word in CROPS or word in _CROPS_IN_PLURAL
        if hint := "" if known else did_you_mean(word, CROPS, NEAR_CROP):
            raise InputError("unknown crop", got=text, cure=hint)
    return text


def _chill(text: object) -> str:
    if not isinstance(text, str):
        raise InputError("not a cultivar group", expected="its name", got=text)
    return cultivar_group(text).name


Hours = Annotated[float, measured("h")]
Bearing = Annotated[float, measured("deg", 0, 360)]
Share = Annotated[float, measured("fraction", 0, 1, above=True)]
Latitude = Annotated[float, degrees(90, "north")]
Longitude = Annotated[float, degrees(180, "east")]
Clock = Annotated[float, BeforeValidator(_clock)]
Weekday = Annotated[int, BeforeValidator(_weekday)]
DayOfYear = Annotated[tuple[int, int], BeforeValidator(_day_of_year)]
StageCode = Annotated[int, BeforeValidator(_stage)]
Day = Annotated[dt.date, BeforeValidator(_date)]
Target = Annotated[str | dt.date, BeforeValidator(_target)]
Chill = Annotated[str, BeforeValidator(_chill)]
Name = Annotated[str, Field(min_length=1, max_length=200, pattern=r"\S")]
Crop = Annotated[str, Field(min_length=1, pattern=r"\S"), BeforeValidator(_crop)]
Count = Annotated[int, Field(strict=True, ge=1)]
Flag = Annotated[bool, Field(strict=True)]


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
            "not an amount for one tree",
            expected='a number and a measure: "1 cup", "2 Tbsp", "250 g", "0.5 lb"',
            got=text,
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
        "not a rate of mixing",
        expected='such as "2 %", "200 mL in 10 L", "5 Tbsp/gal", "3 g/L" or "4 lb/100 gal"',
        got=text,
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
