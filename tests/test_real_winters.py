"""Both reports on the winters of a real station, checked on its raw rows."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from spraywindow.place import Place
from spraywindow.sources.files.read_file import read_weather
from spraywindow.trees.cultivar_groups import cultivar_group
from spraywindow.trees.flowering import Need
from spraywindow.winters.outlook import program_span, season_outlook
from spraywindow.winters.past import PastWinters, past_season
from spraywindow.winters.replays import ErrorModel, Foresight
from spraywindow.winters.rules import RuleResult, backtest
from tests.conftest import SHARED, needs_records
from tests.example_maps import SYNOP
from tests.season_values import MATERIALS, PROGRAM

RECORD = SHARED / "data" / "greece-synop" / "Souda_1975-2004_3h.csv.gz"
SOUDA = Place(35.53, 24.15, 151.0, "Europe/Athens")
FIRST = dt.date(2004, 12, 1)
NEED = Need(cultivar_group("low chill peach"))
H = pd.Timedelta(hours=1)

pytestmark = needs_records


@pytest.fixture(scope="module")
def table(tmp_path_factory: pytest.TempPathFactory) -> pd.DataFrame:
    folder = tmp_path_factory.mktemp("map")
    (folder / "map.toml").write_text(SYNOP)
    return read_weather(RECORD, folder / "map.toml").loc[:"2004-09"]


@pytest.fixture(scope="module")
def built(table: pd.DataFrame) -> PastWinters:
    return past_season(table, SOUDA, PROGRAM, MATERIALS, first=FIRST, need=NEED)


@pytest.fixture(scope="module")
def results(built: PastWinters, table: pd.DataFrame) -> list[RuleResult]:
    return backtest(built, table, SOUDA, PROGRAM, replays=[Foresight(), ErrorModel(seed=1)])


@pytest.fixture(scope="module")
def totals() -> pd.Series:
    """The station's own 12 h totals [mm], by the end of each."""
    rows = pd.read_csv(RECORD)
    rows.index = pd.DatetimeIndex(pd.to_datetime(rows["time_utc"], utc=True))
    return rows["precip12h_mm"].dropna()


def overlapping(totals: pd.Series, start: pd.Timestamp, hours: int) -> pd.Series:
    """The totals of which some hour lies in the hours after a start."""
    return totals[(totals.index > start) & (totals.index - 12 * H < start + hours * H)]


def within(totals: pd.Series, start: pd.Timestamp, hours: int) -> pd.Series:
    """The totals that lie wholly in them."""
    return totals[(totals.index - 12 * H >= start) & (totals.index <= start + hours * H)]


def test_the_winters_and_those_left_out_are_the_records(built: PastWinters) -> None:
    assert len(built.labels) + len(built.left_out) == 30  # 1974/75, from January on, to 2003/04
    assert set(built.left_out) == {"1974/75", "1976/77", "2001/02"}
    assert built.left_out["1974/75"].startswith("the record begins in it on 1974-12-31;")
    # the station was silent: nothing says that it rained more than else
    assert built.rain_missing == ()
    for label in ("1976/77", "2001/02"):
        assert "hours without temperature" in built.left_out[label]


@pytest.mark.parametrize(
    ("silent", "need"),
    [((9,), Need(None, (2, 10))), ((6,), Need(None, (2, 10))), ((6,), NEED),
     ((4, 5, 6, 7, 8, 9, 10), Need(None, (2, 10)))],
)  # fmt: skip
def test_a_station_silent_when_nothing_is_asked_of_it_loses_no_winter(
    table: pd.DataFrame, silent: tuple[int, ...], need: Need
) -> None:
    """Fruit trees hang on autumn's and winter's chill and heat; a written date on fewer days yet.

    The record is an airport's; the months are taken off it (a logger that hangs in winter only).
    """

    def used(record: pd.DataFrame) -> PastWinters:
        return past_season(record, SOUDA, PROGRAM, MATERIALS, first=FIRST, need=need)

    gone = table.copy()
    gone.loc[pd.DatetimeIndex(gone.index).month.isin(silent)] = np.nan
    whole, found = used(table), used(gone)
    assert set(found.labels) >= set(whole.labels)
    assert len(found.labels) >= 27
    same = [found.labels.index(label) for label in whole.labels]
    off = np.abs(found.ending.actual[:, same] - whole.ending.actual)
    print(off.mean(), off.max())
    assert off.mean() <= 1.5  # flowers are told within 5 d (Drepper et al. 2020)


def test_a_winter_silent_before_the_written_date_is_still_left_out(table: pd.DataFrame) -> None:
    gone = table.copy()
    gone.loc["1990-12-20":"1991-01-10", "temp_c"] = np.nan
    found = past_season(
        gone, SOUDA, PROGRAM, MATERIALS, first=FIRST, need=Need(None, (2, 10))
    )  # fmt: skip
    assert found.left_out["1990/91"].endswith(
        "hours without temperature, which chill and heat need from 1990-12-01 to 1991-02-20"
    )


def test_rain_after_a_round_is_what_the_totals_say(
    built: PastWinters, results: list[RuleResult], totals: pd.Series
) -> None:
    checked = {True: 0, False: 0}
    for result in results:
        after = result.outcomes
        for day, which, column in np.argwhere(result.made)[::3]:
            hour = built.block.epoch_h[built.used[column]] + result.start[day, which, column]
            start = pd.Timestamp(int(hour) * 3600, unit="s", tz="UTC")
            for hours in (24, 48, 72):
                rained = bool(after.rain[hours][day, which, column])
                if rained:
                    assert overlapping(totals, start, hours).sum() >= 0.25, (result.name, start)
                elif not after.unknown[hours][day, which, column]:
                    assert within(totals, start, hours).sum() < 0.254, (result.name, start)
                checked[rained] += 1
    assert min(checked.values()) > 300


def test_no_oil_round_of_days_known_is_rained_on_within_a_day(
    built: PastWinters, results: list[RuleResult], totals: pd.Series
) -> None:
    ours = results[0]
    rounds = np.argwhere(ours.made[:, 0])
    assert len(rounds) > 70
    for day, column in rounds:
        hour = built.block.epoch_h[built.used[column]] + ours.start[day, 0, column]
        start = pd.Timestamp(int(hour) * 3600, unit="s", tz="UTC")
        assert overlapping(totals, start, 24).sum() < 0.254


def test_looking_at_the_sky_pays(results: list[RuleResult]) -> None:
    by_name = {result.name: result for result in results}
    calendar = by_name["fixed calendar"]
    oil = [
        result.outcomes.rain[72][:, 0].sum() / result.made[:, 0].sum()
        for result in (*results[:2], calendar)
    ]
    assert oil[0] < oil[1] < oil[2] / 1.5  # days known, wrong forecasts, no forecast
    counts = by_name["this rule, usual errors"].counts
    assert counts is not None
    assert counts.false_go > 0
    # the record cannot tell of every day: 12 h totals
    assert counts.unknown > 0


def test_eight_rounds_in_five_weeks(built: PastWinters, table: pd.DataFrame) -> None:
    # common practice, no source: in a mild winter about five weeks is all that eight rounds get
    outlook = season_outlook(table, SOUDA, PROGRAM, MATERIALS, first=FIRST, need=NEED)
    span = program_span(built, PROGRAM, outlook.seen)
    assert outlook.finish_coming.n == span.in_five_weeks.n == 27
    print(f"five weeks hold eight rounds in {span.in_five_weeks}, a season in "
          f"{outlook.finish_coming}; it takes {span.median_days:.0f} days")  # fmt: skip
    assert 0.3 < span.in_five_weeks.share < outlook.finish_coming.share
    assert np.median(built.ending.actual.max(axis=0)) > 70
