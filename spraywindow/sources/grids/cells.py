"""Which cells of a grid a site takes its values from, on any grid.

The nearest cell is found among points in space, so that poles, the date line and turned grids need
no care. The values between cells are taken on grids of rows and columns of equal latitude and
longitude.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from spraywindow.errors import InputError
from spraywindow.place import Place

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Method = Literal["nearest", "bilinear"]
NEIGHBOURS = 4
WITHIN = 0.75
"""Farther from its cell than this share of the way to that cell's fourth neighbour, a site lies
outside: half the diagonal of a square cell is 0.71 of its side."""


@dataclass(frozen=True, eq=False)
class Sites:
    """Where values are wanted, arrays [site] in the order of `names`."""

    names: tuple[str, ...]
    places: tuple[Place, ...]

    @classmethod
    def of(cls, sites: Mapping[str, Place]) -> Sites:
        """Sites by their names."""
        if not sites:
            raise InputError("no sites", expected="at least one")
        return cls(tuple(sites), tuple(sites.values()))

    @property
    def latitude(self) -> Floats:
        """[degrees]."""
        return np.array([place.latitude for place in self.places])

    @property
    def longitude(self) -> Floats:
        """[degrees]."""
        return np.array([place.longitude for place in self.places])

    @property
    def elevation_m(self) -> Floats:
        """[m]."""
        return np.array([place.elevation_m for place in self.places], dtype=float)

    def named(self, which: NDArray[np.bool_], most: int = 5) -> str:
        """The names of some of them, the first few."""
        found = [name for name, here in zip(self.names, which, strict=True) if here]
        more = f" and {len(found) - most} more" if len(found) > most else ""
        return ", ".join(found[:most]) + more


@dataclass(frozen=True, eq=False)
class Cells:
    """Numbers of the cells that each site takes, and their weights, [site, cell]."""

    index: Integers
    weight: Floats

    def pick(self, values: Floats) -> Floats:
        """Values [site] of a field [cell of the grid]; NaN where a cell that counts has none."""
        found = values[self.index]
        if self.index.shape[1] == 1:
            return np.asarray(found[:, 0])
        return np.asarray(np.where(self.weight > 0.0, found * self.weight, 0.0).sum(axis=1))


def find_cells(
    latitude: Floats, longitude: Floats, columns: int, sites: Sites, method: Method, where: str
) -> Cells:
    """Find the cells of sites.

    Parameters
    ----------
    latitude, longitude : array [cell]
        Of a grid, row by row [degrees].
    columns : int
        Cells in a row of a grid of equal latitudes and longitudes; 0 for any other.
    sites : Sites
    method : {"nearest", "bilinear"}
    where : str
        What the grid is called in messages.

    Raises
    ------
    InputError
        A site lies outside the grid, or between cells whose rows are not of one latitude.
    """
    try:
        from scipy.spatial import KDTree
    except ImportError as error:
        raise InputError(
            f'{where}: grids need an extra; pip install "spraywindow[grib]"'
        ) from error
    points = _in_space(latitude, longitude)
    tree = KDTree(points)
    away, nearest = tree.query(_in_space(sites.latitude, sites.longitude))
    own = min(NEIGHBOURS + 1, len(points))
    reach = tree.query(points[nearest], k=[own])[0][:, 0]
    outside = away > WITHIN * reach
    if method == "nearest" and not outside.any():
        return Cells(nearest[:, None], np.ones((len(nearest), 1)))
    rows, across = _axes(latitude, longitude, columns)
    if method == "bilinear" and not rows.size:
        raise InputError(
            "the rows of the grid are not of one latitude", where=where,
            cure='take the nearest cell: method="nearest"',
        )  # fmt: skip
    if method == "bilinear":
        cells, beyond = _between(rows, across, sites)
        outside |= beyond
    if outside.any():
        raise InputError(
            f"{int(outside.sum())} sites lie outside the grid", where=where,
            got=sites.named(outside),
        )  # fmt: skip
    return cells


def _in_space(latitude: Floats, longitude: Floats) -> Floats:
    """Points on a sphere of radius 1, [point, 3]."""
    north, east = np.radians(latitude), np.radians(longitude)
    return np.stack(
        [np.cos(north) * np.cos(east), np.cos(north) * np.sin(east), np.sin(north)], axis=1
    )


def _axes(latitude: Floats, longitude: Floats, columns: int) -> tuple[Floats, Floats]:
    """Latitudes of the rows and longitudes of the columns; none where they are not equal."""
    none = np.zeros(0)
    if columns < 2 or latitude.size % columns or latitude.size == columns:
        return none, none
    north, east = latitude.reshape(-1, columns), longitude.reshape(-1, columns)
    if (north != north[:, :1]).any() or (east != east[:1]).any():
        return none, none
    return north[:, 0], east[0]


def _between(rows: Floats, across: Floats, sites: Sites) -> tuple[Cells, NDArray[np.bool_]]:
    """The four cells around each site, weighted by how near they are, and the sites beyond."""
    up = np.argsort(rows)
    low, north, off_rows = _pair(rows[up], sites.latitude)
    east = (across - across[0]) % 360.0
    right = np.argsort(east)
    turn = east[right]
    closes = 360.0 - turn[-1] < 1.5 * np.diff(turn).max()  # the last column meets the first
    if closes:
        turn, right = np.append(turn, 360.0), np.append(right, right[0])
    left, along, off = _pair(turn, (sites.longitude - across[0]) % 360.0)
    index = np.stack(
        [up[low + a] * across.size + right[left + b] for a in (0, 1) for b in (0, 1)], axis=1
    )
    weight = np.stack(
        [(north if a else 1.0 - north) * (along if b else 1.0 - along)
         for a in (0, 1) for b in (0, 1)],
        axis=1,
    )  # fmt: skip
    return Cells(index, weight), off_rows | off


def _pair(axis: Floats, values: Floats) -> tuple[Integers, Floats, NDArray[np.bool_]]:
    """The number of the axis value below each value, the share of the way on, and who is off."""
    below = np.clip(np.searchsorted(axis, values, side="right") - 1, 0, axis.size - 2)
    share = (values - axis[below]) / (axis[below + 1] - axis[below])
    return below, share, (share < 0.0) | (share > 1.0)
