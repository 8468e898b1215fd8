"""What the rain since a round makes of it: keep, inspect or redo; and what is in doubt by it.

The rule of practice: rain within the label's minimum, redo; within the wanted hours, inspect;
later, keep. Copper washes off by the amount of rain, whenever it falls.

References
----------
.. [1] Ontario agriculture ministry (2020), Rainfastness of fungicides: about half lost per
   25 mm, most above 50 mm, rain within 2 h means lost.
.. [2] Kansas State extension: below 25 mm negligible, 25-50 mm half, above 50 mm spray again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import pandas as pd

from spraywindow.reasons import Amount, Reason
from spraywindow.record.entry import Application
from spraywindow.record.file import Kept
from spraywindow.record.weather_then import came, hours_passed, rain_between
from spraywindow.site import Doubt, Site, season_start
from spraywindow.spray import Material, Rainfast, general_material
from spraywindow.weather import MEASURABLE_MM
from spraywindow.winters import copper_residue

DRIZZLE_MM = 2.0
"""Rain that the wanted hours may bring in all, as before the round; P [mm]."""
COPPER_HALF_MM = 25.0
COPPER_REDO_MM = 50.0
WASHED = "{} since the round: about {} left"
"""Tells the share of the copper itself."""


@dataclass(frozen=True)
class Advice:
    """What to do about a round: `keep`, `inspect`, `redo` or `unknown`, and why.

    Rain is (least, most) [mm], an unknown most is None; `residue_share` is (least, most) of
    the copper left, None for other materials.
    """

    verdict: str
    reason: Reason
    minimum_h: float
    wanted_h: float
    hours_passed: float
    rain_minimum_mm: tuple[float, float | None]
    rain_wanted_mm: tuple[float, float | None]
    rain_since_mm: tuple[float, float | None]
    residue_share: tuple[float, float] | None


def after_rain(
    entry: Application, weather: pd.DataFrame, *, now: datetime, material: Material
) -> Advice:
    """Say whether a round may be kept.

    Parameters
    ----------
    entry : Application
        Its `rain_free_h`, the label's, stands in for the material's rainfast hours.
    weather : pandas.DataFrame
        Hourly table; only hours before `now` and not forecast are used.
    now : datetime
        tz-aware.
    material : Material
        Gives the hours without rain that are needed, and wanted, and whether copper washes off.

    Returns
    -------
    Advice
        ``unknown`` while rain not known, or hours still to come, could change the answer.
    """
    rainfast, copper = _rainfast(entry, material), material.copper
    minimum_h = rainfast.hours
    wanted_h = max(material.dry_spell_h, minimum_h)
    past, done = came(weather, now), entry.finished
    needed = rain_between(past, done, done + timedelta(hours=minimum_h))
    wanted = rain_between(past, done, done + timedelta(hours=wanted_h))
    # up to the last full hour: the one that is running has no value yet
    since = rain_between(past, done, pd.Timestamp(now).tz_convert("UTC").floor("h"))
    bounds = [
        _verdict(copper, *amounts) for amounts in zip(needed, wanted, since, strict=True)
    ]  # more rain never makes the answer better: the two ends bracket it
    verdict = bounds[0] if bounds[0] == bounds[1] else "unknown"
    passed = hours_passed(done, now)
    if verdict == "unknown":
        reason = _open_reason(bounds[0], passed, wanted_h, since[0])
    elif needed[0] >= MEASURABLE_MM:
        reason = _washed_off(needed[0], rainfast)
    elif copper and since[0] >= COPPER_HALF_MM:
        rain = Amount(since[0], "mm", decimals=0)
        reason = Reason(WASHED, (rain, f"{float(copper_residue(since[0])):.0%}"))
    elif verdict == "inspect":
        reason = Reason("{} fell within the {} h wanted", (_mm(wanted[0]), f"{wanted_h:g}"))
    else:
        reason = Reason("dry enough for the {} h wanted", (f"{wanted_h:g}",))
    return Advice(
        verdict,
        reason,
        minimum_h,
        wanted_h,
        round(passed, 1),
        _told(needed),
        _told(wanted),
        _told(since),
        (float(copper_residue(since[1])), float(copper_residue(since[0]))) if copper else None,
    )


def _verdict(copper: bool, needed_mm: float, wanted_mm: float, since_mm: float) -> str:
    """The answer for known amounts of rain."""
    if needed_mm >= MEASURABLE_MM or (copper and since_mm >= COPPER_REDO_MM):
        return "redo"
    if wanted_mm > DRIZZLE_MM or (copper and since_mm >= COPPER_HALF_MM):
        return "inspect"
    return "keep"


def _open_reason(least: str, passed_h: float, wanted_h: float, rain_mm: float) -> Reason:
    known = Reason("no rain known so far")
    so_far = Reason("at least {} so far", (_mm(rain_mm),)) if rain_mm else known
    floor = f"; {least} at least" if least != "keep" else ""
    if passed_h < wanted_h:
        hours = f"{passed_h:.0f}", f"{wanted_h:g}"
        sentence = "too early to say: {} of {} h have passed, {}{}"
        return Reason(sentence, (*hours, so_far, floor))
    return Reason("the rain of some hours is not known; {}{}", (so_far, floor))


def _mm(rain_mm: float) -> Amount:
    return Amount(rain_mm, "mm", decimals=1)


def _told(rain: tuple[float, float]) -> tuple[float, float | None]:
    return round(rain[0], 2), None if rain[1] == float("inf") else round(rain[1], 2)


UNKNOWN_DRY_H = 72
"""Hours without rain wanted after a material that the site file does not know; P [h]."""


def material_sprayed(entry: Application, site: Site) -> Material:
    """The material of an entry: the site's, else a general one of that name."""
    name = entry.material
    return site.materials.get(name) or general_material(name).with_dry_spell(UNKNOWN_DRY_H)


def in_doubt(
    rows: Sequence[Kept], site: Site, weather: pd.DataFrame, now: datetime
) -> tuple[Doubt, ...]:
    """The rounds of the season that rain may have washed off, and of which nobody said more.

    Parameters
    ----------
    rows : sequence of Kept
        Entries of the site that hold.
    site : Site
    weather : pandas.DataFrame
        Hourly table; its forecast counts as well. A round of whose hours it tells nothing is
        not in doubt by it.
    now : datetime
        tz-aware.
    """
    first = season_start(pd.Timestamp(now).tz_convert(site.place.timezone).date(), site)
    past = came(weather, now)
    found = []
    for row in rows:
        entry = row.entry
        if entry.failed_share is not None or entry.day < first or entry.finished > now:
            continue
        rainfast = _rainfast(entry, material_sprayed(entry, site))
        within = entry.finished, entry.finished + timedelta(hours=rainfast.hours)
        fell, (least, most) = rain_between(past, *within), rain_between(weather, *within)
        if fell[0] >= MEASURABLE_MM:
            reason = _washed_off(fell[0], rainfast)
        elif least >= MEASURABLE_MM:
            told = _mm(least), *_minimum(rainfast)
            reason = Reason("{} is forecast within the {} minimum of {} h", told)
        elif MEASURABLE_MM <= most < np.inf:
            may = "may have fallen" if within[1] <= now else "may fall"
            told = _mm(most), *_minimum(rainfast)
            reason = Reason(f"up to {{}} {may} within the {{}} minimum of {{}} h", told)
        else:
            continue
        found.append(Doubt(entry.site, row.id, entry.material, entry.day, reason))
    return tuple(found)


def _rainfast(entry: Application, material: Material) -> Rainfast:
    """The rain-free hours that a round needs: of the label in the record, else the material's."""
    if entry.rain_free_h is None:
        return material.rainfast
    return Rainfast(entry.rain_free_h, "the record", of_label=True)


def _minimum(rainfast: Rainfast) -> tuple[str, str]:
    return "label's" if rainfast.of_label else "usual", f"{rainfast.hours:g}"


def _washed_off(rain_mm: float, rainfast: Rainfast) -> Reason:
    return Reason("{} fell within the {} minimum of {} h", (_mm(rain_mm), *_minimum(rainfast)))
