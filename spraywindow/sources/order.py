"""The order of a file's rows: whole minutes, ascending, each instant once."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import WeatherError, describe
from spraywindow.sources.column_fields import TimeColumn
from spraywindow.sources.stamps import read_zone

Integers = NDArray[np.int64]
HOUR_S = 3600


def whole_minutes(
    stamps: pd.Series, time: TimeColumn, name: str, notes: list[str]
) -> tuple[Integers, int, NDArray[np.intp]]:
    """Stamps as minutes since 1970, the minute at which local hours begin, and the rows kept.

    With `time.round`, a stamp that near to a whole hour is set on it, and rows farther off
    (special reports between the hours) are left out.

    Raises
    ------
    WeatherError
        If stamps lie between the minutes and no rounding is asked for.
    """
    kept = np.flatnonzero(stamps.notna().to_numpy())
    if not kept.size:
        raise WeatherError(f"{name}: no stamp can be told apart")
    index = pd.DatetimeIndex(stamps.iloc[kept]).as_unit("s")
    seconds = index.asi8
    anchor_s = 0
    if time.timezone is not None:
        offset = index[0].tz_convert(read_zone(time.timezone)).utcoffset()
        anchor_s = -int(offset.total_seconds()) % HOUR_S if offset is not None else 0
    if time.round is not None:
        nearest = (seconds - anchor_s + HOUR_S // 2) // HOUR_S * HOUR_S + anchor_s
        near = np.abs(seconds - nearest) <= time.round * 60
        if not near.all():
            notes.append(f"{int((~near).sum())} rows between the hours were left out")
        seconds, kept = nearest[near], kept[near]
    if not seconds.size or (seconds % 60).any():
        raise WeatherError(
            describe(
                "stamps lie between the minutes" if seconds.size else "no stamp near an hour",
                where=name,
                got=str(index[0]),
                cure='time.round = "10min" sets them on the hour',
            )
        )
    return seconds // 60, anchor_s // 60, kept


def in_order(
    at: Integers, kept: NDArray[np.intp], rows: pd.DataFrame, name: str, notes: list[str]
) -> tuple[Integers, NDArray[np.intp]]:
    """Ascending minutes, each once, and the rows that they belong to.

    A file that runs backwards throughout is turned, and rows that repeat another one word by
    word are dropped; both are noted. Anything else is not ours to mend.

    Raises
    ------
    WeatherError
        If an instant stands twice with different values, or the rows are shuffled.
    """
    if at.size > 1 and (np.diff(at) <= 0).all() and at[0] > at[-1]:
        at, kept = at[::-1], kept[::-1]
        notes.append("the file runs backwards in time and was turned")
    again = np.zeros(at.size, dtype=bool)
    if np.unique(at).size < at.size:
        again = rows.iloc[kept].assign(_at=at).duplicated().to_numpy()
    if again.any():
        notes.append(f"{int(again.sum())} rows that repeat another were dropped")
        at, kept = at[~again], kept[~again]
    problems = []
    if np.unique(at).size < at.size:
        twice = pd.Index(at).duplicated()
        problems.append(
            describe(
                f"{int(twice.sum())} instants stand twice with different values",
                expected="each instant once",
                got=_stamp(at[twice][0]),
                cure="file.where chooses rows, by station or kind of report",
            )
        )
    late = np.flatnonzero(np.diff(at) < 0)
    if late.size:
        problems.append(
            describe(
                "the rows are out of order",
                expected="ascending times",
                got=_stamp(at[late[0] + 1]),
                cure="sort the rows by time",
            )
        )
    if problems:
        raise WeatherError(f"{name}: " + "; ".join(problems))
    return at, kept


def _stamp(minute: int) -> str:
    return pd.Timestamp(int(minute), unit="m", tz="UTC").isoformat()
