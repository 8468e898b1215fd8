"""What a column map may say: the fields of its tables, checked one by one."""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from spraywindow.units import quantity
from spraywindow.weather.hourly import COARSE, COLUMNS, Column

STANDINS: dict[str, Column] = {"rh_pct": Column("%", 0.0, 105.0, "relative humidity")}
"""Columns that are not in the table but give one of its columns."""
VALUES = COLUMNS | STANDINS
KINDS = VALUES | COARSE
"""What a file of the table's own names may hold: it was written from a table."""
OWN_STEP = "step"
"""Said of `covers`: each row's own distance to the next row, or from the one before."""
_DURATION = re.compile(r"(\d+)\s*(min|h)")


def _listed(value: Any) -> Any:
    return list(value) if isinstance(value, list | tuple) else [value]


def _covers(value: Any) -> Any:
    return value if value == OWN_STEP else _minutes(value)


def _minutes(value: Any) -> Any:
    match = _DURATION.fullmatch(value) if isinstance(value, str) else None
    if match is None or not int(match[1]):
        raise ValueError('a duration such as "15min", "1h" or "12h"')
    return int(match[1]) * (60 if match[2] == "h" else 1)


def _metres(value: Any) -> Any:
    height_m = quantity(value, "m")
    if not 0.5 <= height_m <= 200.0:
        raise ValueError('a height from "0.5 m" to "200 m"')
    return height_m


Name = str | Annotated[int, Field(ge=1, strict=True)]
Names = Annotated[list[Name], BeforeValidator(_listed), Field(min_length=1)]
Codes = Annotated[list[float | str], BeforeValidator(_listed)]
Choice = dict[str, Annotated[list[str], BeforeValidator(_listed)]]
"""Rows by the text in other columns."""
Minutes = Annotated[int, BeforeValidator(_minutes)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class FileLayout(_Strict):
    """How the text of the file is laid out; what is not given is found out."""

    separator: Literal[",", ";", "\t", "|", "whitespace"] | None = None
    decimal: Literal[".", ","] | None = None
    where: Choice = {}
    header: bool = True
    skip_rows: Annotated[int, Field(ge=0)] = 0


class TimeColumn(_Strict):
    """Where the stamps stand and on which clock."""

    column: Names
    timezone: str | None = None
    format: str | None = None
    round: Minutes | None = None
    year: Annotated[int, Field(ge=1900, le=2100)] | None = None


class ValueColumn(_Strict):
    """One column of values: what it holds and how it says that it does not know."""

    column: Name
    unit: str
    scale: float = 1.0
    missing: Codes = []
    trace: Codes = []
    flags: Annotated[list[str], BeforeValidator(_listed)] = []
    when: Choice = {}
    stamp: Literal["start", "end"] | None = None
    covers: Annotated[int | Literal["step"], BeforeValidator(_covers)] | None = None
    absent: Literal["unknown", "none_reported"] = "unknown"
    height: Annotated[float, BeforeValidator(_metres)] | None = None
