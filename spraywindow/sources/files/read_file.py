"""Weather from CSV and Parquet files of any layout, by a column map."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from spraywindow.errors import InputError, WeatherError, did_you_mean, one_line
from spraywindow.sources.files.bulletin import is_bulletin, parse
from spraywindow.sources.files.column_map import (
    ColumnMap,
    FileLayout,
    contract_map,
    load_map,
)
from spraywindow.sources.files.on_hours import on_hours
from spraywindow.sources.files.rows import ROWS_LIMIT, column_names, read_rows, start_of
from spraywindow.sources.files.stamps import in_order, read_stamps, whole_minutes
from spraywindow.sources.files.steps import Reading
from spraywindow.sources.files.values import read_values
from spraywindow.weather import REQUIRED, check_hourly, dew_point_from_humidity


def read_weather(
    path: str | Path,
    columns: Mapping[str, Any] | str | Path | None = None,
    *,
    rows_limit: int = ROWS_LIMIT,
) -> pd.DataFrame:
    """Read a weather file into the checked hourly table.

    Parameters
    ----------
    path : str or Path
        CSV (plain or gzip; comma, semicolon or tab; decimal point or comma) or Parquet; or one
        station's text bulletin of the US National Blend of Models, which takes no map.
    columns : mapping, str or Path, optional
        The column map, or the path of a TOML file that holds it. None: the file uses the names
        and units of the weather table and a column `time` of ISO 8601 stamps with an offset.
    rows_limit : int
        More rows than this are refused, so that memory stays bounded.

    Returns
    -------
    pandas.DataFrame
        As `spraywindow.weather.table.check_hourly` gives it. Finer steps are picked, summed,
        averaged; coarser ones interpolated over one step; rain totals over 2 to 12 h stand in
        `PERIOD_COLUMNS`. ``attrs["notes"]`` says what was mended.

    Raises
    ------
    InputError
        The file or the map cannot be read or does not fit.
    WeatherError
        The weather in it breaks the contract; all problems at once.
    """
    path = Path(path)
    layout_map = load_map(columns) if columns is not None else None
    head = start_of(path)
    if is_bulletin(head):
        if layout_map is not None:
            raise InputError("a bulletin takes no column map", where=str(path))
        return check_hourly(parse(path.read_text("ascii", "replace")).weather, name=path.name)
    if layout_map is None:
        layout_map = _own_layout(path, head)
    parts = [part for found in layout_map.values.values() for part in found]
    wanted = [str(part.column) for part in parts]
    text = [str(column) for column in layout_map.time.column]
    text += [column for part in parts for column in part.when]
    rows = read_rows(
        path,
        head,
        layout_map.file,
        (*text, *wanted),
        text,
        rows_limit=rows_limit,
    )
    table = _table(rows, layout_map, path.name)
    table.attrs["source"] = {
        "name": path.name,
        "issued": None,
        "fetched": None,
        "credit": "",
        "stale": False,
    }
    return check_hourly(table, name=path.name)


def _own_layout(path: Path, head: bytes) -> ColumnMap:
    names = column_names(path, head, FileLayout())
    lacking = [
        name
        for name in ("time", *REQUIRED)
        if name not in names and not (name == "dew_point_c" and "rh_pct" in names)
    ]
    if lacking:
        hints = [
            f"for {name} {hint}"
            for name in lacking
            if name != "time" and (hint := did_you_mean(name, names))
        ]
        raise InputError(
            "no column " + ", ".join(lacking),
            where=str(path),
            got=", ".join(names)[:300],
            cure=" ".join([*hints, "a column map tells which column is which (--columns)"]),
        )
    return contract_map(names)


def _table(rows: pd.DataFrame, layout_map: ColumnMap, name: str) -> pd.DataFrame:
    stamps, notes = read_stamps(rows, layout_map.time, name)
    problems: list[str] = []
    readings = _readings(rows, layout_map, problems, notes)
    if problems:
        raise WeatherError(f"{name}: {one_line(problems)}")
    at, anchor, kept = whole_minutes(stamps, layout_map.time, name, notes)
    at, order = in_order(at, kept, rows, name, notes)
    readings = {
        key: [Reading(reading.part, reading.values[order]) for reading in found]
        for key, found in readings.items()
    }
    table = on_hours(at, anchor, readings, name, notes)
    for column in layout_map.unknown:
        table[column] = np.nan
        notes.append(f"{column} is not in {name}: unknown throughout")
    table.attrs["notes"] = notes
    return table


def _readings(
    rows: pd.DataFrame, layout_map: ColumnMap, problems: list[str], notes: list[str]
) -> dict[str, list[Reading]]:
    readings: dict[str, list[Reading]] = {}
    blanks: dict[str, list[Any]] = {}
    for key, parts in layout_map.values.items():
        readings[key], blanks[key] = [], []
        for part in parts:
            values, blank = read_values(rows, key, part, problems, notes)
            readings[key].append(Reading(part, values))
            blanks[key].append(blank)
    if problems:
        return readings
    reported = np.zeros(len(rows), dtype=bool)
    for key in ("temp_c", "wind_ms"):
        for reading in readings.get(key, []):
            reported |= ~np.isnan(reading.values)
    for key in ("rain_mm", "gust_ms"):
        for number, (reading, blank) in enumerate(
            zip(readings.get(key, []), blanks.get(key, []), strict=True)
        ):
            if reading.part.absent == "none_reported":
                # Only in a report that says something else; a gust is never below the wind.
                calm = readings["wind_ms"][0].values if key == "gust_ms" else 0.0
                filled = np.where(blank & reported, calm, reading.values)
                if unsaid := int(np.count_nonzero(blank & reported)):
                    read_as = "the wind" if key == "gust_ms" else "none"
                    notes.append(f"{key}: {unsaid} blanks of reports are read as {read_as}")
                readings[key][number] = Reading(reading.part, filled)
    if "rh_pct" in readings:
        humid = readings.pop("rh_pct")[0]
        # A hygrometer may read above saturation; no humidity at all is a fault (0 has no dew).
        rh_pct = np.where(humid.values > 0.0, np.minimum(humid.values, 100.0), np.nan)
        dew_c = np.asarray(dew_point_from_humidity(readings["temp_c"][0].values, rh_pct))
        if "dew_point_c" in readings:
            stated = readings["dew_point_c"][0].values
            dew_c = np.where(np.isnan(stated), dew_c, stated)
        readings["dew_point_c"] = [Reading(humid.part, dew_c)]
    return readings
