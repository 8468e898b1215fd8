"""From scored hours to days and slots: runs of go hours long enough for the job, ranked.

Of every local day: whether it has a slot, and how good its best one is.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import Any, ClassVar

import numpy as np
import pandas as pd
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from spraywindow.spray.access import (
    DURATION_H,
    NO_ACCESS,
    Access,
    Mask,
    background_of,
    job_hours,
    local_days,
    open_hours,
)
from spraywindow.spray.chance import Jobs, Odds, wants_more
from spraywindow.spray.conditions import Conditions
from spraywindow.spray.hours import Background
from spraywindow.spray.kernel import GO, NO_GO, VERDICTS
from spraywindow.spray.learned import GENERAL, Learned
from spraywindow.spray.material import Material
from spraywindow.weather import Array


@dataclass(frozen=True)
class Day:
    """A local day: its verdict and, unless go, the limit nearest to letting it go.

    `margin` is that limit's margin in the best stretch, NaN where unknown, and `start` its
    beginning; `best_start` and the chances (as of a `Slot`) are those of the best go stretch, on a
    day without one of the likeliest; `general` is its chance before what the site's own answers
    teach.
    """

    date: dt.date
    verdict: str
    held_by: str
    margin: float
    start: pd.Timestamp | None = None
    best_start: pd.Timestamp | None = None
    chance: float | None = None
    chance_dry: float | None = None
    general: float | None = None


def day_margins(
    hours: pd.DataFrame, duration_h: float = DURATION_H, *, access: Access | None = None
) -> pd.Series:
    """The margin of each local day's best slot.

    Parameters
    ----------
    hours, duration_h, access
        As for `find_slots`.

    Returns
    -------
    Series
        Indexed by local day (naive midnight), one for each day in the data; NaN without a slot.
    """
    need = job_hours(duration_h)
    background = background_of(hours)
    index = pd.DatetimeIndex(hours.index)
    days = local_days(index, background)
    go = hours["go"].to_numpy(dtype=bool) & open_hours(hours, access)
    calendar = np.arange(days[0], days[-1] + 1)
    margin = np.where(go, hours["margin"].to_numpy(dtype=float), -np.inf)
    best = best_of_day(margin, days - days[0], len(calendar), need)[0]
    return pd.Series(best, index=pd.to_datetime(calendar, unit="D"), name="margin")


def best_of_day(
    margin: Array, day: NDArray[np.int64], days: int, need: int
) -> tuple[Array, NDArray[np.int64]]:
    """Best least margin of the jobs within each day, and the row of the earliest such job.

    Parameters
    ----------
    margin : array [hour, ...]
        -inf where the hour is not to be worked.
    day : int array [hour, ...]
        The local day of each hour; below 0 and from `days` on it is none of those asked for.
    days : int
    need : int
        Whole hours of the job.

    Returns
    -------
    tuple of array [day, ...]
        NaN and -1 without a job.
    """
    hours = margin.reshape(len(margin), -1)  # (hour, column), whatever the axes were
    own = day.reshape(hours.shape)
    best = np.full((days, hours.shape[1]), -np.inf)
    rows = np.full(best.shape, len(hours), dtype=np.int64)
    if len(hours) >= need:
        least = sliding_window_view(hours, need, axis=0).min(axis=-1)  # (first hour, column)
        first, last = own[: len(least)], own[need - 1 :]
        fits = (first == last) & (first >= 0) & (first < days) & np.isfinite(least)
        columns = np.broadcast_to(np.arange(hours.shape[1]), first.shape)
        np.maximum.at(best, (first[fits], columns[fits]), least[fits])
        fits[fits] = least[fits] == best[first[fits], columns[fits]]
        hour, column = np.nonzero(fits)
        np.minimum.at(rows, (first[hour, column], column), hour)
    none, shape = np.isinf(best), (days, *margin.shape[1:])
    return np.where(none, np.nan, best).reshape(shape), np.where(none, -1, rows).reshape(shape)


@dataclass(frozen=True, eq=False)
class Stretches:
    """Every stretch of job length in the working hours of one local day.

    Attributes
    ----------
    need : int
        Hours of each.
    first : int array [stretch]
        Row of its first hour.
    columns : tuple of int arrays [stretch]
        Where it stands on the axes after time; empty for one site.
    day : int array [stretch]
        Its local day.
    verdict : int array [stretch]
        Index into `RANKED`: a no-go hour makes it no-go, else an unknown one unknown.
    margin : array [stretch]
        Its least margin; NaN where unknown.
    chance, chance_dry : array [stretch]
        That it holds, and that the dry hours wanted follow too; NaN where nothing earns a
        figure.
    general : array [stretch]
        The chance that it holds before what the site's own answers teach.
    """

    need: int
    first: NDArray[np.int64]
    columns: tuple[NDArray[np.int64], ...]
    day: NDArray[np.int64]
    verdict: NDArray[np.int64]
    margin: Array
    chance: Array
    chance_dry: Array
    general: Array

    @classmethod
    def of(
        cls,
        verdict: NDArray[np.int8],
        margin: Array,
        may: Mask,
        day: NDArray[np.int64],
        need: int,
    ) -> Stretches:
        """Find them in scored hours, arrays [hour, ...]; the chances are those of a record.

        Of a record a go stretch holds and a no-go one does not.

        Parameters
        ----------
        verdict : int array
            As `kernel.Scores.verdict`.
        margin : array
        may : bool array
            Hours that may be worked.
        day : int array
            Local day of each hour.
        need : int
        """
        count = max(len(margin) - need + 1, 0)
        fits = may[:count] & (day[:count] == day[need - 1 :][:count])
        for hour in range(1, need):
            fits &= may[hour : hour + count]
        first, *columns = np.nonzero(fits)
        hours = (first + np.arange(need)[:, None], *columns)
        rank = _RANK[verdict][hours].max(axis=0, initial=0)
        values = margin[hours]
        least = np.fmin.reduce(values, axis=0) if need else values
        least = np.where(rank == 1, np.nan, least)
        held = np.array([1.0, np.nan, 0.0])[rank]
        return cls(
            need, first, tuple(columns), day[(first, *columns)], rank, least, held, held, held
        )

    def odds(
        self,
        conditions: Conditions,
        lead_h: Array,
        stage: int | None = None,
        *,
        first_row: int = 0,
    ) -> Odds:
        """How likely they are to hold by a forecast, for any material.

        Parameters
        ----------
        conditions : Conditions
            Whose row `first_row` is row 0 of the stretches.
        lead_h : array [hour]
            Hours from the issue to each hour; negative is record.
        stage : int, optional
        first_row : int
        """
        hours = self.first + np.arange(self.need)[:, None]
        lead = np.where(lead_h[hours[-1]] >= 0.0, np.maximum(lead_h[self.first], 0.0), -1.0)
        return Odds(conditions, Jobs(first_row + hours, self.columns, lead), stage)

    def weighed(self, odds: Odds, material: Material, learned: Learned = GENERAL) -> Stretches:
        """The same with a forecast's chances, where a stretch is not over when it was issued.

        Parameters
        ----------
        odds : Odds
            Of stretches at the same hours.
        material : Material
        learned : Learned, optional
            What the site's own answers teach; both chances follow it.
        """
        lead_h = odds.jobs.lead_h
        general = odds.chances(material)
        dry = odds.chances(material, dry=True) if wants_more(material) else general
        return replace(
            self,
            chance=np.where(lead_h < 0.0, self.chance, learned.chance(general, lead_h)),
            chance_dry=np.where(lead_h < 0.0, self.chance, learned.chance(dry, lead_h)),
            general=np.where(lead_h < 0.0, self.chance, general),
        )

    def within(self, may: Mask) -> Stretches:
        """Those of which every hour may be worked; `may` is [hour, ...]."""
        return self.kept(self.inside(may))

    def inside(self, may: Mask) -> Mask:
        """Whether every hour of each may be worked."""
        hours = (self.first + np.arange(self.need)[:, None], *self.columns)
        return np.asarray(may[hours].all(axis=0))

    def kept(self, kept: Mask) -> Stretches:
        """Those that a mask [stretch] keeps."""
        of_each = ("first", "day", "verdict", "margin", "chance", "chance_dry", "general")
        return replace(
            self,
            columns=tuple(column[kept] for column in self.columns),
            **{name: getattr(self, name)[kept] for name in of_each},
        )

    def best(self, of: NDArray[np.int64], *, by_verdict: bool = True) -> NDArray[np.int64]:
        """The best stretch for each value of `of` [stretch], in their order.

        By verdict unless `by_verdict` is false, then the likeliest, then the greatest margin,
        then the earliest.
        """
        verdict = self.verdict if by_verdict else np.zeros_like(self.verdict)
        order = np.lexsort((
            self.first, -np.nan_to_num(self.margin, nan=-np.inf),
            -np.round(np.nan_to_num(self.chance, nan=-1.0), 6), verdict, of,
        ))  # fmt: skip
        return order[np.unique(of[order], return_index=True)[1]]


RANKED = ("go", "unknown", "no-go")
_RANK = np.array([RANKED.index(name) for name in VERDICTS])


def stretches(
    hours: pd.DataFrame,
    duration_h: float = DURATION_H,
    *,
    access: Access | None = None,
    now: pd.Timestamp | None = None,
    learned: Learned = GENERAL,
) -> Stretches:
    """Find every stretch of job length, with its verdict, margin and chance.

    Parameters
    ----------
    hours, duration_h, access, now, learned
        As for `find_slots`.
    """
    return _Asked.of(hours, duration_h, access, now, learned).found


@dataclass(frozen=True, eq=False)
class _Asked:
    """Scored hours as slots and days ask of them, read once; arrays [hour].

    `ahead` are the hours from now on, `may` those of them that may be worked; `verdict` is as
    `kernel.Scores.verdict`.
    """

    background: Background
    local: pd.DatetimeIndex
    day: NDArray[np.int64]
    ahead: Mask
    may: Mask
    verdict: NDArray[np.int8]
    margin: Array
    held_by: NDArray[np.object_]
    go: Mask
    found: Stretches

    @classmethod
    def of(
        cls,
        hours: pd.DataFrame,
        duration_h: float,
        access: Access | None,
        now: pd.Timestamp | None,
        learned: Learned,
    ) -> _Asked:
        """Read them as for `find_slots`."""
        need = job_hours(duration_h)
        background = background_of(hours)
        index = pd.DatetimeIndex(hours.index)
        ahead = np.ones(len(index), dtype=bool) if now is None else np.asarray(index >= now)
        may = open_hours(hours, access) & ahead
        columns = pd.DataFrame(hours)  # bare: a column read copies attrs
        verdict = np.asarray(
            pd.Categorical(columns["verdict"], categories=list(VERDICTS)).codes, dtype=np.int8
        )
        margin = columns["margin"].to_numpy(dtype=float)
        day = local_days(index, background)
        found = Stretches.of(verdict, margin, may, day, need)
        return cls(
            background, index.tz_convert(background.place.timezone), day, ahead, may, verdict,
            margin, np.asarray(columns["held_by"], dtype=object),
            columns["go"].to_numpy(dtype=bool), _weighed(found, index, background, learned),
        )  # fmt: skip

    def days(self) -> list[Day]:
        """Of each local day from now on whether it has a slot, and if not, what is nearest."""
        found = self.found
        best, likeliest = (
            {int(found.day[n]): int(n) for n in found.best(found.day, by_verdict=each)}
            for each in (True, False)
        )
        answers = []
        for day in np.unique(self.day[self.ahead]):
            date = dt.date(1970, 1, 1) + dt.timedelta(days=int(day))
            number = best.get(int(day))
            if number is None:
                answers.append(Day(date, "no-go", NO_ACCESS, np.nan))
                continue
            first = int(found.first[number])
            stretch = slice(first, first + found.need)
            verdict, margin = self.verdict[stretch], self.margin[stretch]
            # an unknown hour holds before a go hour, and a no-go hour before both
            rank = np.where(verdict == NO_GO, margin - 1.0, np.where(verdict == GO, margin, -0.5))
            worst = first + int(np.argmin(rank))
            likely = number if found.verdict[number] == 0 else likeliest[int(day)]
            answers.append(
                Day(
                    date,
                    RANKED[found.verdict[number]],
                    str(self.held_by[worst]),
                    float(self.margin[worst]),
                    self.local[first],
                    self.local[found.first[likely]],
                    figure(found.chance[likely]),
                    figure(found.chance_dry[likely]),
                    figure(found.general[likely]),
                )
            )
        return answers

    def slots(self) -> list[Slot]:
        """As `find_slots`."""
        found = self.found
        run = _runs(self.go & self.may, self.day)
        of = np.where(found.verdict == 0, run[found.first], 0)
        dry_h = self.background.dry_h_after.reindex(self.local).to_numpy(dtype=float)
        slots = []
        for number in found.best(of):
            if not of[number]:
                continue
            first, last = (int(row) for row in np.flatnonzero(run == of[number])[[0, -1]])
            best = int(found.first[number])
            job = slice(best, best + found.need)
            slots.append(
                Slot(
                    start=self.local[first],
                    end=self.local[last] + pd.Timedelta(hours=1),
                    best_start=self.local[best],
                    duration_h=float(last + 1 - first),
                    margin=float(found.margin[number]),
                    chance=figure(found.chance[number]),
                    chance_dry=figure(found.chance_dry[number]),
                    opens=self._beside(first - 1),
                    closes=self._beside(last + 1),
                    tightest=str(self.held_by[best + int(np.argmin(self.margin[job]))]),
                    dry_h_after=float(dry_h[job.stop - 1]),
                    material=self.background.material.name,
                )
            )
        return sorted(slots, key=_order)

    def _beside(self, row: int) -> str:
        """What holds the hour at a row beside a run."""
        if not 0 <= row < len(self.go):
            return FAR_END
        return NO_ACCESS if self.go[row] else str(self.held_by[row])


def _weighed(
    found: Stretches, index: pd.DatetimeIndex, background: Background, learned: Learned
) -> Stretches:
    """Stretches of the hours of an index with their chances, the smaller of two forecasts'."""
    if not background.forecasts:
        return _by_forecast(found, index, background, learned)
    # the smaller of the two chances: each was earned on single forecasts, theirs together on none
    chances = {name: np.full(len(found.first), np.inf) for name in _CHANCES}
    for frame in background.forecasts:
        until = frame.attrs["known_until"]
        told = np.asarray((index >= frame.index[0]) & (until is not None and index <= until))
        kept = found.inside(told)
        each = _by_forecast(found.kept(kept), index, background_of(frame), learned)
        for name, least in chances.items():
            least[kept] = np.minimum(least[kept], getattr(each, name))
    smaller: dict[str, Any] = {
        name: np.where(np.isinf(least), np.nan, least) for name, least in chances.items()
    }
    return replace(found, **smaller)


_CHANCES = ("chance", "chance_dry", "general")


def _by_forecast(
    found: Stretches, index: pd.DatetimeIndex, background: Background, learned: Learned
) -> Stretches:
    """Stretches of the hours of an index with the chances of one forecast, where it is one."""
    issued = background.forecast_from
    if issued is None:
        return found
    first = round((index[0] - background.daylight.index[0]) / pd.Timedelta(hours=1))
    lead_h = np.asarray((index - issued) / pd.Timedelta(hours=1), dtype=float)
    odds = found.odds(background.conditions, lead_h, background.stage, first_row=first)
    return found.weighed(odds, background.material, learned)


def day_chances(
    hours: pd.DataFrame,
    duration_h: float = DURATION_H,
    access: Access | None = None,
    now: pd.Timestamp | None = None,
    learned: Learned = GENERAL,
) -> pd.DataFrame:
    """The likeliest stretch of every local day, go or not, and its chance to hold.

    Parameters
    ----------
    hours, duration_h, access, now, learned
        As for `find_slots`.

    Returns
    -------
    DataFrame
        Indexed by local day (naive midnight), one row for each day with a stretch of job length
        in the working hours: ``best_start`` (Timestamp in the site's time), ``chance`` (every
        hour of the job stays within every hard limit), ``chance_dry`` (and the dry hours that
        the material wants follow), both 0-1, NaN where nothing earns a figure, and ``verdict``
        of that stretch. A day with a slot can have a likelier stretch just outside the limits.
    """
    found = stretches(hours, duration_h, access=access, now=now, learned=learned)
    best = found.best(found.day, by_verdict=False)
    times = pd.DatetimeIndex(hours.index)[found.first[best]]
    return pd.DataFrame(
        {
            "best_start": times.tz_convert(background_of(hours).place.timezone),
            "chance": found.chance[best],
            "chance_dry": found.chance_dry[best],
            "verdict": np.array(RANKED, dtype=object)[found.verdict[best]],
        },
        index=pd.DatetimeIndex(pd.to_datetime(found.day[best], unit="D"), name="day"),
    )


def figure(chance: float) -> float | None:
    """A chance, None where nothing earns a figure."""
    return None if np.isnan(chance) else float(chance)


FAR_END = "end of the data"


@dataclass(frozen=True)
class Slot:
    """A run of go hours on one local day.

    Attributes
    ----------
    start, end : Timestamp
        In the site's time; the end is the end of the last hour.
    best_start : Timestamp
        Start of the stretch of job length that is likeliest to hold.
    duration_h : float
        Length of the run [h].
    margin : float
        The least margin of that stretch [-].
    chance : float or None
        That every hour of that stretch stays within every hard limit [0-1]; None where nothing
        earns a figure; 1 for past records.
    chance_dry : float or None
        And that the dry hours that the material wants follow [0-1].
    opens, closes : str
        The limit that held the hour before and the one that stops the hour after.
    tightest : str
        The limit that gives the margin.
    dry_h_after : float
        Hours known to stay without measurable rain after the best stretch [h].
    material : str
    """

    json_keys: ClassVar = (
        "start", "end", "best_start", "duration_h", "margin", "chance:3", "chance_dry:3", "opens!",
        "closes!", "dry_h_after:1", "material",
    )  # fmt: skip

    start: pd.Timestamp
    end: pd.Timestamp
    best_start: pd.Timestamp
    duration_h: float
    margin: float
    chance: float | None
    chance_dry: float | None
    opens: str
    closes: str
    tightest: str
    dry_h_after: float
    material: str


def find_slots(
    hours: pd.DataFrame,
    duration_h: float = DURATION_H,
    *,
    access: Access | None = None,
    now: pd.Timestamp | None = None,
    learned: Learned = GENERAL,
) -> list[Slot]:
    """Find the runs of go hours that are long enough for the job, the likeliest first.

    Parameters
    ----------
    hours : DataFrame
        From `spraywindow.spray.hours.score_hours`.
    duration_h : float
        Length of the job [h], more than 0, at most 24; whole hours are taken, rounded up.
    access : Access, optional
        Default: daylight.
    now : Timestamp, optional
        Hours that have begun before it are left out.
    learned : Learned, optional
        What the site's own answers teach of its chances.

    Returns
    -------
    list of Slot
        Best first: by the chance that they hold, then by margin, then the earlier one.

    Raises
    ------
    InputError
        If `duration_h` is out of range.
    """
    return _Asked.of(hours, duration_h, access, now, learned).slots()


def slots_and_days(
    hours: pd.DataFrame,
    duration_h: float = DURATION_H,
    *,
    access: Access | None = None,
    now: pd.Timestamp | None = None,
    learned: Learned = GENERAL,
) -> tuple[list[Slot], list[Day]]:
    """Find the slots, and say of each local day whether it has one and if not, what is nearest.

    Parameters
    ----------
    hours, duration_h, access, now, learned
        As for `find_slots`.

    Returns
    -------
    list of Slot
        As of `find_slots`.
    list of Day
        A day is "go" with a slot; "unknown" where a stretch of job length has no no-go hour but
        an unknown one; else "no-go". Days without a workable stretch are "no-go" by
        ``"access hours"``.
    """
    asked = _Asked.of(hours, duration_h, access, now, learned)
    return asked.slots(), asked.days()


def _order(slot: Slot) -> tuple[float, float, pd.Timestamp]:
    """The likeliest first, then the greatest margin, then the earliest; no figure comes last."""
    return 1.0 if slot.chance is None else -round(slot.chance, 6), -slot.margin, slot.start


def _runs(go: Mask, days: NDArray[np.int64]) -> NDArray[np.int64]:
    """Number of each hour's run of go hours on one day, from 1 on; 0 where it is not go."""
    begins = go.copy()
    begins[1:] &= ~go[:-1] | (days[1:] != days[:-1])
    return np.where(go, np.cumsum(begins), 0)
