"""Hold the advice that was given against the weather that came."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, ClassVar

import numpy as np
import pandas as pd

from spraywindow.errors import InputError
from spraywindow.jobs.log.reliability import Reliability, reliability_text
from spraywindow.jobs.slots import hourless, limits_of, read_receipt, said_jobs, setting_of
from spraywindow.record import Outcome, came, extremes_between, rain_between, receipt_hash
from spraywindow.show import (
    System,
    can_show,
    paragraph,
    shown,
    shown_parts,
    table_text,
)
from spraywindow.site import Site
from spraywindow.spray import STAGE, general_material, score_hours
from spraywindow.weather import AHEAD_H, COLUMNS, DIRECTED_MS, HISTORY_H, MEASURABLE_MM
from spraywindow.winters import Share

WINDOWS_H = (24, 48, 72)
GREEN = "green and frost"
"""The limit that counts on green tissue only."""
NEVER_COMES = "rain_chance"
"""A chance is of the forecast alone."""
_HOUR = pd.Timedelta(hours=1)


@dataclass(frozen=True)
class Judgement:
    """Advice beside what came; None is unknown.

    Attributes
    ----------
    site, material, now, start, end, verdict : str
        As on the receipt.
    held : bool or None
        For a "go": whether every hour advised was within every hard limit of the receipt, by the
        weather that came. None for other answers, and where it cannot be told.
    broken_by : str or None
        The limit that stopped the worst hour, where it did not hold.
    hours : dict
        Number of hours advised by verdict: ``go``, ``no-go``, ``unknown``.
    not_judged : list of str
        Hard limits that the weather that came does not tell: it lacks their column, or the
        receipt does not say what they look at.
    rain_mm : dict
        (least, most) in the hours after the end, by window [h].
    spoiled : dict
        Whether measurable rain fell in the window.
    temp_min_c, temp_max_c : dict
        Extremes from the start on.
    errors : dict
        What came less the forecast over the hours of the receipt, by column: ``n``, ``mean``,
        ``spread`` (standard deviation), in the column's unit.
    """

    site: str
    material: str
    now: str
    start: str
    end: str
    verdict: str
    held: bool | None
    broken_by: str | None
    hours: dict[str, int]
    not_judged: list[str]
    rain_mm: dict[str, tuple[float, float | None]]
    spoiled: dict[str, bool | None]
    temp_min_c: dict[str, float | None]
    temp_max_c: dict[str, float | None]
    errors: dict[str, dict[str, float]]


@dataclass(frozen=True)
class JudgedReceipt:
    """A receipt by its name; `about` says what it is where it cannot be judged here.

    That is one which advised no hours, or is of another site. `outcomes` is what came of the
    chances that it gives, go or not, as far as that is told.
    """

    json_keys: ClassVar = ("of", "judged", "judgement:all*", "about*")

    of: str
    judgement: Judgement | None
    about: dict[str, Any] = field(default_factory=dict)
    outcomes: tuple[Outcome, ...] = ()

    @property
    def judged(self) -> bool:
        """Whether it could be judged."""
        return self.judgement is not None


@dataclass(frozen=True)
class GoHeld:
    """How many go answers were judged, how many held, and the share with its interval."""

    json_keys: ClassVar = (
        "judged", "held", "share=share.share:3", "low=share.low:3", "high=share.high:3",
    )  # fmt: skip

    judged: int
    held: int
    share: Share


@dataclass(frozen=True)
class JudgedReceipts:
    """Receipts of a site beside what came; `kept` are outcomes that the record holds already."""

    json_keys: ClassVar = ("site=site.name", "now", "receipts", "go", "errors", "reliability")

    site: Site
    now: datetime
    receipts: tuple[JudgedReceipt, ...]
    kept: tuple[Outcome, ...] = ()

    @property
    def reliability(self) -> Reliability:
        """Whether the chances said at the site came true: of those kept, and of these receipts."""
        told = [*self.kept, *(each for receipt in self.receipts for each in receipt.outcomes)]
        return Reliability.of(list({each.key: each for each in told}.values()))

    @property
    def judgements(self) -> tuple[Judgement, ...]:
        """Of the receipts that could be judged."""
        return tuple(each.judgement for each in self.receipts if each.judgement is not None)

    @property
    def go(self) -> GoHeld:
        """How often a go held."""
        held = [each.held for each in self.judgements if each.held is not None]
        return GoHeld(len(held), sum(held), Share.of(np.array(held, dtype=bool)))

    @property
    def errors(self) -> dict[str, dict[str, float]]:
        """What came less the forecast, over the hours of all receipts."""
        out: dict[str, dict[str, float]] = {}
        for column in sorted({column for each in self.judgements for column in each.errors}):
            parts = [each.errors[column] for each in self.judgements if column in each.errors]
            hours = sum(part["n"] for part in parts)
            mean = sum(part["n"] * part["mean"] for part in parts) / hours
            square = sum(part["n"] * (part["spread"] ** 2 + part["mean"] ** 2) for part in parts)
            spread = math.sqrt(max(0.0, square / hours - mean**2))
            out[column] = {"n": hours, "mean": round(mean, 3), "spread": round(spread, 3)}
        return out


def judge_all(
    texts: Sequence[tuple[str, str]],
    site: Site,
    weather: pd.DataFrame,
    *,
    now: datetime,
    kept: Sequence[Outcome] = (),
    anew: bool = False,
) -> JudgedReceipts:
    """Judge receipts, given as (name, JSON text).

    Chances whose outcomes are `kept` are judged again only if `anew`.

    Raises
    ------
    InputError
        If a receipt cannot be read; the message names it.
    """
    out = []
    done = frozenset() if anew else frozenset(each.key for each in kept)
    for name, text in texts:
        try:
            values = hourless(text)
            advised = values is None
            if values is None:
                values = read_receipt(text)
            own = values["site"] == site.name
            found = outcomes_of(text, site, weather, now=now, done=done) if own else ()
            if own and advised:
                judgement = judge(values, site, weather, now=now)
                out.append(JudgedReceipt(name, judgement, outcomes=found))
                continue
        except InputError as error:
            raise InputError(f"receipt of {name}: {error}") from error
        about = {key: values.get(key) for key in ("site", "material", "now", "verdict", "date")}
        out.append(JudgedReceipt(name, None, about, found))
    return JudgedReceipts(site, now, tuple(out), tuple(kept))


def outcomes_of(
    text: str,
    site: Site,
    weather: pd.DataFrame,
    *,
    now: datetime,
    done: frozenset[tuple[str, datetime]] = frozenset(),
) -> tuple[Outcome, ...]:
    """What came of the chances that a receipt of the site gives, go or not.

    Without those that the weather does not tell (yet), and those whose key is `done`.
    """
    past, receipt, out = came(weather, now), receipt_hash(text), []
    for job in said_jobs(text):
        issued, start, end = (datetime.fromisoformat(job[key]) for key in ("now", "start", "end"))
        if end > now or (receipt, start) in done:
            continue
        scored, _, dark = _scored(job, site, past)
        held = _all_held(scored, dark)
        if held is not None:
            out.append(Outcome(receipt, site.name, str(job["material"]), issued, start,
                               float(job["chance"]), float(job["general"]), held))  # fmt: skip
    return tuple(out)


def _all_held(scored: pd.DataFrame, dark: list[str]) -> bool | None:
    """Whether every hour was within every hard limit; None where it cannot be told."""
    verdicts = set(scored["verdict"])
    if "no-go" in verdicts:
        return False
    return None if dark or "unknown" in verdicts else True


def judge(
    receipt: str | Mapping[str, Any], site: Site, weather: pd.DataFrame, *, now: datetime
) -> Judgement:
    """Compare a receipt with the weather that came.

    Parameters
    ----------
    receipt : str or mapping
        JSON text or its values, with `spraywindow.jobs.slots.receipt.KEYS`; times in ISO 8601 with
        offset. ``hours``, a list of ``{"time": ..., column: value}``, lets the forecast's errors
        be measured too.
    site : Site
        The receipt's.
    weather : pandas.DataFrame
        Hourly table of what came; hours after `now` or forecast are not used.
    now : datetime
        tz-aware.

    Raises
    ------
    InputError
        If the receipt is not readable; all problems at once.
    """
    values = read_receipt(receipt)
    past = came(weather, now)
    start, end = (datetime.fromisoformat(values[key]) for key in ("start", "end"))
    rain_mm: dict[str, tuple[float, float | None]] = {}
    spoiled: dict[str, bool | None] = {}
    lows: dict[str, float | None] = {}
    highs: dict[str, float | None] = {}
    for hours in WINDOWS_H:
        until, key = end + timedelta(hours=hours), str(hours)
        least, most = rain_between(past, end, until)
        rain_mm[key] = round(least, 2), None if math.isinf(most) else round(most, 2)
        spoiled[key] = True if least >= MEASURABLE_MM else False if most < MEASURABLE_MM else None
        low, high = extremes_between(past, start, until)
        lows[key], highs[key] = (None if math.isnan(value) else value for value in (low, high))
    scored, not_judged, dark = _scored(values, site, past)
    counts = scored["verdict"].value_counts()
    held = _all_held(scored, dark) if values["verdict"] == "go" else None
    worst = scored[scored["verdict"] == "no-go"].sort_values("margin")
    return Judgement(
        **{key: values[key] for key in ("site", "material", "now", "start", "end", "verdict")},
        held=held,
        broken_by=str(worst["held_by"].iloc[0]) if held is False else None,
        hours={name: int(counts.get(name, 0)) for name in ("go", "no-go", "unknown")},
        not_judged=not_judged + dark,
        rain_mm=rain_mm,
        spoiled=spoiled,
        temp_min_c=lows,
        temp_max_c=highs,
        errors=_errors(values.get("hours") or [], past),
    )


def _scored(
    values: Mapping[str, Any], site: Site, past: pd.DataFrame
) -> tuple[pd.DataFrame, list[str], list[str]]:
    """Verdict, margin and limit of every hour advised; hard limits not judged, and not known."""
    start, end = (pd.Timestamp(values[key]).tz_convert("UTC") for key in ("start", "end"))
    advised = pd.date_range(start.floor("h"), end.ceil("h") - _HOUR, freq="h")
    blank = pd.DataFrame({"verdict": "unknown", "margin": float("nan"), "held_by": ""}, advised)
    limits, dark = limits_of(values, site)
    first, last = start - HISTORY_H * _HOUR, end + AHEAD_H * _HOUR
    table = past[(past.index >= first) & (past.index <= last)]
    table = table.drop(columns=[NEVER_COMES], errors="ignore")
    if table.empty or not limits:
        return blank, [], dark
    margins = [hour.get("limits") for hour in values.get("hours") or []]
    judged = {name for each in margins if isinstance(each, dict) for name in each}
    base = general_material(str(values["material"]))
    green = base.green_stage if GREEN in judged else None
    material = replace(base, limits=tuple(limits), last_stage=base.green_stage)
    hours = score_hours(table, site.place, material, green, setting=setting_of(values, site))
    told = hours[["verdict", "margin", "held_by"]].astype({"verdict": str, "held_by": str})
    hard = {
        limit.name
        for limit in limits
        if limit.kind == "hard" and limit.quantity != "highest_rain_chance"
    }
    lacking = [
        name
        for name in hours.attrs["not_judged"]
        if name in hard and name != STAGE and (not judged or name in judged)
    ]
    return told.reindex(advised).fillna({"verdict": "unknown", "held_by": ""}), lacking, dark


def _errors(hours: list[dict[str, Any]], past: pd.DataFrame) -> dict[str, dict[str, float]]:
    if not hours:
        return {}
    told = pd.DataFrame(hours)
    told.index = pd.to_datetime(told["time"], utc=True)
    out = {}
    for column in COLUMNS:
        if column in told.columns and column in past.columns and column != NEVER_COMES:
            forecast = pd.to_numeric(told[column], errors="coerce")
            error = (past[column].reindex(told.index) - forecast).dropna()
            if column == "wind_from_deg":
                blew = past["wind_ms"].reindex(error.index) >= DIRECTED_MS
                blew &= pd.to_numeric(told["wind_ms"]).reindex(error.index) >= DIRECTED_MS
                error = (error[blew] + 180) % 360 - 180  # the short way round
            if len(error):
                out[column] = {
                    "n": len(error),
                    "mean": round(float(error.mean()), 3),
                    "spread": round(float(error.std(ddof=0)), 3),
                }
    return out


_HELD = {True: "yes", False: "no", None: "unknown"}


def judge_text(answer: JudgedReceipts) -> str:
    """How many go answers held; then the receipts beside the weather that came."""
    units = answer.site.units
    foot = [
        "Held: every hour advised was within the hard limits of its receipt.",
        "Rain: in the 24 / 48 / 72 h after the hours advised; + is that or more.",
    ]
    lacking = sorted({name for each in answer.judgements for name in each.not_judged})
    if lacking:
        foot.append(f"Not told by the weather that came: {', '.join(lacking)}.")
    foot += [
        f"Came less forecast, {COLUMNS[name].meaning}: mean "
        f"{_difference(each['mean'], name, units)}, spread "
        f"{_difference(each['spread'], name, units)}, {each['n']} hours."
        for name, each in answer.errors.items()
    ]
    rows = [_row(each, answer.site) for each in answer.receipts]
    parts = [paragraph(_first_line(answer))]
    if rows:
        table = table_text(["held", "advised", "material", "what came"], rows)
        parts += [table, "\n".join(map(paragraph, foot))]
    return "\n\n".join(filter(None, [*parts, reliability_text(answer.reliability)]))


def _first_line(answer: JudgedReceipts) -> str:
    name, go = answer.site.name, answer.go
    if not answer.receipts:
        return f"{name}: no entry carries a receipt; what was judged before:"
    if not go.judged:
        return f"{name}: no go answer can be judged yet."
    return (
        f"{name}: {go.held} of {go.judged} go answers held ({100 * go.share.share:.0f} %, "
        f"in the long run {100 * go.share.low:.0f}-{100 * go.share.high:.0f} %)."
    )


def _row(each: JudgedReceipt, site: Site) -> list[str]:
    named = f"(entry {each.of})" if each.of.isdecimal() else f"({Path(each.of).name})"
    found = each.judgement
    if found is None:
        about = each.about
        other = about["site"] != site.name
        what = f"of another site, {about['site']}" if other else (
            f"{about['verdict']}: no hours advised"
        )  # fmt: skip
        return ["-", str(about["date"] or "?"), str(about["material"]), f"{what} {named}"]
    start, end = map(dt.datetime.fromisoformat, (found.start, found.end))
    held = _HELD[found.held] if found.verdict == "go" else found.verdict
    low = found.temp_min_c["24"]
    parts = [_words(found.broken_by, found.material, site)] if found.broken_by else []
    parts.append(f"rain {_rains(found.rain_mm, site.units)}")
    if low is not None:
        parts.append(f"lowest {shown(low, 'degC', site.units)}")
    told = f"{', '.join(parts)} {named}"
    return [held, f"{start:%d %b} {start:%H:%M}-{end:%H:%M}", found.material, told]


def _words(name: str, material: str, site: Site) -> str:
    """Growers' words for the limit that stopped an hour, else its name."""
    known = site.materials.get(material) or general_material(material)
    return next((limit.words for limit in known.limits if limit.name == name), name)


def _difference(value: float, column: str, units: System) -> str:
    unit = "K" if COLUMNS[column].unit == "degC" else COLUMNS[column].unit
    return shown(value, unit, units) if can_show(unit) else f"{value:.3g} {unit}"


def _rains(rain_mm: Mapping[str, Sequence[float | None]], units: System) -> str:
    """Rain of the windows, the unit once: "0.0 / 3.1+ / 3.1+ mm"."""
    texts = []
    for least, most in rain_mm.values():
        low, unit = shown_parts(least or 0.0, "mm", units)
        if most is None:
            low += "+"
        elif not math.isclose(most, least or 0.0):
            low += f"-{shown_parts(most, 'mm', units)[0]}"
        texts.append(low)
    return f"{' / '.join(texts)}{unit}"
