"""Fields of the site file, as people write them: quantities, clock times, days, stages."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any

from pydantic import BeforeValidator

from spraywindow.season.stages import parse_stage
from spraywindow.units import quantity

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def _in(unit: str) -> BeforeValidator:
    return BeforeValidator(lambda text: quantity(text, unit))


def _clock(text: object) -> float:
    """Read "7:30" or a TOML time as hours from midnight; 24:00 is the end of the day."""
    if isinstance(text, dt.time):
        return text.hour + text.minute / 60
    if isinstance(text, str):
        hour, colon, minute = text.strip().partition(":")
        if hour.isdigit() and (minute.isdigit() or not colon):
            value = int(hour) + int(minute or 0) / 60
            if value <= 24 and int(minute or 0) < 60:
                return value
    raise ValueError('a clock time such as "07:30"')


def _weekday(text: object) -> int:
    if isinstance(text, str):
        for number, name in enumerate(WEEKDAYS):
            if text.strip().lower().startswith(name.lower()):
                return number
    raise ValueError("a day of the week: " + ", ".join(WEEKDAYS))


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
            figures = [int(word) for word in words if word.isdigit()]
            month, day = (named + figures) if named else figures if len(figures) == 2 else (0, 0)
            try:
                dt.date(2024, month, day)
            except ValueError:
                pass
            else:
                return month, day
    raise ValueError('a day of the year such as "20 Feb" or "02-20"')


def _stage(text: object) -> int:
    if isinstance(text, int | str):
        return parse_stage(text).bbch
    raise ValueError('a growth stage such as "dormant" or 51')


def _date(text: object) -> Any:
    """Let a date be written with or without quotes, but not as a time."""
    if isinstance(text, dt.datetime):
        raise ValueError("a date such as 2026-01-10, without a time")
    return text


Metres = Annotated[float, _in("m")]
Kelvins = Annotated[float, _in("delta_degC")]
Hours = Annotated[float, _in("h")]
Bearing = Annotated[float, _in("deg")]
Litres = Annotated[float, _in("L")]
SquareMetres = Annotated[float, _in("m2")]
Share = Annotated[float, _in("fraction")]
Speed = Annotated[float, _in("m/s")]
Clock = Annotated[float, BeforeValidator(_clock)]
Weekday = Annotated[int, BeforeValidator(_weekday)]
DayOfYear = Annotated[tuple[int, int], BeforeValidator(_day_of_year)]
StageCode = Annotated[int, BeforeValidator(_stage)]
Day = Annotated[dt.date, BeforeValidator(_date)]
