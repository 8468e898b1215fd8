"""Text bulletins of the US National Blend of Models: one station, hourly to eleven days.

NBH is hourly to 25 h, NBS 3-hourly to three days, NBE and NBX 12-hourly to eight and eleven.
Amounts and chances of rain are of the hours that end at their stamp; an amount stays whole, and a
chance of 6 or 12 h stands whole on each of its hours. Instants are interpolated over one step of
3 h, as no extremes stand beside them; those of 12 h stand alone.

Read here, not by a library: the one that is kept up (`avwx-engine` 1.9, MIT) leaves out the
standard deviations, dates a bulletin that begins nine days ahead as tomorrow's, and weighs 67 MB.

References
----------
.. [1] US National Weather Service, Meteorological Development Laboratory, *NBM text product card*
   (vlab.noaa.gov/web/mdl/nbm-textcard-v4.1): the elements, their units and periods.
"""

from __future__ import annotations

import re
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from spraywindow.errors import InputError, WeatherError
from spraywindow.sources import LONGEST_PLAIN_STEP_H, LONGEST_TOTAL_H, settle_totals
from spraywindow.sources.files.on_hours import directions, instants
from spraywindow.units import convert
from spraywindow.weather import COLUMNS, PERIOD_COLUMNS

Floats = NDArray[np.float64]
CREDIT = "US National Blend of Models, National Weather Service (public domain)"
_HEAD = re.compile(
    r"^\s*(\w{3,6})\s+NBM V[\d.]+ (NB[HSEX]) GUIDANCE\s+(\d+/\d+/\d{4})\s+(\d{4}) UTC\s*$", re.M
)
LONGEST_STEP_MIN = LONGEST_PLAIN_STEP_H * 60
MISSING = -99.0


class Element(NamedTuple):
    """Their name of a value and of its standard deviation, our column, their unit."""

    theirs: str
    spread: str
    ours: str
    unit: str


ELEMENTS = (
    Element("TMP", "TSD", "temp_c", "degF"),
    Element("DPT", "DSD", "dew_point_c", "degF"),
    Element("WSP", "WSD", "wind_ms", "kn"),
    Element("GST", "GSD", "gust_ms", "kn"),
    Element("SKY", "SSD", "cloud", "%"),
)
PERIODS_H = (1, 6, 12)


class Bulletin(NamedTuple):
    """What a bulletin says.

    Attributes
    ----------
    weather : pandas.DataFrame
        Contract columns with `PERIOD_COLUMNS`, hourly from the hour of issue to the last stamp,
        UTC; ``attrs`` as of any source.
    spread : pandas.DataFrame
        Standard deviations of those columns that have one, at the bulletin's own stamps, in the
        unit of the column (a temperature's in K).
    """

    weather: pd.DataFrame
    spread: pd.DataFrame


def is_bulletin(head: bytes) -> bool:
    """Whether a file begins as a bulletin does."""
    return _HEAD.search(head[:1000].decode("ascii", "replace")) is not None


def parse(text: str) -> Bulletin:
    """Read the bulletin of one station.

    Raises
    ------
    InputError
        If the text holds none, or those of several stations.
    WeatherError
        If its hours are odd, or a value is no number.
    """
    heads = list(_HEAD.finditer(text))
    if len(heads) != 1:
        raise InputError(
            f"{len(heads)} bulletins",
            expected="that of one station",
            cure="cut the station's own lines out of the file" if heads else "",
        )
    station, kind, day, time = heads[0].groups()
    name = f"{kind} bulletin of {station}"
    issued = pd.to_datetime(f"{day} {time}", format="%m/%d/%Y %H%M", errors="coerce")
    if pd.isna(issued):
        raise WeatherError(f"{name}: the time of issue is none: {day} {time}")
    issued = issued.tz_localize("UTC")
    rows: dict[str, str] = {}
    indent = len(found[1]) if (found := re.search(r"^( *)UTC", text, re.M)) else 0
    for whole in text.splitlines():
        line = whole[indent:]
        key = line[:4].strip()
        if rows.setdefault(key, line.replace("|", " ")) != line.replace("|", " ") and key in _READ:
            raise WeatherError(f"{name}: {key} stands twice and differs")
    stamps, ends = _stamps(rows, issued, name)
    told = {key: _values(line, ends, name) for key, line in rows.items() if key in _WANTED}
    index = pd.date_range(issued.floor("h"), stamps[-1], freq="h", name="time")
    grid = np.arange(len(index), dtype=np.int64) * 60
    at = np.asarray((stamps - index[0]) // pd.Timedelta(minutes=1), dtype=np.int64)

    columns, spread = {}, {}
    for element in ELEMENTS:
        if element.theirs not in told:
            continue
        values = convert(told[element.theirs], element.unit, COLUMNS[element.ours].unit)
        columns[element.ours] = instants(grid, at, values, LONGEST_STEP_MIN)
        if element.spread in told:
            none = convert(0.0, element.unit, COLUMNS[element.ours].unit)  # degF has its own zero
            wide = convert(told[element.spread], element.unit, COLUMNS[element.ours].unit)
            spread[element.ours] = wide - none
    if "WDR" in told:  # tens of degrees; 0 is a calm, of any direction
        degrees = np.where(told["WDR"] > 0, told["WDR"] * 10.0 % 360.0, np.nan)
        columns["wind_from_deg"] = directions(grid, at, degrees, LONGEST_STEP_MIN)
    table = pd.DataFrame(columns | _rain(grid // 60, at // 60, told), index=index)
    table.attrs = {
        "source": {
            "name": f"US National Blend of Models, {kind} of {station}",
            "issued": issued,
            "fetched": None,
            "credit": CREDIT,
            "stale": False,
        },
        "forecast_from": index[0],
        "notes": [f"the bulletin is of the station {station}: it must lie near the site"],
    }
    return Bulletin(table, pd.DataFrame(spread, index=stamps))


_WANTED = {"WDR"} | {
    name
    for names in (*(e[:2] for e in ELEMENTS), *((f"P{h:02}", f"Q{h:02}") for h in PERIODS_H))
    for name in names
}
_READ = {*_WANTED, "UTC", "FHR"}


def _stamps(
    rows: dict[str, str], issued: pd.Timestamp, name: str
) -> tuple[pd.DatetimeIndex, list[int]]:
    """Times of the columns, and where each column ends in a line."""
    if "UTC" not in rows:
        raise WeatherError(f"{name}: no line of hours (UTC)")
    hours = [int(hour) for hour in re.findall(r"\d+", rows["UTC"])]
    # values end where the hours ahead do; NBH has none: it goes on by the hour from the issue
    ends = [found.end() for found in re.finditer(r"\d+", rows.get("FHR", rows["UTC"]))]
    ahead = np.arange(1.0, len(hours) + 1.0)
    if "FHR" in rows:
        ahead = _values(rows["FHR"], ends, name)
    if not hours or np.isnan(ahead).any() or (np.diff(ahead) <= 0).any() or ahead.max() > 300:
        raise WeatherError(f"{name}: its hours ahead (FHR) are odd")
    stamps = issued.floor("h") + pd.to_timedelta(ahead, unit="h")
    if list(stamps.hour) != hours:
        raise WeatherError(f"{name}: its hours (UTC) do not follow from the time of issue")
    return pd.DatetimeIndex(stamps, name="time"), ends


def _values(line: str, ends: list[int], name: str) -> Floats:
    """The numbers of a line, NaN where a column is blank or says missing."""
    begins = [3, *ends[:-1]]
    begins[0] = max(begins[0], ends[0] - (ends[1] - ends[0] if len(ends) > 1 else 3))
    cells = [line[begin:end].strip() for begin, end in zip(begins, ends, strict=True)]
    if not all(re.fullmatch(r"(-?\d{1,4})?", cell, re.ASCII) for cell in cells):
        raise WeatherError(f"{name}: {line[:3]} holds more than numbers: {line.strip()[:80]}")
    values = np.array([float(cell) if cell else np.nan for cell in cells])
    return np.where(values <= MISSING, np.nan, values)


def _rain(
    grid_h: NDArray[np.int64], at_h: NDArray[np.int64], told: dict[str, Floats]
) -> dict[str, Floats]:
    """Amounts, periods and chances on the hours: the shortest tell first."""
    lead = LONGEST_TOTAL_H  # a period may begin before the issue
    rain = np.full(grid_h.size + lead, np.nan)
    periods, chance = np.full((3, rain.size), np.nan), rain.copy()
    for hours in PERIODS_H:
        first = at_h - hours + lead
        if f"Q{hours:02}" in told:
            inches = told[f"Q{hours:02}"] / 100.0
            amounts = convert(np.where(inches >= 0, inches, np.nan), "in", "mm")
            if hours == 1:
                rain[first] = amounts
            else:
                rain, periods, _ = settle_totals(rain, periods, first, amounts, hours)
        if f"P{hours:02}" in told:
            share = told[f"P{hours:02}"] / 100.0
            for row, here in zip(first[~np.isnan(share)], share[~np.isnan(share)], strict=True):
                covered = slice(row, row + hours)
                chance[covered] = np.where(np.isnan(chance[covered]), here, chance[covered])
    return {
        "rain_mm": rain[lead:],
        **dict(zip(PERIOD_COLUMNS, periods[:, lead:], strict=True)),
        "rain_chance": chance[lead:],
    }
