"""After a round: keep it, inspect it, or redo it, from the rain that came.

The rule of practice: rain within the label's minimum, redo; within the wanted hours, inspect;
later, keep. Copper washes off by the amount of rain, whenever it falls.

References
----------
.. [1] Ontario agriculture ministry (2020), Rainfastness of fungicides: about half lost per
   25 mm, most above 50 mm, rain within 2 h means lost.
.. [2] Kansas State extension: below 25 mm negligible, 25-50 mm half, above 50 mm spray again.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import pandas as pd

from spraywindow.orchard.came import came, hours_passed, rain_between
from spraywindow.orchard.record_fields import Entry
from spraywindow.spray.material import Material, Rainfast
from spraywindow.weather.rain import MEASURABLE_MM

DRIZZLE_MM = 2.0
"""Rain that the wanted hours may bring in all, as before the round; P [mm]."""
COPPER_HALF_MM = 25.0
COPPER_REDO_MM = 50.0


@dataclass(frozen=True)
class Advice:
    """What to do about a round: `keep`, `inspect`, `redo` or `unknown`, and why.

    Rain is (least, most) [mm], an unknown most is None; `residue_share` is (least, most) of
    the copper left, None for other materials.
    """

    verdict: str
    reason: str
    minimum_h: float
    wanted_h: float
    hours_passed: float
    rain_minimum_mm: tuple[float, float | None]
    rain_wanted_mm: tuple[float, float | None]
    rain_since_mm: tuple[float, float | None]
    residue_share: tuple[float, float] | None


def residue_share(rain_mm: float) -> float:
    """Give the share of copper left after rain [mm]: half goes with each 25 mm [1].

    Examples
    --------
    >>> residue_share(25.0)
    0.5
    """
    return float(0.5 ** (rain_mm / COPPER_HALF_MM))


def after_rain(entry: Entry, weather: pd.DataFrame, *, now: datetime, material: Material) -> Advice:
    """Say whether a round may be kept.

    Parameters
    ----------
    entry : Entry
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
    rainfast, copper = material.rainfast, material.copper
    if entry.rain_free_h is not None:
        rainfast = Rainfast(entry.rain_free_h, "the record", of_label=True)
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
        whose = "label's" if rainfast.of_label else "usual"
        reason = f"{needed[0]:.1f} mm fell within the {whose} minimum of {minimum_h:g} h"
    elif copper and since[0] >= COPPER_HALF_MM:
        reason = f"{since[0]:.0f} mm since the round: about {residue_share(since[0]):.0%} left"
    elif verdict == "inspect":
        reason = f"{wanted[0]:.1f} mm fell within the {wanted_h:g} h wanted"
    else:
        reason = f"dry enough for the {wanted_h:g} h wanted"
    return Advice(
        verdict,
        reason,
        minimum_h,
        wanted_h,
        round(passed, 1),
        _told(needed),
        _told(wanted),
        _told(since),
        (residue_share(since[1]), residue_share(since[0])) if copper else None,
    )


def _verdict(copper: bool, needed_mm: float, wanted_mm: float, since_mm: float) -> str:
    """The answer for known amounts of rain."""
    if needed_mm >= MEASURABLE_MM or (copper and since_mm >= COPPER_REDO_MM):
        return "redo"
    if wanted_mm > DRIZZLE_MM or (copper and since_mm >= COPPER_HALF_MM):
        return "inspect"
    return "keep"


def _open_reason(least: str, passed_h: float, wanted_h: float, rain_mm: float) -> str:
    so_far = f"at least {rain_mm:.1f} mm so far" if rain_mm else "no rain known so far"
    floor = f"; {least} at least" if least != "keep" else ""
    if passed_h < wanted_h:
        return f"too early to say: {passed_h:.0f} of {wanted_h:g} h have passed, {so_far}{floor}"
    return f"the rain of some hours is not known; {so_far}{floor}"


def _told(rain: tuple[float, float]) -> tuple[float, float | None]:
    return round(rain[0], 2), None if rain[1] == float("inf") else round(rain[1], 2)
