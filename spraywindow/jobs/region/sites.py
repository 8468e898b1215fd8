"""A table of sites: the past weather of each, fetched one after the other into one store."""

from __future__ import annotations

import csv
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import dask.array
import numpy as np
import pandas as pd
import xarray as xr

from spraywindow.errors import InputError, SourceError, one_line
from spraywindow.place import Place
from spraywindow.region import coordinates
from spraywindow.weather import COLUMNS

FIELDS = ("name", "latitude", "longitude", "elevation", "timezone")
GIVEN = ("temp_c", "dew_point_c", "wind_ms", "rain_mm", "wind_from_deg", "solar_wm2")
"""Columns that the past record of any place has."""
Fetch = Callable[[Place, pd.Timestamp, pd.Timestamp], pd.DataFrame]


def read_sites(path: Path) -> tuple[list[str], list[Place]]:
    """Names and places of a table of sites.

    Raises
    ------
    InputError
        A column is missing, a name stands twice, or a place cannot be; every mistake by its line.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.DictReader(file))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputError("cannot read", where=str(path), got=str(error)) from error
    missing = [name for name in FIELDS if not rows or name not in rows[0]]
    if missing:
        raise InputError(
            "missing column " + ", ".join(missing), where=str(path), expected=", ".join(FIELDS)
        )
    names, places, problems = [], [], []
    for number, row in enumerate(rows, start=2):
        try:
            values = [float(row[name]) for name in FIELDS[1:4]]
            places.append(Place(values[0], values[1], values[2], str(row["timezone"])))
        except (ValueError, TypeError) as error:
            problems.append(f"line {number}: {error}")
        if row["name"] in names:
            problems.append(f"line {number}: {row['name']} stands twice")
        names.append(str(row["name"]))
    if problems:
        raise InputError(one_line(problems), where=str(path))
    return names, places


def gathered_weather(
    table: Path,
    store: Path,
    start: pd.Timestamp,
    end: pd.Timestamp,
    fetch: Fetch,
    shown: Callable[[int, int], None],
) -> list[str]:
    """Bring the hours of every site of a table into a store; those that are there stay.

    Parameters
    ----------
    table, store : Path
    start, end : Timestamp
        First and last hour.
    fetch : callable
        Gives the record of a place, from `start` to `end`.
    shown : callable
        Called with the sites done and all of them.

    Returns
    -------
    list of str
        Credit and notes of the record; sites whose weather could not be had stay unknown, and are
        named.
    """
    names, places = read_sites(table)
    index = pd.date_range(start, end, freq="h")
    if not store.exists():
        _lay_out(store, index, names, places)
    there = xr.open_zarr(store, consolidated=False, chunks=None)
    if list(there["site"].to_numpy()) != names or there.sizes["time"] != len(index):
        raise InputError("weather of other sites", where=str(store), cure="choose another --out")
    fetched = there["fetched"].to_numpy().astype(bool)
    notes: dict[str, None] = {}
    for number, (name, place) in enumerate(zip(names, places, strict=True)):
        shown(number, len(names))
        if fetched[number]:
            continue
        try:
            hours = fetch(place, start, end)
        except SourceError as error:
            notes[f"{name}: {error}"] = None
            continue
        notes |= dict.fromkeys([hours.attrs.get("source", {}).get("credit")])
        hours = hours.reindex(index=index, columns=list(GIVEN))
        own = {
            column: (("time", "site"), hours[column].to_numpy(dtype=np.float32)[:, None])
            for column in GIVEN
        }
        rows = {"site": slice(number, number + 1)}
        for part in (own, {"fetched": (("site",), np.ones(1, dtype=np.int8))}):  # said last
            xr.Dataset(part).to_zarr(store, region=rows, consolidated=False, zarr_format=2)
    shown(len(names), len(names))
    return [note for note in notes if note]


def _lay_out(store: Path, index: pd.DatetimeIndex, names: list[str], places: list[Place]) -> None:
    """An empty store of unknown hours; it appears whole or not at all."""
    shape = (len(index), len(names))
    unknown = dask.array.full(shape, np.nan, dtype=np.float32, chunks=(-1, 1))
    data = xr.Dataset(
        {name: (("time", "site"), unknown, {"units": COLUMNS[name].unit}) for name in GIVEN},
        coordinates(index, places, names),
    )
    data["fetched"] = ("site", dask.array.zeros(len(names), dtype=np.int8, chunks=1))
    for name in GIVEN:
        data[name].encoding = {"_FillValue": np.float32(np.nan)}
    half = store.with_name(store.name + ".begun")
    shutil.rmtree(half, ignore_errors=True)
    data.to_zarr(half, mode="w", compute=False, consolidated=False, zarr_format=2)
    os.replace(half, store)
