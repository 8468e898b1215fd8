"""Stamps of a file, as people and loggers write them, as UTC instants in order, each once."""

from __future__ import annotations

import re
from datetime import timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import InputError, WeatherError, describe
from spraywindow.sources.files.column_map import TimeColumn

_OFFSET = re.compile(r"(?:UTC|GMT)?([+-])(\d{1,2}):?(\d{2})?")
_HAS_OFFSET = r"(?:Z|[+-]\d{2}:?\d{2}|[+-]\d{2}|UTC)$"
_MIDNIGHT_24 = r"(?<![\d:])24(?=:?00(?::00)?$)"
_MINUTE = pd.Timedelta(minutes=1)


def read_zone(name: str, *, where: str = "time.timezone") -> tzinfo:
    """A time zone by IANA name, or a fixed offset such as "UTC-08:00"."""
    match = _OFFSET.fullmatch(name)
    try:
        if match:
            offset = timedelta(hours=int(match[2]), minutes=int(match[3] or 0))
            return timezone(-offset if match[1] == "-" else offset)
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        raise InputError(
            "unknown time zone",
            where=where,
            expected='an IANA name such as "Europe/Athens" or "UTC-08:00"',
            got=name,
        ) from error


def read_stamps(rows: pd.DataFrame, time: TimeColumn, name: str) -> tuple[pd.Series, list[str]]:
    """UTC instants of the rows, in the order of the file; NaT where a stamp cannot be told.

    Parameters
    ----------
    rows : pandas.DataFrame
        The raw rows, time columns as text or as times.
    time : TimeColumn
        Which columns, which clock, which format.
    name : str
        What the file is called in messages.

    Returns
    -------
    stamps : pandas.Series
        tz-aware UTC. NaT: the one row of an hour that the clock went through twice.
    notes : list of str
        What was decided.

    Raises
    ------
    WeatherError
        Stamps that are not times, that mix offsets with none, that need a time zone, or that
        the local clock skipped.
    """
    notes: list[str] = []
    columns = [str(column) for column in time.column]
    if len(columns) == 1 and pd.api.types.is_datetime64_any_dtype(rows[columns[0]]):
        local = rows[columns[0]]
    else:
        text = rows[columns[0]].astype("str").str.strip()
        for column in columns[1:]:
            text = text.str.cat(rows[column].astype("str").str.strip(), sep=" ")
        local = _parse(text, time, name)
    if time.year is not None:
        if local.dt.tz is not None:
            local = local.dt.tz_convert("UTC").dt.tz_localize(None)
        local = _in_year(local, time.year)
        notes.append(f"the stamps of {name} were put into the year {time.year}")
    if local.dt.tz is not None:
        return local.dt.tz_convert("UTC"), notes
    if time.timezone is None:
        raise WeatherError(
            "stamps without a time zone",
            where=name,
            got=str(local.iloc[0]),
            cure='name it in the column map: time.timezone = "Europe/Athens" or "UTC-08:00"',
        )
    return _to_utc(local, read_zone(time.timezone), name, notes), notes


def _parse(text: pd.Series, time: TimeColumn, name: str) -> pd.Series:
    # the pattern alone is slow, and few stamps end so
    midnight = text.str.endswith(("2400", "24:00", "2400:00", "24:00:00"))
    if midnight.any():
        midnight &= text.str.contains(_MIDNIGHT_24)
    if midnight.any():
        text = text.where(~midnight, text.str.replace(_MIDNIGHT_24, "00", regex=True))
    aware = text.str.contains(_HAS_OFFSET) if time.format is None else text.str.contains("$^")
    aware &= text.str.len() > 10  # the last part of a bare date is no offset
    if aware.any() and not aware.all():
        number = int(np.flatnonzero(aware.to_numpy() != bool(aware.iloc[0]))[0])
        raise WeatherError(
            "some stamps carry a time zone and some do not",
            where=f"{name}, row {number + 1}",
            got=f"{text.iloc[0]} and {text.iloc[number]}",
            expected="one way of writing them",
        )
    utc = bool(aware.any()) or (time.format is not None and "%z" in time.format)
    try:
        if time.format is not None and "%" not in time.format:
            raise ValueError("no code with % in it")  # pandas takes a few words for guesses
        parsed = pd.to_datetime(text, format=time.format or "ISO8601", errors="coerce", utc=utc)
    except (ValueError, re.error) as error:  # of the format; stamps that do not fit it are NaT
        raise InputError(
            "a time format that cannot be read",
            where="time.format",
            expected='codes such as "%d/%m/%Y %H:%M"',
            got=time.format,
            cure=" ".join(str(error).split()),
        ) from error
    if parsed.isna().any():
        number = int(np.flatnonzero(parsed.isna())[0])
        raise WeatherError(
            f"{int(parsed.isna().sum())} stamps are not times",
            where=f"{name}, row {number + 1}",
            expected=time.format or "ISO 8601, such as 2024-01-31T06:00Z",
            got=str(text.iloc[number]),
            cure="" if time.format else 'time.format tells another form: "%d/%m/%Y %H:%M"',
        )
    return (
        parsed + pd.to_timedelta(midnight.astype("int64"), unit="D") if midnight.any() else parsed
    )


def _in_year(local: pd.Series, year: int) -> pd.Series:
    # An hour stamped at its end may be the first of January after the last December.
    before = local - _MINUTE
    moved = pd.to_datetime(
        pd.DataFrame(
            {
                "year": year,
                "month": before.dt.month,
                "day": before.dt.day,
                "hour": before.dt.hour,
                "minute": before.dt.minute,
            }
        ),
        errors="coerce",
    )
    return moved + _MINUTE


def _to_utc(local: pd.Series, zone: tzinfo, name: str, notes: list[str]) -> pd.Series:
    index = pd.DatetimeIndex(local)
    first = index.tz_localize(zone, ambiguous=np.ones(len(index), bool), nonexistent="NaT")
    skipped = np.asarray(first.isna()) & np.asarray(index.notna())
    if skipped.any():
        named = ", ".join(str(stamp) for stamp in index[skipped][:3])
        raise WeatherError(
            f"{int(skipped.sum())} stamps that the local clock skipped",
            where=name,
            got=named,
            cure='a logger that keeps standard time all year needs "UTC-08:00" or the like',
        )
    second = index.tz_localize(zone, ambiguous=np.zeros(len(index), bool), nonexistent="NaT")
    twice = np.asarray(first != second) & np.asarray(index.notna())
    stamps = pd.Series(first.tz_convert("UTC"), index=local.index)
    if twice.any():
        at = local[twice]
        # In a file that runs backwards the second passage stands first.
        turn = at.groupby(at).cumcount(ascending=not _runs_backwards(index))
        count = at.map(at.value_counts())
        later = pd.Series(second.tz_convert("UTC"), index=local.index)
        stamps = stamps.mask(_spread(turn == 1, local), later)
        unclear = count != 2
        if unclear.any():
            stamps = stamps.mask(_spread(unclear, local))
            notes.append(
                f"{int(unclear.sum())} rows in the hour that the clock ran through twice cannot "
                f"be told apart ({at[unclear].iloc[0]}); those hours are unknown"
            )
    return stamps


def _spread(flags: pd.Series, like: pd.Series) -> NDArray[np.bool_]:
    return np.asarray(flags.reindex(like.index, fill_value=False), dtype=bool)


def _runs_backwards(index: pd.DatetimeIndex) -> bool:
    return len(index) > 1 and bool((np.diff(index.asi8) < 0).mean() > 0.5)


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
            "stamps lie between the minutes" if seconds.size else "no stamp near an hour",
            where=name,
            got=str(index[0]),
            cure='time.round = "10min" sets them on the hour',
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
    if (np.diff(at) > 0).all():
        return at, kept
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
