"""The column map: which column of a file holds what, in which unit.

A map is a TOML file or the same nested tables: one table a column of the weather table, `[time]`
for the stamps, `[file]` for the layout. It is checked once here, then trusted.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from spraywindow.errors import InputError, describe, one_line
from spraywindow.sources.column_fields import (
    KINDS,
    VALUES,
    FileLayout,
    TimeColumn,
    ValueColumn,
)
from spraywindow.units import UNITS, convert
from spraywindow.weather.hourly import REQUIRED

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


def nearest(name: object, known: Sequence[str]) -> str:
    """A hint that names the known word nearest to a mistyped one, or nothing."""
    close = difflib.get_close_matches(str(name).lower(), [word.lower() for word in known], 1, 0.6)
    words = [word for word in known if close and word.lower() == close[0]]
    return f"did you mean {words[0]}?" if words else ""


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
        raise InputError(describe("not a column map", expected="tables", got=type(tables).__name__))
    if "place" in tables or "blocks" in tables:
        raise InputError(
            describe("this looks like a site file, not a column map", where=where,
                     cure="give it as --site")
        )  # fmt: skip
    problems = [
        describe("unknown key", where=where, got=key, cure=nearest(key, ["time", "file", *VALUES]))
        for key in tables
        if key not in VALUES and key not in ("time", "file")
    ]
    time = _part(TimeColumn, tables.get("time", {}), f"{where}, [time]", problems)
    layout = _part(FileLayout, tables.get("file", {}), f"{where}, [file]", problems)
    unknown = tuple(key for key in REQUIRED if tables.get(key) == UNKNOWN)
    values: dict[str, tuple[ValueColumn, ...]] = {}
    for key in VALUES:
        if key in tables and key not in unknown:
            given = tables[key] if isinstance(tables[key], list) else [tables[key]]
            wanted = {"unit": _units_for(VALUES[key].unit)}
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
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
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
                what, got, cure = "unknown key", key, nearest(key, list(model.model_fields))
            elif item["type"] == "missing":
                what, got, expected = f"no {key}", None, wanted.get(key, "")
            problems.append(
                describe(what, where=f"{where}.{key}", expected=expected, got=got, cure=cure)
            )
        return None


def _value_problems(key: str, part: ValueColumn, where: str) -> list[str]:
    problems, kind = [], VALUES[key].kind
    try:
        convert(1.0, part.unit, VALUES[key].unit, where=f"{where}.unit")
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
