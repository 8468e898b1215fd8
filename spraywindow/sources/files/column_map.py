"""The column map: which column of a file holds what, in which unit.

A map is a TOML file or the same nested tables: one table a column of the weather table, `[time]`
for the stamps, `[file]` for the layout. It is checked once here, then trusted.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, Literal, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from spraywindow.errors import InputError, describe, did_you_mean, one_line
from spraywindow.units import UNITS, convert, quantity
from spraywindow.weather import COARSE, COLUMNS, REQUIRED, Column

STANDINS: dict[str, Column] = {"rh_pct": Column("%", 0.0, 105.0, "relative humidity")}
"""Columns that are not in the table but give one of its columns."""
VALUES = COLUMNS | STANDINS
MAPPED = VALUES | {name: COARSE[name] for name in ("temp_min_c", "temp_max_c")}
"""What a map may name: the table's columns, stand-ins, and a file's own extremes of its steps."""
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


UNKNOWN = "unknown"
"""Said in place of a table: the file does not hold this required column."""
Part = TypeVar("Part", bound=BaseModel)


@dataclass(frozen=True)
class ColumnMap:
    """A checked map; `rain_mm` may have several columns, of several lengths."""

    time: TimeColumn
    values: dict[str, tuple[ValueColumn, ...]]
    file: FileLayout
    unknown: tuple[str, ...] = ()


def contract_map(names: Sequence[str]) -> ColumnMap:
    """The map of a file that already uses the names and units of the weather table."""
    values: dict[str, tuple[ValueColumn, ...]] = {
        name: (ValueColumn(column=name, unit=rule.unit),)
        for name, rule in KINDS.items()
        if name in names
    }
    return ColumnMap(TimeColumn(column=["time"]), values, FileLayout())


def load_map(columns: Mapping[str, Any] | str | Path) -> ColumnMap:
    """Read and check a column map.

    Parameters
    ----------
    columns : mapping, str or Path
        The nested tables, or the path of a TOML file that holds them.

    Raises
    ------
    InputError
        All problems at once: unreadable TOML, unknown keys, units of another dimension,
        required columns that are not named.
    """
    where, tables = "columns", columns
    if isinstance(columns, str | Path):
        where = Path(columns).name
        tables = _read_toml(Path(columns))
    if not isinstance(tables, Mapping):
        raise InputError("not a column map", expected="tables", got=type(tables).__name__)
    if "place" in tables or "blocks" in tables:
        raise InputError(
            "this looks like a site file, not a column map", where=where, cure="give it as --site"
        )
    names = ["time", "file", *MAPPED]
    problems = [
        describe("unknown key", where=where, got=key, cure=did_you_mean(key, names))
        for key in tables
        if key not in names
    ]
    time = _part(TimeColumn, tables.get("time", {}), f"{where}, [time]", problems)
    layout = _part(FileLayout, tables.get("file", {}), f"{where}, [file]", problems)
    unknown = tuple(key for key in REQUIRED if tables.get(key) == UNKNOWN)
    values: dict[str, tuple[ValueColumn, ...]] = {}
    for key in MAPPED:
        if key in tables and key not in unknown:
            given = tables[key] if isinstance(tables[key], list) else [tables[key]]
            wanted = {"unit": _units_for(MAPPED[key].unit)}
            here = f"{where}, {key}"
            found = [_part(ValueColumn, item, here, problems, wanted) for item in given]
            values[key] = tuple(part for part in found if part is not None)
            for part in values[key]:
                problems += _value_problems(key, part, here)
            if len(given) != 1 and key != "rain_mm":
                problems.append(f"{here}: one table only; rain_mm alone may have several")
    known = {*values, *unknown} | ({"dew_point_c"} if "rh_pct" in values else set())
    lacking = [key for key in REQUIRED if key not in known]
    if lacking:
        problems.append(
            describe(
                "no table for " + ", ".join(lacking),
                where=where,
                cure=f'where the file has no such column, say {lacking[0]} = "{UNKNOWN}"',
            )
        )
    if problems or time is None or layout is None:
        raise InputError(one_line(problems))
    return ColumnMap(time, values, layout, unknown)


def _read_toml(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise InputError(f"{path}: the column map cannot be read; {error.strerror}") from error
    except (ValueError, RecursionError) as error:
        raise InputError(f"{path}: the column map is not valid TOML; {error}") from error


def _units_for(unit: str) -> str:
    """The units that measure the same, each by its first spelling."""
    first: dict[Any, str] = {}
    for name, found in UNITS.items():
        if found.dimension == UNITS[unit].dimension:
            first.setdefault(found, name)
    return "one of " + ", ".join(first.values())


def _part(
    model: type[Part],
    table: object,
    where: str,
    problems: list[str],
    wanted: Mapping[str, str] = MappingProxyType({}),
) -> Part | None:
    try:
        return model.model_validate(table)
    except ValidationError as error:
        for item in error.errors():
            key = ".".join(str(step) for step in item["loc"][:1])
            what = item["msg"].removeprefix("Value error, ")
            got, cure, expected = item["input"], "", ""
            if item["type"] == "extra_forbidden":
                what, got, cure = "unknown key", key, did_you_mean(key, list(model.model_fields))
            elif item["type"] == "missing":
                what, got, expected = f"no {key}", None, wanted.get(key, "")
            problems.append(
                describe(what, where=f"{where}.{key}", expected=expected, got=got, cure=cure)
            )
        return None


def _value_problems(key: str, part: ValueColumn, where: str) -> list[str]:
    problems, kind = [], MAPPED[key].kind
    try:
        convert(1.0, part.unit, MAPPED[key].unit, where=f"{where}.unit")
    except InputError as error:
        problems.append(str(error))
    if kind == "instant" and (part.stamp or part.covers):
        problems.append(f"{where}: stamp and covers are for totals, means and maxima only")
    if isinstance(part.covers, int) and part.covers > 60 and part.covers % 60:
        problems.append(f"{where}.covers: more than an hour, but not whole hours")
    if part.height is not None and key not in ("wind_ms", "gust_ms"):
        problems.append(f"{where}.height: only wind and gusts have one")
    if part.absent != "unknown" and key not in ("rain_mm", "gust_ms"):
        problems.append(f"{where}.absent: only rain and gusts may go unreported")
    return problems
