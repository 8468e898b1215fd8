"""From what a service gave to the weather table: rain totals laid out, age judged, credit kept."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import NamedTuple

import numpy as np
import pandas as pd

from spraywindow.errors import SourceError, describe
from spraywindow.sources import LONGEST_TOTAL_H, ROUNDING_MM, settle_totals
from spraywindow.sources.http import OLDEST_COPY_H, Fetched, odd
from spraywindow.weather import COLUMNS, OPTIONAL, PERIOD_COLUMNS, RANGE_COLUMNS, check_hourly

HOUR = pd.Timedelta(hours=1)
LONGEST_SPAN_H = 1000
OLDEST_ISSUE_H = 24.0
"""A forecast issued longer ago is refused: services were seen to answer 200 with forecasts
three days old; P: common practice, no source."""
EARLIEST_H = 1.0
"""How far the clocks of a service and of the caller may differ [h]; P."""


class TooOld(SourceError):
    """The forecast was made too long ago."""


class RainTotal(NamedTuple):
    """Rain over ``[start, start + hours)`` [mm]."""

    start: pd.Timestamp
    hours: int
    rain_mm: float


class Service(NamedTuple):
    """How a service is named and credited, and from which age of its issue people are told."""

    name: str
    credit: str
    old_issue_h: float

    def odd(self, what: str) -> SourceError:
        """Make the error for a reply that is not as the service describes it."""
        return odd(self.name, what)


def hours_between(first: pd.Timestamp, last: pd.Timestamp, *, service: str) -> pd.DatetimeIndex:
    """Give every hour from `first` to `last`.

    Raises
    ------
    SourceError
        If they are further apart than any forecast reaches (a wrong stamp would fill the memory).
    """
    if last - first > LONGEST_SPAN_H * HOUR:
        raise SourceError(
            "the answer spans too long a time",
            where=service,
            expected=f"at most {LONGEST_SPAN_H} h",
            got=f"{first.date()} to {last.date()}",
        )
    return pd.date_range(first, last, freq="h", name="time")


def rain_columns(
    index: pd.DatetimeIndex, totals: Iterable[RainTotal], checks: Iterable[RainTotal] = ()
) -> pd.DataFrame:
    """Lay rain totals out on hours without ever spreading one.

    One-hour totals become ``rain_mm``; longer ones are settled as those of a file
    (`spraywindow.sources.coarse.settle_totals`), the shortest first; a negative or unknown
    one tells nothing.

    Parameters
    ----------
    index : pandas.DatetimeIndex
        The hours of the table.
    totals : iterable of RainTotal
    checks : iterable of RainTotal
        Longer ones that overlap each other and settle no hour. What one holds beyond its hours may
        have fallen in any of them that is said to be dry; little more is rounding, unless an hour
        lacks. Each hour is judged by all totals over it and by no other, in no order: so a total
        or an hour that is taken away makes none drier.

    Returns
    -------
    pandas.DataFrame
        ``rain_mm`` and `PERIOD_COLUMNS` on `index`; NaN is unknown. ``attrs["notes"]`` says how
        many dry hours a longer total made unknown.
    """
    told, checked = (
        [
            total
            for total in given
            if total.rain_mm >= 0
            and total.start <= index[-1]
            and total.start + total.hours * HOUR > index[0]
            and (total.hours <= LONGEST_TOTAL_H or total.rain_mm == 0)
        ]
        for given in (totals, checks)
    )
    before = max([0, *(int((index[0] - total.start) / HOUR) for total in [*told, *checked])])

    def row(total: RainTotal) -> int:
        return int((total.start - index[0]) / HOUR) + before

    count = max([before + len(index), *(row(each) + each.hours for each in [*told, *checked])])
    rain, periods = np.full(count, np.nan), np.full((len(PERIOD_COLUMNS), count), np.nan)
    hidden = 0
    by_length: dict[int, list[tuple[int, float]]] = {}
    for start, total in sorted((row(each), each) for each in told):
        by_length.setdefault(total.hours, []).append((start, total.rain_mm))
    hourly = np.full(count, np.nan)
    for hours, found in sorted(by_length.items()):
        first, mm = (np.array(values) for values in zip(*found, strict=True))
        if hours == 1:
            rain[first] = mm
            hourly = rain.copy()
            continue
        dry = rain == 0.0
        rain, periods, _ = settle_totals(rain, periods, first, mm, hours)
        hidden += int(np.count_nonzero(dry & np.isnan(rain)))
    told_until = int(np.flatnonzero(~np.isnan(hourly)).max(initial=-1)) + 1
    dry, doubted, most = rain == 0.0, np.zeros(count, dtype=bool), np.full(count, np.inf)
    for total in checked:
        within = slice(row(total), row(total) + total.hours)
        beyond = round(total.rain_mm - np.nansum(hourly[within]), 6)
        # where an hour among those told is not, even a little may have fallen in any other
        hole = np.isnan(hourly[within.start : min(within.stop, told_until)]).any()
        if beyond > (0.0 if hole else ROUNDING_MM):
            doubted[within] = True
        else:
            most[within] = np.minimum(most[within], max(beyond, 0.0))
    rounded = dry & ~doubted & (most > 0.0) & np.isfinite(most)
    # the first hour of two: it may hold all of that, and none of it surely
    periods[:, rounded] = np.stack(np.broadcast_arrays(most[rounded], 2.0, 0.0))
    hides = rounded | (dry & doubted)
    hidden += int(np.count_nonzero(hides))
    rain[hides] = np.nan
    here = slice(before, before + len(index))
    out = pd.DataFrame(
        {"rain_mm": rain[here], **dict(zip(PERIOD_COLUMNS, periods[:, here], strict=True))},
        index=index,
    )
    note = f"{hidden} hours said to be dry hide rain of a longer total: they are unknown"
    out.attrs["notes"] = [note] * bool(hidden)
    return out


def newest(read: Callable[[bool], pd.DataFrame]) -> pd.DataFrame:
    """Read a forecast; where it is too old, once more past the copy that may be kept of it.

    Parameters
    ----------
    read : callable
        Fetches, parses and finishes; its argument is whether to pass the kept copy by.
    """
    try:
        return read(False)
    except TooOld:
        return read(True)


def finish(
    table: pd.DataFrame,
    service: Service,
    answer: Fetched,
    *,
    issued: pd.Timestamp | None,
    forecast_from: pd.Timestamp,
    now: pd.Timestamp,
) -> pd.DataFrame:
    """Judge the age of a forecast, leave out what the service does not carry, check the table.

    Parameters
    ----------
    table : pandas.DataFrame
        Contract columns, as parsed; ``attrs["notes"]`` is kept.
    service, answer
        Who gave it and how it came.
    issued : pandas.Timestamp or None
        When the service says that it made the forecast; where it does not say, the age is counted
        from the time it was fetched.
    forecast_from : pandas.Timestamp
        First hour that is forecast.
    now : pandas.Timestamp
        The time of asking, UTC.

    Raises
    ------
    TooOld
        If the forecast was issued more than a day ago, or fetched more than 6 h ago where the
        service does not say when it was issued.
    SourceError
        If it is later than `now`, ends before it, or holds no temperature at all.
    """
    notes = [*table.attrs.get("notes", []), *answer.notes]
    if issued is not None:
        notes += _age_notes("issued", issued, OLDEST_ISSUE_H, service, now)
    else:
        notes += _age_notes("fetched", answer.fetched, OLDEST_COPY_H, service, now)
    if not table.index[0] <= now + HOUR or table.index[-1] < now.floor("h"):
        raise SourceError(
            "the forecast does not hold the present hour",
            where=service.name,
            expected=f"{now:%Y-%m-%d %H:%M} UTC",
            got=f"{table.index[0]:%Y-%m-%d %H:%M} to {table.index[-1]:%Y-%m-%d %H:%M}",
        )
    if table["temp_c"].isna().all():
        raise SourceError("the answer holds no temperature", where=service.name)
    empty = [c for c in table.columns if table[c].isna().all()]
    # a service that never tells a required thing leaves it unknown, and says so; of the optional
    # ones it counts as not carried
    table = table.drop(
        columns=[c for c in empty if c in (*OPTIONAL, *PERIOD_COLUMNS, *RANGE_COLUMNS)]
    )
    notes += [
        f"{service.name} gives no {COLUMNS[c].meaning} here"
        for c in empty
        if c in COLUMNS and not (c == "rain_mm" and PERIOD_COLUMNS[0] in table.columns)
    ]
    table.attrs = {
        "source": {
            "name": service.name,
            "issued": issued,
            "fetched": answer.fetched,
            "credit": service.credit,
            "stale": answer.stale,
        },
        "forecast_from": forecast_from,
        "notes": notes,
    }
    return check_hourly(table, name=service.name)


def _age_notes(
    done: str, at: pd.Timestamp, oldest_h: float, service: Service, now: pd.Timestamp
) -> list[str]:
    age_h = (now - at) / HOUR
    got = f"{at:%Y-%m-%d %H:%M} UTC"
    if age_h > oldest_h:
        raise TooOld(
            describe(
                "the forecast is too old",
                where=service.name,
                expected=f"one {done} in the last {oldest_h:g} h",
                got=got,
                cure="look at the clock, try again later, or take another service",
            )
        )
    if age_h < -EARLIEST_H:
        raise SourceError(
            f"the forecast was {done} after the time asked for",
            where=service.name,
            expected=f"one {done} before {now:%Y-%m-%d %H:%M} UTC",
            got=got,
            cure="services know only the present: give a weather file for another time",
        )
    if age_h > service.old_issue_h:
        return [f"{service.name}: the forecast was {done} {age_h:.0f} h ago"]
    return []
