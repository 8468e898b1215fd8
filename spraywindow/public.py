"""One site in Python, as the commands answer for it: a site file, and three questions."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from html import escape
from pathlib import Path
from typing import Any, Generic, TypeVar

import pandas as pd

from spraywindow.days import zoned
from spraywindow.jobs.backtest import (
    BACKTEST_WORDS,
    SiteBacktest,
    backtest_text,
    replayed,
    usual_replays,
)
from spraywindow.jobs.season import SEASON_WORDS, SeasonAnswer, prospect, season_text
from spraywindow.jobs.slots import EVENING_WORDS, Evening, evening_text, tonight
from spraywindow.show import plain
from spraywindow.site import Site as SiteValue
from spraywindow.site import read_site as read_site_file
from spraywindow.weather import check_hourly, known_at
from spraywindow.winters import ForecastReplay

Found = TypeVar("Found")


@dataclass(frozen=True, eq=False, repr=False)
class Answer(Generic[Found]):
    """What a command would answer: as the value found, as text, as dicts, and in a notebook.

    Attributes
    ----------
    found : Evening (tuple of), SeasonAnswer or SiteBacktest
        What the answer says, for whoever goes on with it.
    """

    found: Found
    _text: Callable[[Found], str]
    _keys: Callable[[Found], Any]

    def to_dict(self) -> dict[str, Any]:
        """The keys and values of the command's ``--json``: texts, numbers, lists and None."""
        return dict(self._keys(self.found))

    def __repr__(self) -> str:
        return self._text(self.found)

    def _repr_html_(self) -> str:
        return f"<pre>{escape(repr(self))}</pre>"


@dataclass(frozen=True)
class Site(SiteValue):
    """One orchard or garden, as `read_site` gives it, with the questions that it is asked.

    A `now` is a tz-aware time; one without a zone, like weather that breaks the contract or a
    site file that lacks what a question needs, is a `SprayWindowError`.
    """

    def tonight(
        self, weather: pd.DataFrame, now: pd.Timestamp, *, winters: pd.DataFrame | None = None
    ) -> Answer[tuple[Evening, ...]]:
        """Say where to be tomorrow, as ``spraywindow slots`` does.

        Parameters
        ----------
        weather : DataFrame
            Hourly table that holds `now`; what is after it counts as forecast.
        now : Timestamp
        winters : DataFrame, optional
            Hourly record of past winters; without it the mornings beyond the forecast are taken
            as they are at large.

        Returns
        -------
        Answer
            Of an `Evening` for each material of the program, the one to go out with first;
            `to_dict` gives that first one.
        """
        evenings = tonight(self, check_hourly(weather), zoned(now), winters=winters)
        return Answer(tuple(evenings), _evenings_text, _first_evening)

    def season(
        self,
        winters: pd.DataFrame,
        now: pd.Timestamp,
        *,
        forecast: pd.DataFrame | None = None,
        dry_spell_h: float | None = None,
        what_if: Sequence[str] = (),
    ) -> Answer[SeasonAnswer]:
        """Say whether the whole program fits, as ``spraywindow season`` does.

        Parameters
        ----------
        winters : DataFrame
            Hourly record of past winters; what it holds from `now` on is not known yet.
        now : Timestamp
        forecast : DataFrame, optional
            Hourly table that holds `now`, to splice in front once the season has begun.
        dry_spell_h : float, optional
            Another dry spell wanted after the spray [h].
        what_if : sequence of str
            Changes to try beside the usual ones: "crew.job = 3 h", as ``--what-if`` takes them.
        """
        record, at = check_hourly(winters), zoned(now)
        ahead = None if forecast is None else known_at(check_hourly(forecast), at)
        found = prospect(self, record, at, forecast=ahead, dry_spell_h=dry_spell_h, what_if=what_if)
        return Answer(_noted(found, record), season_text, _season_keys)

    def backtest(
        self,
        winters: pd.DataFrame,
        now: pd.Timestamp | None = None,
        *,
        replays: Sequence[ForecastReplay] | None = None,
    ) -> Answer[SiteBacktest]:
        """Replay past winters day by day, as ``spraywindow backtest`` does.

        Parameters
        ----------
        winters : DataFrame
            Hourly record of past winters.
        now : Timestamp, optional
            Only what the record holds before it counts. Default: all of it.
        replays : sequence of ForecastReplay, optional
            Forecasts as they were. Default: the coming week known exactly, and twice with the
            usual errors.
        """
        record = check_hourly(winters)
        at = record.index[-1] + pd.Timedelta(hours=1) if now is None else zoned(now)
        found = replayed(self, record, at, usual_replays() if replays is None else replays)
        return Answer(_noted(found, record), backtest_text, _backtest_keys)


def read_site(path: str | Path) -> Site:
    """Read a site file (TOML, UTF-8).

    What the file calls done counts; an application record beside it is not read.

    Raises
    ------
    InputError
        If the file cannot be read, is no TOML, or a key is unknown, missing or unusable; the
        message names each key, what was expected and what was found.
    """
    return Site(**vars(read_site_file(path)))


Report = TypeVar("Report", SeasonAnswer, SiteBacktest)


def _noted(found: Report, record: pd.DataFrame) -> Report:
    """With what the record tells of itself."""
    return replace(found, source_notes=tuple(record.attrs["notes"]))


def _evenings_text(evenings: tuple[Evening, ...]) -> str:
    return evening_text(evenings[0], list(evenings[1:]))


def _first_evening(evenings: tuple[Evening, ...]) -> Any:
    return plain(evenings[0], EVENING_WORDS)


def _season_keys(found: SeasonAnswer) -> Any:
    return plain(found, SEASON_WORDS)


def _backtest_keys(found: SiteBacktest) -> Any:
    return plain(found, BACKTEST_WORDS)
