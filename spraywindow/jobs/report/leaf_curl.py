"""Leaf-curl weather ahead, and what is left of the last copper."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from spraywindow.days import day_words
from spraywindow.jobs.log import copper_share_words
from spraywindow.jobs.slots import conditions_of
from spraywindow.record import Kept, came, rain_between
from spraywindow.show import System, shown
from spraywindow.site import Site, season_start, sprays_done
from spraywindow.weather import (
    LEAF_CURL,
    check_hourly,
    infection_risk,
    known_at,
    spread_rain,
    wet_from_store,
)
from spraywindow.winters import copper_residue

RESPRAY_MM = 50.0
"""Rain since the spray from which most copper is gone (Ontario 2020) [mm]."""

HALVING: dict[System, str] = {"metric": "25 mm", "us": "inch"}
"""Rain that takes about half of the copper (Ontario 2020), as round as it is known."""


@dataclass(frozen=True)
class Spell:
    """A wet spell that counts, or may count, as leaf-curl weather.

    `low` and `high` bound its severity [0-1]: the weeks after it decide with it.
    """

    start: pd.Timestamp
    low: float
    high: float


@dataclass(frozen=True)
class CopperLeft:
    """The share of the last round left on the wood [0-1] and the rain since it [mm].

    Both are (least, most); the most rain is infinite where the rain of an hour is not known.
    """

    done: dt.date
    rain_mm: tuple[float, float]
    share: tuple[float, float]


def curl_spells(weather: pd.DataFrame, site: Site, now: pd.Timestamp) -> list[Spell]:
    """Wet spells from the day of `now` on that may infect, in order.

    Raises
    ------
    WeatherError
        If the table does not hold `now`.
    """
    table = known_at(check_hourly(weather), now)
    state = conditions_of(table, site)
    rain = state.columns["rain_mm"]
    if "rain_total_mm" in state.columns:
        total, length = state.columns["rain_total_mm"], state.columns["rain_total_h"]
        rain = spread_rain(rain, total, length)
    wet = wet_from_store(state.balance_water.low[:-1], state.balance_water.high[:-1])
    low, high = infection_risk(LEAF_CURL, wet, state.columns["temp_c"], rain)
    local = pd.DatetimeIndex(table.index).tz_convert(site.place.timezone)
    today = now.tz_convert(site.place.timezone).normalize()
    return [
        Spell(local[row], float(low[row]), float(high[row]))
        for row in np.flatnonzero(high > 0).tolist()
        if local[row] >= today
    ]


def copper_left(
    weather: pd.DataFrame, site: Site, now: pd.Timestamp, rows: Sequence[Kept] = ()
) -> CopperLeft | None:
    """How much of the season's last copper is left at `now`; None without a round done.

    Parameters
    ----------
    weather : DataFrame
        As far back as it goes; rain before its first hour, and what is forecast, is unknown.
    site : Site
    now : Timestamp
        tz-aware.
    rows : sequence of Kept
        The site's entries that hold: they know the hour of a round, a site file only its day.
    """
    today = now.tz_convert(site.place.timezone).date()
    start = season_start(today, site)
    days = [
        day for _, name, day in sprays_done(site) if site.is_copper(name) and start <= day <= today
    ]
    if not days:
        return None
    last = max(days)
    noon = pd.Timestamp(last, tz=site.place.timezone) + pd.Timedelta(hours=12)
    ends = [
        row.entry.finished
        for row in rows
        if row.entry.day == last and site.is_copper(row.entry.material)
    ]
    past = came(check_hourly(weather), now.to_pydatetime())
    rain = rain_between(past, max(ends, default=noon.to_pydatetime()), now.floor("h"))
    least, most = (float(copper_residue(mm)) for mm in reversed(rain))
    return CopperLeft(last, rain, (least, most))


def curl_words(spells: list[Spell], system: System) -> list[str]:
    """Leaf-curl weather in sentences, in the reader's units."""
    if not spells:
        rain, warm = shown(3.0, "mm", system), shown(16.0, "degC", system)
        return [
            "No leaf-curl weather in the days ahead that this weather covers: it takes 12.5 wet "
            f"hours with {rain} of rain below {warm}."
        ]
    mild = shown(19.0, "degC", system)
    return [
        f"Leaf-curl risk from {day_words(spell.start.date())}: up to {100 * spell.high:.0f} on a "
        f"scale to 100, if the two weeks after it stay below {mild} on average."
        for spell in spells
    ]


def copper_words(left: CopperLeft | None, site: Site) -> list[str]:
    """What is left of the last copper, in sentences."""
    if left is None:
        return ["No copper is on the wood: no round is in the record."]
    least, most = left.rain_mm
    known = shown(least, "mm", site.units)
    words = f"Last copper on {day_words(left.done)}: {copper_share_words(left.share)}"
    if most == float("inf"):
        return [
            f"{words}, with the {known} of rain we know of; every {HALVING[site.units]} takes "
            "half. Check your rain gauge."
        ]
    fell = known if least == most else f"{known} to {shown(most, 'mm', site.units)}"
    worn = " Most of it is gone." if least >= RESPRAY_MM else ""
    return [f"{words} after {fell} of rain.{worn}"]
