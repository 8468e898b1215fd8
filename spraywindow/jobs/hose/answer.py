"""What ``spraywindow hose`` answers for a site: the mornings for washing each block.

A hard jet of water washes dust and pests off, and must dry before evening. Drying rule
(stated, P): what the jet leaves, a film on the wood (0.3 mm) and on the leaves
(0.2 mm per unit of leaf area index [1]_), is gone by evening when the reference evapotranspiration
from the end of washing to the evening is at least as much. A wet canopy loses water faster than
dry grass, so the rule errs on the late side.

References
----------
.. [1] Dickinson, R. E. (1984), Modeling evapotranspiration for three-dimensional global climate
   models, Geophysical Monograph 29: 0.2 mm of water per leaf layer. From memory.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import ClassVar, Literal

import numpy as np
import pandas as pd

from spraywindow.days import at_clock, clock_words, days_from, days_of, row_at
from spraywindow.errors import InputError, describe, one_line
from spraywindow.handbook import number_problem, refuse
from spraywindow.jobs.feed import leaf_stage
from spraywindow.place import Place
from spraywindow.reasons import Reason
from spraywindow.site import Block, Site
from spraywindow.spray import (
    RAIN_UNKNOWN,
    TOO_EARLY,
    Access,
    Finding,
    Verdict,
    hardest,
    not_above,
    working_day,
)
from spraywindow.weather import (
    MEASURABLE_MM,
    WeatherSource,
    known_at,
    rain_between,
    water_demand,
    weather_source,
)

CAUTIONS = (
    "In the morning only, never in flower; from all sides, from below too.",
    "A jet also takes spray deposits off: mind what was sprayed.",
)
DRY_MONTHS_NORTH = (5, 6, 7, 8, 9)
"""Rainless months of a mild-winter climate north of the equator, half a year on south of it; P."""
LAST_RAIN_UNKNOWN = Reason("the last washing rain is not known: say when it was")
FLOWER, SMALL_FRUIT = range(60, 70), range(71, 76)


@dataclass(frozen=True)
class HosingRules:
    """How washing is spaced and judged; all common practice (P), the user's to change.

    Parameters
    ----------
    dust_days : int
        Days since the last washing or washing rain before the next.
    washing_rain_mm : float
        Rain of a day that washes the leaves itself [mm].
    wood_film_mm, leaf_film_mm : float
        Water that stays on wood and on one layer of leaves [mm].
    leaf_area_index : float
        Layers of leaves, 0 to 10.
    start_hour, done_hour, evening_hour : int
        Local clock: washing starts, ends, and all should be dry.
    dry_months : tuple of int, optional
        Months in which to wash; by default May to September, November to March in the south.
    access : Access
        The site's working days, and the hours of them with access.
    """

    dust_days: int = 14
    washing_rain_mm: float = 5.0
    wood_film_mm: float = 0.3
    leaf_film_mm: float = 0.2
    leaf_area_index: float = 4.0
    start_hour: int = 6
    done_hour: int = 10
    evening_hour: int = 18
    dry_months: tuple[int, ...] | None = None
    access: Access = field(default_factory=Access)

    def __post_init__(self) -> None:
        """Check the values."""
        problems = [
            number_problem("dust_days", self.dust_days, "d", low=1, low_allowed=True),
            number_problem("washing_rain_mm", self.washing_rain_mm, "mm"),
            number_problem("wood_film_mm", self.wood_film_mm, "mm", low_allowed=True),
            number_problem("leaf_film_mm", self.leaf_film_mm, "mm", low_allowed=True),
            number_problem("leaf_area_index", self.leaf_area_index, "", high=10, low_allowed=True),
        ]
        if not 0 <= self.start_hour < self.done_hour < self.evening_hour <= 23:
            problems.append(describe("hours out of order", expected="start < done < evening",
                                     got=(self.start_hour, self.done_hour, self.evening_hour))
                            )  # fmt: skip
        if any(month not in range(1, 13) for month in self.dry_months or ()):
            problems.append(describe("not a month", expected="1 to 12", got=self.dry_months))
        refuse(problems, where="hosing")

    @property
    def hours(self) -> tuple[float, float] | None:
        """Local clock hours in which the morning's washing can be done; None without access."""
        return self.access.within(self.start_hour, self.done_hour)

    @property
    def film_mm(self) -> float:
        """All the water that has to dry [mm]."""
        return self.wood_film_mm + self.leaf_film_mm * self.leaf_area_index


@dataclass(frozen=True)
class HosingDay:
    """A local morning: verdict and reason, the jet, and what can evaporate by evening [mm]."""

    json_keys: ClassVar = (
        "date=day", "verdict", "jet", "drying_low_mm:2", "drying_high_mm:2", "reason!",
    )  # fmt: skip

    day: date
    verdict: Verdict
    reason: Reason | None
    jet: Literal["hard", "gentle"]
    drying_low_mm: float
    drying_high_mm: float


def hosing_days(
    weather: pd.DataFrame,
    place: Place,
    now: pd.Timestamp,
    *,
    stage_bbch: int | None,
    last_wash: date | None = None,
    last_rain: date | None = None,
    rules: HosingRules | None = None,
) -> tuple[HosingDay, ...]:
    """Judge each local morning from `now` to the end of the weather table.

    Parameters
    ----------
    weather : pandas.DataFrame
        Checked hourly table.
    place : Place
        Where the site lies.
    now : pandas.Timestamp
        tz-aware; a morning that is past is left out.
    stage_bbch : int or None
        Stage of the trees, 0-99; None is unknown, and then no morning is go.
    last_wash, last_rain : datetime.date, optional
        Last washing, and last rain that washed the leaves: none since is taken for granted.
    rules : HosingRules, optional
        Spacing and drying.

    Raises
    ------
    InputError
        If a date lies in the future or the stage is not a BBCH code.
    """  # fmt: skip
    rules = rules or HosingRules()
    today = now.tz_convert(place.timezone).date()
    _refuse_dates_and_stage(today, stage_bbch, last_wash, last_rain)
    demand = water_demand(weather, place)
    told = tuple(day for day in (last_wash, last_rain) if day is not None)
    events = _washing_days(weather, place, rules, told, today if last_rain else None)
    jet: Literal["hard", "gentle"] = "gentle" if stage_bbch in SMALL_FRUIT else "hard"
    found = []
    start_h, done_h = rules.hours or (rules.start_hour, rules.done_hour)
    for local_day in days_from(weather, place.timezone, now):
        if now >= at_clock(local_day, done_h, place.timezone):
            continue
        begin, done, evening = (
            row_at(weather, at_clock(local_day, hour, place.timezone))
            for hour in (start_h, done_h, rules.evening_hour)
        )
        low, high = _drying(demand, done, evening)
        finding = hardest((
            working_day(local_day.date(), rules.access),
            _access(rules),
            _stage(stage_bbch),
            _month(local_day.month, place, rules),
            *_rain(weather, begin, evening, rules),
            _dust(local_day.date(), *events, rules),
            not_above(-high, -low, -rules.film_mm, over=Reason("it would not dry before evening"),
                      unknown=Reason("whether it dries before evening is not known")),
        ))  # fmt: skip
        found.append(HosingDay(local_day.date(), finding.verdict, finding.reason, jet, low, high))
    return tuple(found)


def _refuse_dates_and_stage(today: date, stage_bbch: int | None, last_wash: date | None,
                            last_rain: date | None) -> None:  # fmt: skip
    problems = [
        describe("a date in the future", where=name, expected=f"at most {today}", got=str(day))
        for name, day in (("last wash", last_wash), ("last rain", last_rain))
        if day is not None and day > today
    ]
    if stage_bbch is not None and stage_bbch not in range(100):
        problems.append(describe("not a BBCH code", where="stage", expected="0 to 99",
                                 got=stage_bbch))  # fmt: skip
    if problems:
        raise InputError(one_line(problems))


def _access(rules: HosingRules) -> Finding:
    if rules.hours:
        return Finding("go")
    morning = f"{clock_words(rules.start_hour)}-{clock_words(rules.done_hour)}"
    return Finding("no-go", Reason("no access in the morning, {}", (morning,)))


def _stage(stage_bbch: int | None) -> Finding:
    if stage_bbch is None:
        return Finding("unknown", Reason("the stage of the trees is not known: never in flower"))
    if stage_bbch in FLOWER:
        return Finding("no-go", Reason("the trees are in flower"))
    if stage_bbch < 10 or stage_bbch in range(50, 60) or stage_bbch >= 97:
        return Finding("no-go", Reason("there are no leaves to wash"))
    return Finding("go")


def _month(month: int, place: Place, rules: HosingRules) -> Finding:
    shift = 0 if place.latitude >= 0 else 6
    months = rules.dry_months or tuple((m + shift - 1) % 12 + 1 for m in DRY_MONTHS_NORTH)
    return Finding("go") if month in months else Finding("no-go", Reason("not a rainless month"))


def _rain(weather: pd.DataFrame, begin: int, evening: int, rules: HosingRules) -> list[Finding]:
    findings = []
    for stop, most, over in (
        (evening, MEASURABLE_MM, Reason("rain is due")),
        (begin + 48, rules.washing_rain_mm, Reason("rain is due that washes them")),
    ):
        low, high = rain_between(weather, np.array([begin]), np.array([stop]))
        unknown = TOO_EARLY if stop > len(weather) else RAIN_UNKNOWN
        findings.append(not_above(float(low[0]), float(high[0]), most, over=over, unknown=unknown))
    return findings


def _drying(demand: pd.DataFrame, done: int, evening: int) -> tuple[float, float]:
    if done < 0 or evening > len(demand):
        return 0.0, np.inf
    hours = demand.iloc[done:evening]
    return float(hours["low_mm"].sum()), float(hours["high_mm"].sum())


def _washing_days(
    weather: pd.DataFrame,
    place: Place,
    rules: HosingRules,
    told: tuple[date, ...],
    settled_until: date | None,
) -> tuple[tuple[date, ...], tuple[date, ...]]:
    """Days that did wash the leaves, and days that may have."""
    days, edges = days_of(weather, place.timezone)
    low, high = rain_between(weather, edges[:-1], edges[1:])
    did = told + tuple(day.date() for day in days[low >= rules.washing_rain_mm])
    possible = [day.date() for day in days[high >= rules.washing_rain_mm]]
    possible.append(days[0].date() - timedelta(days=1))  # and all the time before the table
    settled = settled_until or date.min
    return did, did + tuple(day for day in possible if day > settled)


def _dust(day: date, did: tuple[date, ...], may: tuple[date, ...], rules: HosingRules) -> Finding:
    last_did = max((d for d in did if d <= day), default=None)
    last_may = max((d for d in may if d <= day), default=None)
    if last_did is not None and (day - last_did).days < rules.dust_days:
        due = last_did + timedelta(days=rules.dust_days)
        return Finding(
            "no-go", Reason("washed on {}, by jet or rain: next from {}", (last_did, due))
        )
    if last_may is not None and (day - last_may).days < rules.dust_days:
        return Finding("unknown", LAST_RAIN_UNKNOWN)
    return Finding("go")


BACK_D, AHEAD_D = 60, 11
"""Days of weather that washing looks at, before and after now: dust, and the forecast."""


@dataclass(frozen=True)
class BlockHose:
    """Mornings of one block, and the stage that they rest on (None: not known)."""

    json_keys: ClassVar = (
        "name=block.name", "verdict", "reason!", "stage=stage_bbch", "first=first.day", "days",
    )  # fmt: skip

    block: Block
    stage_bbch: int | None
    days: tuple[HosingDay, ...]

    @property
    def verdict(self) -> Verdict:
        """Whether there is a morning: go, no-go, or not known."""
        verdicts = {day.verdict for day in self.days}
        return "go" if "go" in verdicts else "unknown" if "unknown" in verdicts else "no-go"

    @property
    def first(self) -> HosingDay | None:
        """The first good morning."""
        return next((day for day in self.days if day.verdict == "go"), None)


@dataclass(frozen=True)
class HoseAnswer:
    """The whole answer."""

    json_keys: ClassVar = (
        "site=site.name", "now", "verdict", "source", "every_days=rules.dust_days",
        "washing_rain_mm=rules.washing_rain_mm", "film_mm=rules.film_mm",
        "start_hour", "done_hour",
        "evening_hour=rules.evening_hour", "blocks", "cautions!",
    )  # fmt: skip

    site: Site
    now: pd.Timestamp
    rules: HosingRules
    blocks: tuple[BlockHose, ...]
    source: WeatherSource
    notes: tuple[str, ...]

    @property
    def start_hour(self) -> float:
        """Local clock hour at which washing can start."""
        return self.rules.hours[0] if self.rules.hours else self.rules.start_hour

    @property
    def done_hour(self) -> float:
        """Local clock hour at which it is done."""
        return self.rules.hours[1] if self.rules.hours else self.rules.done_hour

    @property
    def verdict(self) -> Verdict:
        """Go if any block may be washed on any of the coming mornings."""
        verdicts = {block.verdict for block in self.blocks}
        return "go" if "go" in verdicts else "unknown" if "unknown" in verdicts else "no-go"


def hose_site(site: Site, weather: pd.DataFrame, now: pd.Timestamp) -> HoseAnswer:
    """Answer for one site and day.

    Parameters
    ----------
    site : Site
        Its `[hosing]` may say when the leaves were last washed, and how often they are.
    weather : DataFrame
        Hourly table that holds `now`; `BACK_D` days before and `AHEAD_D` after it are used.
    now : Timestamp
        tz-aware.

    Raises
    ------
    InputError
        If a washing or rain is dated in the future.
    WeatherError
        If the weather does not hold `now`.
    """
    known_at(weather, now)  # refuses a table that does not hold now
    fields = site.hosing
    table = weather.loc[now - pd.Timedelta(days=BACK_D) : now + pd.Timedelta(days=AHEAD_D)]
    today = now.tz_convert(site.place.timezone).date()
    rules = HosingRules(
        dust_days=int(-(-fields.every // 24)), dry_months=fields.months, access=site.access
    )
    blocks = []
    for block in site.blocks:
        stage = leaf_stage(block, site, today)
        days = hosing_days(
            table, site.place, now,
            stage_bbch=stage, last_wash=fields.last_wash, last_rain=fields.last_rain, rules=rules,
        )  # fmt: skip
        blocks.append(BlockHose(block, stage, days))
    return HoseAnswer(
        site=site,
        now=now.tz_convert(site.place.timezone),
        rules=rules,
        blocks=tuple(blocks),
        source=weather_source(weather, now.tz_convert(site.place.timezone)),
        notes=(*weather.attrs.get("notes", []), *site.seen),
    )
