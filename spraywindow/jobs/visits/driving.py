"""Driving minutes between sites: estimated from the distance, or from the user's table.

References
----------
.. [1] Sinnott (1984), Virtues of the haversine, Sky and Telescope 68(2): 159.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from spraywindow.errors import InputError, describe, one_line
from spraywindow.weather import Array

EARTH_RADIUS_KM = 6371.0088
SPEED_KMH = 50.0
"""Mean speed between sites; P."""
ROAD_FACTOR = 1.3
"""Roads are longer than the great circle by this factor; P."""


def great_circle_km(latitude_deg: Array, longitude_deg: Array) -> Array:
    """Distances between all places [km], by the haversine on a sphere of the mean radius [1]_.

    Parameters
    ----------
    latitude_deg, longitude_deg : array [place]

    Returns
    -------
    array [place, place]
    """
    lat, lon = np.deg2rad(latitude_deg), np.deg2rad(longitude_deg)
    half = (
        np.sin((lat[:, None] - lat) / 2) ** 2
        + np.cos(lat[:, None]) * np.cos(lat) * np.sin((lon[:, None] - lon) / 2) ** 2
    )
    return np.asarray(2 * EARTH_RADIUS_KM * np.arcsin(np.sqrt(np.minimum(half, 1.0))))


def driving_minutes(
    latitude_deg: Array,
    longitude_deg: Array,
    *,
    speed_kmh: float = SPEED_KMH,
    road_factor: float = ROAD_FACTOR,
) -> Array:
    """Driving between all places [min], from distance, speed [km/h] and road factor (at least 1).

    Raises
    ------
    InputError
        If speed or factor is out of range.
    """
    problems = []
    if not 1 <= speed_kmh <= 130:
        problems.append(describe("speed out of range", expected="1 to 130 km/h", got=speed_kmh))
    if not 1 <= road_factor <= 5:
        problems.append(describe("road factor out of range", expected="1 to 5", got=road_factor))
    if problems:
        raise InputError(one_line(problems))
    return great_circle_km(latitude_deg, longitude_deg) * (road_factor / speed_kmh * 60)


def with_minutes_table(
    minutes: Array, names: Sequence[str], path: Path, *, others: bool = False
) -> tuple[Array, int]:
    """Put a table of minutes over the estimated ones.

    Parameters
    ----------
    minutes : array [place, place]
    names : sequence of str
        Of the places; home is "home".
    path : Path
        CSV with the columns from, to, minutes; a pair counts both ways unless it is given both
        ways.
    others : bool
        Whether the file may name other places as well, whose rows are passed over.

    Returns
    -------
    array, int
        The minutes, and how many pairs are still estimated.

    Raises
    ------
    InputError
        If the file cannot be read, a name is unknown or a number is none; all at once.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.DictReader(file, skipinitialspace=True))
    except (OSError, UnicodeDecodeError) as error:
        raise InputError("cannot read the table", where=str(path), got=str(error)) from error
    given: dict[tuple[int, int], float] = {}
    problems = []
    for line, row in enumerate(rows, start=2):
        where = f"{path}, line {line}"
        ends = [(row.get(key) or "").strip() for key in ("from", "to")]
        strange = [name for name in ends if name not in names]
        value = _minutes(row.get("minutes"))
        if strange and not others:
            problems.append(describe("unknown place", where=where, got=", ".join(strange),
                                     expected="one of " + ", ".join(names)))  # fmt: skip
        elif value is None:
            problems.append(describe("not minutes", where=where, expected="0 to 1440",
                                     got=row.get("minutes")))  # fmt: skip
        elif not strange:
            given[names.index(ends[0]), names.index(ends[1])] = value
    if not rows:
        problems.append(describe("no rows", where=str(path), expected="from,to,minutes"))
    if problems:
        raise InputError(one_line(problems))
    out = minutes.copy()
    for (one, other), value in given.items():
        out[one, other] = value
        if (other, one) not in given:
            out[other, one] = value
    pairs = {frozenset(pair) for pair in given if pair[0] != pair[1]}
    return out, len(names) * (len(names) - 1) // 2 - len(pairs)


def _minutes(text: str | None) -> float | None:
    try:
        value = float(text or "")
    except ValueError:
        return None
    return value if 0 <= value <= 1440 else None
