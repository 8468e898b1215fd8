"""The dormant season of one block: from leaf fall to the first open flower, as known on a day.

What somebody saw comes first; then the usual date of leaf fall (senescence models were less
accurate than the mean date, Meier 2025, Geosci. Model Dev. 18: 6963) and the chill-and-heat
forecast of the buds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from spraywindow.errors import InputError, describe, one_line
from spraywindow.season.bloom import STAGE_SHARES, Anchor, date_quantiles, forecast_stage_days
from spraywindow.season.requirement import Requirement
from spraywindow.season.stages import Stage, order_problems, season_position
from spraywindow.season.winters import DAYS, WinterSums

Floats = NDArray[np.float64]

LEAF_FALL_SPREAD_DAYS = 10
"""How far leaf fall strays from its usual date, to either side (P: common practice, no source)."""
STAGE_VALID_DAYS = 7
"""How long an observed stage answers for the buds once they may swell (P)."""
FEWEST_WINTERS = 10
"""Below this many past winters a share or a range is shown with a caution."""


@dataclass(frozen=True)
class DateRange:
    """A date with its range: 10, 50 and 90 % of the chances; None is "not within this season"."""

    early: date | None
    middle: date | None
    late: date | None
    observed: bool = False

    @classmethod
    def seen(cls, day: date) -> DateRange:
        """Make the range of a date that somebody observed."""
        return cls(day, day, day, observed=True)


@dataclass(frozen=True)
class DormantSeason:
    """One block's dormant season as it is known on one day.

    Parameters
    ----------
    label : str
        Such as "2023/24".
    leaf_fall : DateRange
        The start of the season.
    stages : mapping of int to DateRange
        BBCH code -> when it is reached; 60 (first open flower) ends the season.
    winters : int
        Past winters behind the forecast.
    unreached : int
        How many of them would not bring the trees to flower within their year.
    notes : tuple of str
        Cautions for people.
    """

    label: str
    leaf_fall: DateRange
    stages: Mapping[int, DateRange]
    winters: int
    unreached: int
    notes: tuple[str, ...]

    @property
    def first_flower(self) -> DateRange:
        """When the first flower opens."""
        return self.stages[60]

    @property
    def earliest_bud_swell(self) -> date | None:
        """From this day on the stage must have been looked at within a week (the 10 % date)."""
        return self.stages[51].early

    def last_day(self, bbch: int, *, chance: str = "middle") -> date | None:
        """Last day before a stage is reached; None if this season is not seen to reach it.

        Parameters
        ----------
        bbch : int
            The stage at which a material stops; one without a forecast of its own takes the
            next earlier one that has.
        chance : {"early", "middle", "late"}
            Which end of the range; "early" is the careful one.
        """
        earlier = [code for code in self.stages if code <= bbch]
        if not earlier or season_position(bbch) < 0:
            raise ValueError(f"no forecast of a stage up to {bbch}")
        day: date | None = getattr(self.stages[max(earlier)], chance)
        return None if day is None else day - timedelta(days=1)

    def has_ended(self, day: date) -> bool:
        """Tell whether flowers are open by then, by observation or by the middle forecast."""
        middle = self.first_flower.middle
        return middle is not None and day >= middle

    def needs_look(self, day: date, stages: Sequence[Stage] = ()) -> bool:
        """Tell whether hours of this day stay unknown until somebody looks at the buds."""
        if self.earliest_bud_swell is None or day < self.earliest_bud_swell:
            return False
        ages = [(day - stage.observed).days for stage in stages if stage.observed]
        return not any(0 <= age <= STAGE_VALID_DAYS for age in ages)


def dormant_season(
    sums: WinterSums,
    label: str,
    known_until: date,
    need: Requirement,
    *,
    usual_leaf_fall: tuple[int, int] | None = None,
    stages: Sequence[Stage] = (),
    shares: Mapping[int, float] = STAGE_SHARES,
) -> DormantSeason:
    """Put the season of one block together from what is known on one day.

    Parameters
    ----------
    sums : WinterSums
        The record with past winters and this one, and the forecast behind it.
    label : str
        This winter's name, such as "2023/24" ("2024" in the south).
    known_until : datetime.date
        First day that neither the record nor the forecast covers.
    need : Requirement
        Chill and heat of the block's cultivar group.
    usual_leaf_fall : (month, day), optional
        When all leaves are usually down; not needed once leaf fall is observed.
    stages : sequence of Stage
        What was seen this season, dated.
    shares : mapping, optional
        See `STAGE_SHARES`; bud swell (51) and first flower (60) must be among them.

    Raises
    ------
    InputError
        If neither a leaf fall nor its usual date is given, or observations contradict each
        other or the season; all at once.
    WeatherError
        If the record holds no hour of that winter.
    """
    winter = sums.column(label)
    start = sums.starts[winter]
    problems = order_problems(stages, start, start + timedelta(days=DAYS))
    seen = sorted(
        (stage for stage in stages if stage.observed), key=lambda s: (s.position, str(s.observed))
    )
    leaf_fall = _leaf_fall(start, seen, usual_leaf_fall, problems)
    if leaf_fall is None or problems:
        raise InputError(one_line(problems))

    buds = [stage for stage in seen if stage.bbch in shares]
    anchor = next((stage for stage in buds if stage.bbch == buds[-1].bbch), None)
    days = _forecast(sums, winter, known_until, need, shares, anchor)
    bounds = _within_seen(date_quantiles(days), start, seen, list(shares))
    ranges = {}
    for place, code in enumerate(shares):
        dated = [stage.observed for stage in seen if stage.bbch == code and stage.observed]
        early, middle, late = (sums.date_of(day, winter) for day in bounds[:, place])
        ranges[code] = DateRange.seen(min(dated)) if dated else DateRange(early, middle, late)
    flower = days[:, list(shares).index(60)]
    count, unreached = int((~np.isnan(flower)).sum()), int(np.isinf(flower).sum())
    notes = _notes(count, unreached, need.name)
    if anchor is not None:
        notes.append(f"counted on from {anchor} on {anchor.observed}")
    out = [sums.labels[other] for other in np.flatnonzero(~sums.usable) if other != winter]
    if out:
        notes.append("left out for missing temperatures: " + ", ".join(out))
    return DormantSeason(label, leaf_fall, ranges, count, unreached, tuple(notes))


def _forecast(
    sums: WinterSums,
    winter: int,
    known_until: date,
    need: Requirement,
    shares: Mapping[int, float],
    seen: Stage | None,
) -> Floats:
    """Day numbers (winters, stages), counted on from the latest stage that was seen."""
    known, anchor = sums.day_number(known_until, winter), None
    if seen is not None and seen.observed:
        anchor = Anchor(sums.day_number(seen.observed, winter), shares[seen.bbch])
        known = max(known, anchor.day_number)
    days = forecast_stage_days(sums, winter, [known], need, shares=shares, anchor=anchor)
    return np.asarray(days[0])


def _within_seen(
    bounds: Floats, start: date, seen: Sequence[Stage], codes: Sequence[int]
) -> Floats:
    """Keep later stages after the days on which somebody looked, earlier ones before."""
    for stage in seen:
        if stage.observed and stage.position >= 0:
            day = float((stage.observed - start).days)
            later = np.array([code > stage.bbch for code in codes])
            bounds = np.where(later, np.maximum(bounds, day + 1), np.minimum(bounds, day))
    return bounds


def _leaf_fall(
    start: date, seen: Sequence[Stage], usual: tuple[int, int] | None, problems: list[str]
) -> DateRange | None:
    fallen = [stage.observed for stage in seen if stage.bbch == 97 and stage.observed]
    if fallen:
        return DateRange.seen(min(fallen))
    if usual is None:
        problems.append(
            describe(
                "no leaf fall",
                expected='an observed "all leaves fallen" with its date, or the usual date',
                cure="give the usual month and day of leaf fall",
            )
        )
        return None
    try:
        middle = date(start.year + (usual[0] < start.month), *usual)
    except ValueError:
        problems.append(
            describe("no such date", where="usual leaf fall", expected="month and day", got=usual)
        )
        return None
    spread = timedelta(days=LEAF_FALL_SPREAD_DAYS)
    return DateRange(middle - spread, middle, middle + spread)


def _notes(count: int, unreached: int, group: str) -> list[str]:
    notes = []
    if count < FEWEST_WINTERS:
        notes.append(f"only {count} past winters: the range of dates is a rough guess")
    if unreached:
        notes.append(
            f"{unreached} of {count} past winters would not meet the needs of {group}: "
            "is that the right cultivar group?"
        )
    return notes
