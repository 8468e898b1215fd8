from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import InputError, WeatherError
from spraywindow.place import Place
from spraywindow.season.bloom import STAGE_SHARES
from spraywindow.season.dormancy import DormantSeason, dormant_season
from spraywindow.season.requirement import Requirement
from spraywindow.season.stages import Stage
from spraywindow.season.winters import WinterSums, winter_sums

NEED = Requirement("test", 30, 30, 3000, "")
LABEL = "2012/13"


def _sums(latitude: float, first: str, last: str) -> WinterSums:
    """Mild winters: a yearly and a daily wave, and weather that differs by the year."""
    index = pd.date_range(first, last, freq="h", tz="UTC")
    half = 0.0 if latitude > 0 else np.pi
    year = np.cos(2 * np.pi * (index.day_of_year - 20) / 365.25 + half)
    day = np.cos(2 * np.pi * (index.hour - 14) / 24)
    slow = np.random.default_rng(5).normal(0, 1.5, len(index) // 480 + 1).repeat(480)[: len(index)]
    record = pd.Series(14 - 8 * year + 4 * day + slow, index=index)
    return winter_sums(record, Place(latitude, 0.0, 10.0, "UTC"))


SUMS = _sums(40.0, "2000-07-01", "2013-01-05")


def _season(
    *stages: Stage, known: date = date(2013, 1, 5), usual: tuple[int, int] | None = (12, 1)
) -> DormantSeason:
    return dormant_season(SUMS, LABEL, known, NEED, usual_leaf_fall=usual, stages=stages)


def test_usual_leaf_fall_and_forecast_of_the_buds() -> None:
    season = _season()
    # Usual date +- 10 d (common practice, no source).
    assert (season.leaf_fall.early, season.leaf_fall.late) == (
        date(2012, 11, 21),
        date(2012, 12, 11),
    )
    assert not season.leaf_fall.observed
    assert season.winters == 12
    assert season.unreached == 0
    for stage in season.stages.values():
        assert None not in (stage.early, stage.middle, stage.late)
        assert stage.early < stage.middle < stage.late
    middles = [season.stages[code].middle for code in STAGE_SHARES]
    assert middles == sorted(middles)
    assert season.earliest_bud_swell == season.stages[51].early
    flower = season.first_flower.middle
    assert flower
    assert season.last_day(60) == flower - timedelta(days=1)
    assert season.last_day(58) == season.last_day(57)  # the next earlier stage
    assert season.last_day(53, chance="early") < season.last_day(53)
    assert season.has_ended(flower)
    assert not season.has_ended(flower - timedelta(days=1))


def test_what_was_seen_comes_first() -> None:
    plain = _season()
    swell = plain.stages[51].middle
    assert swell
    early = swell - timedelta(days=12)
    season = _season(Stage(97, date(2012, 11, 28)), Stage(51, early + timedelta(days=7)),
                     Stage(51, early), usual=None)  # fmt: skip
    assert season.leaf_fall.middle == date(2012, 11, 28)
    assert season.leaf_fall.observed
    assert season.stages[51].early == season.stages[51].late == early
    # The rest of the heat is counted from there, so the flower comes sooner as well.
    assert season.first_flower.middle < plain.first_flower.middle
    # Nobody saw bud burst a week later, so it comes after that.
    assert season.stages[53].early > early + timedelta(days=7)
    assert any("counted on from bud swell" in note for note in season.notes)


def test_buds_still_dormant_move_every_stage_behind_that_day() -> None:
    middle = _season().stages[51].middle
    assert middle
    season = _season(Stage(0, middle))
    assert all(s.early > middle for s in season.stages.values() if s.early)


def test_bud_burst_seen_means_bud_swell_is_over() -> None:
    swell = _season().stages[51].early
    assert swell
    season = _season(Stage(53, swell))
    assert season.stages[51].late <= swell


def test_the_latest_stage_seen_is_counted_on_from() -> None:
    swell = _season().stages[51].early
    assert swell
    burst = swell + timedelta(days=9)
    both = _season(Stage(51, swell), Stage(53, burst))
    assert any(f"counted on from bud burst (BBCH 53) on {burst}" in note for note in both.notes)
    assert both.first_flower == _season(Stage(53, burst)).first_flower


def test_a_stage_is_needed_from_the_earliest_bud_swell_on() -> None:
    season = _season()
    day = season.earliest_bud_swell
    assert day
    assert not season.needs_look(day - timedelta(days=1))
    assert season.needs_look(day)
    assert not season.needs_look(day, [Stage(0, day - timedelta(days=7))])
    assert season.needs_look(day, [Stage(0, day - timedelta(days=8))])
    assert season.needs_look(day, [Stage(0, day + timedelta(days=1))])  # not yet seen


def test_the_range_narrows_as_the_winter_goes_on() -> None:
    full = _sums(40.0, "2000-07-01", "2013-06-30")

    def width(known: date) -> int:
        season = dormant_season(full, LABEL, known, NEED, usual_leaf_fall=(12, 1))
        return (season.first_flower.late - season.first_flower.early).days

    assert width(date(2013, 2, 20)) < width(date(2012, 11, 1))


def test_south_of_the_equator() -> None:
    sums = _sums(-34.0, "2000-01-01", "2012-06-20")
    season = dormant_season(sums, "2012", date(2012, 6, 20), NEED, usual_leaf_fall=(5, 20))
    assert season.leaf_fall.middle == date(2012, 5, 20)
    flower = season.first_flower.middle
    assert flower
    north = _season(known=date(2012, 12, 20)).first_flower.middle
    assert north
    # Half a year apart, by the same waves of temperature.
    assert abs((north - flower).days - 182) < 12


def test_a_need_that_is_not_met_is_said_and_has_no_date() -> None:
    need = Requirement("very high chill", 300, 300, 3000, "")
    season = dormant_season(SUMS, LABEL, date(2013, 1, 5), need, usual_leaf_fall=(12, 1))
    assert season.first_flower.middle is None
    assert season.last_day(60) is None
    assert not season.has_ended(date(2013, 5, 1))
    assert season.unreached == season.winters == 12
    assert any("12 of 12 past winters would not meet" in note for note in season.notes)


def test_few_winters_are_said() -> None:
    sums = _sums(40.0, "2009-07-01", "2013-01-05")
    season = dormant_season(sums, LABEL, date(2013, 1, 5), NEED, usual_leaf_fall=(12, 1))
    assert season.winters == 3
    assert any("only 3 past winters" in note for note in season.notes)


def test_all_problems_at_once() -> None:
    with pytest.raises(InputError, match=r"outside the season.*\| .*no leaf fall"):
        _season(Stage(51, date(2011, 2, 1)), usual=None)
    with pytest.raises(InputError, match="usual leaf fall: no such date"):
        _season(usual=(13, 1))
    with pytest.raises(WeatherError, match="no such winter"):
        dormant_season(SUMS, "1950/51", date(1951, 1, 1), NEED, usual_leaf_fall=(12, 1))
    with pytest.raises(ValueError, match="no forecast of a stage"):
        _season().last_day(97)
