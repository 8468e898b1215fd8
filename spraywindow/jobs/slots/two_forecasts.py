"""What two forecasts say apart, beside the answer that goes by the worse of the two."""

from __future__ import annotations

import datetime as dt
import math

from spraywindow.days import day_words
from spraywindow.jobs.slots.answer import Evening, Forecast, ForecastDay
from spraywindow.jobs.slots.words import reason
from spraywindow.show import hours_words, shown, table_text


def forecasts_line(evening: Evening) -> str:
    """On which forecasts the answer stands, and where they differ; empty where one was asked."""
    told = evening.forecasts
    if not told:
        return ""
    if len(told) == 1:
        return f"Two forecasts were asked for, one came: it stands on {_name(told[0])} alone"
    differ = [day_words(day) for day in _differing(evening)]
    days = f"they differ on {', '.join(differ)}" if differ else "they agree on every day"
    alone = [day.date for day in evening.answers if any(_ended(each, day.date) for each in told)]
    left = max(told, key=lambda each: each.last)
    rest = f"; from {day_words(min(alone))} on {_name(left)} tells alone" if alone else ""
    return (
        f"Two forecasts, every hour by the worse of the two: {' and '.join(map(_name, told))}; "
        f"{days}{rest}. A chance is the smaller of theirs, each earned on single forecasts"
    )


def forecasts_text(evening: Evening) -> str:
    """A table of the days on which the forecasts differ; empty where there are none."""
    dates = _differing(evening) if len(evening.forecasts) == 2 else []
    if not dates:
        return ""
    rows = []
    for date in dates:
        row = [day_words(date)]
        for each in evening.forecasts:
            day = each.day(date)
            row += [_hours(day), _rain(day, evening)]
        rows.append([*row, _why(date, evening)])
    heads = ["day"]
    for each in evening.forecasts:
        heads += [_name(each).replace(" ", "\n"), "rain"]
    return "Where the forecasts differ\n" + table_text([*heads, "the stricter"], rows)


def _name(forecast: Forecast) -> str:
    return forecast.source.name or "a weather file"


def _ended(forecast: Forecast, date: dt.date) -> bool:
    """Whether a forecast tells no hour of a day whole, nor forbids it."""
    return date > forecast.last and forecast.day(date).verdict != "no-go"


def _differing(evening: Evening) -> list[dt.date]:
    out = []
    for answer in evening.answers:
        one, two = (each.day(answer.date) for each in evening.forecasts)
        ended = any(_ended(each, answer.date) for each in evening.forecasts)
        if not ended and (one.verdict, one.start, one.end) != (two.verdict, two.start, two.end):
            out.append(answer.date)
    return out


def _hours(day: ForecastDay) -> str:
    if day.start is None or day.end is None:
        return day.verdict
    return hours_words(day.start, day.end)


def _rain(day: ForecastDay, evening: Evening) -> str:
    units = evening.site.units
    low, high = day.rain_low_mm, day.rain_high_mm
    if math.isinf(high):
        return "?" if low == 0.0 else f"{shown(low, 'mm', units)}+"
    if low == high:
        return shown(low, "mm", units)
    return f"up to {shown(high, 'mm', units)}"


_WORSE = ("go", "unknown", "no-go")


def _why(date: dt.date, evening: Evening) -> str:
    """What the stricter forecast has against the day; of two slots, the hours of both."""
    days = [(each, each.view.answer(date)) for each in evening.forecasts]
    if all(answer.verdict == "go" for _, answer in days):
        both = evening.answer(date)
        if both.slot is not None:
            return f"both: {hours_words(both.slot.start, both.slot.end)}"
        return f"no hours that suit both long enough; {reason(both, evening)}"
    each, worse = max(days, key=lambda pair: _WORSE.index(pair[1].verdict))
    return f"{_name(each)}: {reason(worse, each.view)}"
