"""Fields of GRIB files, message by message through ecCodes: one field in memory at a time.

Read with ecCodes itself and not through cfgrib, which is built on it and is the oracle of the
tests: cfgrib does not tell where a total begins, and a total read from the wrong hour is a wrong
dry hour.

References
----------
.. [1] WMO-No. 306, Manual on Codes, volume I.2, FM 92 GRIB edition 2: code tables 4.5 (surfaces)
   and 4.10 (kinds of steps).
.. [2] ECMWF, *ecCodes* documentation: keys ``shortName``, ``stepType``, ``startStep``, ``endStep``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from spraywindow.errors import InputError
from spraywindow.sources.grids.cells import Cells, Method, Sites, find_cells
from spraywindow.sources.grids.fields import SINGLE, WANTED, Fields, Floats, Key, in_our_unit

ALOFT = ("isobaric", "hybrid", "sigma", "theta", "potentialVorticity", "depthBelow", "heightAboveS")
"""How the kinds of levels begin that are not at the ground."""
TRUE_NORTH = ("regular_ll", "reduced_ll", "regular_gg", "reduced_gg")
"""Grids whose columns run north: winds along them are winds along the earth."""
NO_VALUE = 3.0e38
STEP_H = {"": 1.0, "h": 1.0, "m": 1 / 60, "s": 1 / 3600, "D": 24.0}


def read_grib(path: Path, fields: Fields, sites: Sites, method: Method) -> None:
    """Take the fields of a file in that this trade needs; all others are passed over.

    Raises
    ------
    InputError
        The file is damaged; a wanted quantity comes in another unit, only over steps of another
        kind, or not on whole hours; several runs; or a site lies outside.
    """
    odd: dict[str, str] = {}
    read: set[str] = set()
    grids: dict[str, Cells] = {}
    for message in _messages(path):
        name = str(message.get("shortName"))
        level = str(message.get("typeOfLevel"))
        if name not in WANTED or level.startswith(ALOFT) or level.endswith("CloudLayer"):
            continue
        wanted, kind = WANTED[name], str(message.get("stepType"))
        where = f"{path.name}, {name}"
        if kind not in wanted.kinds:
            odd[name] = kind
            continue
        read.add(name)
        grid = str(message.get("md5GridSection"))
        if grid not in grids:
            grids[grid] = _cells(message, sites, method, path.name)
        key, run = _key(message, wanted.ours, kind, where)
        fields.issued(run, path.name)
        fields.centre = str(message.get("centreDescription", "") or "")
        picked = grids[grid].pick(_values(message))
        if name in ("10u", "10v") and str(message.get("gridType")) not in TRUE_NORTH:
            fields.turned |= bool(message.get("uvRelativeToGrid", 0))
        values = in_our_unit(picked, key, str(message.get("units")), where)
        fields.add(key, values, path.name)
    for name, kind in odd.items():
        if name not in read:
            raise InputError(
                "steps of another kind than is known for it", where=f"{path.name}, {name}",
                expected=" or ".join(WANTED[name].kinds), got=kind,
            )  # fmt: skip


def _messages(path: Path) -> Iterator[Any]:
    try:
        import eccodes
    except (ImportError, RuntimeError) as error:  # it raises the latter without its library
        raise InputError(f'{path}: GRIB needs an extra; pip install "spraywindow[grib]"') from error
    try:
        with eccodes.FileReader(str(path)) as reader:
            yield from reader
    except eccodes.CodesInternalError as error:
        raise InputError(f"{path}: the GRIB file is damaged or cut off; {error}") from error


def _values(message: Any) -> Floats:
    message.set("missingValue", NO_VALUE)
    values = np.asarray(message.get_array("values"), dtype=float)
    if message.get("bitmapPresent"):
        values[values == NO_VALUE] = np.nan
    return values


def _cells(message: Any, sites: Sites, method: Method, where: str) -> Cells:
    latitude, longitude = (message.get_array(name) for name in ("latitudes", "longitudes"))
    columns = int(message.get("Ni", 0) or 0)
    return find_cells(latitude, longitude, columns, sites, method, where)


def _key(message: Any, ours: str, kind: str, where: str) -> tuple[Key, pd.Timestamp]:
    """What a message is of, and when its run was begun."""
    stamp = f"{message.get('dataDate'):08d}{message.get('dataTime'):04d}"
    run = pd.to_datetime(stamp, format="%Y%m%d%H%M").tz_localize("UTC")
    began_h = run.timestamp() / 3600
    start, end = (_step_h(message, name) + began_h for name in ("startStep", "endStep"))
    if start % 1 or end % 1:
        raise InputError("a step that does not end on a whole hour", where=where)
    if kind == "instant":
        start = end
    number = message.get("number", None)
    return Key(ours, kind, int(start), int(end), SINGLE if number is None else int(number)), run


def _step_h(message: Any, name: str) -> float:
    text = str(message.get(name, ktype=str))
    match = re.fullmatch(r"(\d+)([a-zA-Z]?)", text)
    if match is None or match[2] not in STEP_H:
        raise InputError("a step of an unknown unit", expected="hours or minutes", got=text)
    return round(int(match[1]) * STEP_H[match[2]], 6)
