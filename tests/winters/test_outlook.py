"""Will the program fit: closed forms, bounds, and records that cannot answer."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binomtest

from spraywindow.errors import InputError
from spraywindow.place import Place
from spraywindow.program.entry import MaterialRounds
from spraywindow.program.planner import plan_many
from spraywindow.program.program import Program
from spraywindow.sources.demo.samples import DEMO_PLACE
from spraywindow.trees.flowering import Need
from spraywindow.winters.outlook import SeasonOutlook, program_span, season_outlook
from spraywindow.winters.past import past_season
from spraywindow.winters.replays import ErrorModel
from spraywindow.winters.rules import backtest
from spraywindow.winters.share import Share
from tests.season_values import ACCESS, FIRST, MATERIALS, NEED, PROGRAM, winters


def outlook(
    weather: pd.DataFrame | None = None, program: Program = PROGRAM, **changes
) -> SeasonOutlook:
    settings = {"first": FIRST, "need": NEED, "access": ACCESS} | changes
    table = winters() if weather is None else weather
    return season_outlook(table, DEMO_PLACE, program, MATERIALS, **settings)


@pytest.fixture(scope="module")
def demo() -> SeasonOutlook:
    return outlook()


def test_shares_carry_wilsons_interval() -> None:
    # Wilson (1927), by scipy
    for hits, n in ((0, 12), (11, 12), (29, 29)):
        found = Share.of(np.arange(n) < hits)
        wanted = binomtest(hits, n).proportion_ci(method="wilson")
        assert (found.low, found.high) == pytest.approx((wanted.low, wanted.high))
        assert (found.share, found.n) == (hits / n, n)
    assert np.isnan(Share.of(np.zeros(0, dtype=bool)).share)


def test_runs_of_dry_days_follow_the_closed_form() -> None:
    # independent dry days of chance p: (n - k + 1) p^k windows of k dry days are expected; the
    # chance of at least one run follows Feller's recursion (An Introduction to Probability
    # Theory, vol. 1, XIII.7; from memory)
    n, k, p, calendars = 40, 4, 0.6, 4000
    rng = np.random.default_rng(11)
    dry = rng.random((n, calendars)) < p
    windows = np.stack([dry[day : day + k].all(axis=0) for day in range(n - k + 1)])
    assert windows.sum(axis=0).mean() == pytest.approx((n - k + 1) * p**k, rel=0.03)
    none = [1.0] * k + [1.0 - p**k]
    for _ in range(k + 1, n + 1):
        none.append(none[-1] - (1 - p) * p**k * none[-k - 1])
    # the planner finds a round in a calendar exactly where there is a run
    chances = np.full((n, 1, calendars), np.nan)
    chances[: n - k + 1, 0][windows] = 0.5
    made = plan_many(chances, Program.of(oil=(1, 5))).rounds[0]
    assert (made == 1).mean() == pytest.approx(1 - none[n], abs=0.02)


def test_hindsight_is_the_best_and_a_later_start_never_helps(demo: SeasonOutlook) -> None:
    assert (demo.effective_coming <= demo.rounds_coming).all()
    assert demo.effective_coming.mean() < demo.effective_hindsight.mean()
    assert (demo.effective_hindsight <= demo.rounds_hindsight).all()
    assert demo.finish_coming_effective.share <= demo.finish_coming.share
    assert demo.owed == 8
    # the flowering model's own error lies in the shares of the starts only
    assert demo.start_shares[0] == pytest.approx(demo.finish_coming.share, abs=0.2)
    assert demo.start_shares[-1] == 0
    for per_cent, day in demo.latest_start.items():
        last = -1 if day is None else (day - FIRST).days
        assert (demo.start_shares[: last + 1] >= per_cent / 100 - 1e-9).all()
        assert demo.start_shares[last + 1] < per_cent / 100
    assert (demo.latest_start[90] or FIRST) <= (demo.latest_start[80] or FIRST)


def test_a_shorter_dry_spell_gives_mornings_and_a_longer_one_costs_them(
    demo: SeasonOutlook,
) -> None:
    mornings = [ease.usable_mornings["oil"] for ease in demo.dry_spells]
    assert [ease.hours for ease in demo.dry_spells] == [24, 48, 72, 96]
    assert mornings == sorted(mornings, reverse=True)
    assert mornings[2] == pytest.approx(demo.usable[0].mean())
    assert demo.eased[0].usable_mornings["oil"] >= mornings[2]
    oil = [cost for cost in demo.limits if cost.material == "oil"]
    assert oil[0].limit == "dry spell"
    assert all(cost.days > 0 for cost in demo.limits)


def test_a_winter_of_missing_rain_is_left_out_named_and_bounded() -> None:
    table = winters().copy()
    table.loc["2017-12-01":"2018-02-28", "rain_mm"] = np.nan
    found = outlook(table)
    assert list(found.season.left_out) == ["2017/18"]
    assert "rain unknown" in found.season.left_out["2017/18"]
    n, hits = 11, round(found.finish_coming.share * 11)
    assert found.finish_coming.n == n
    assert found.season.rain_missing == ("2017/18",)
    assert found.bounds == pytest.approx((hits / 12, (hits + 1) / 12))


def test_a_winter_left_out_for_anything_but_rain_bounds_nothing() -> None:
    table = winters().loc[:"2024-12-20"].copy()  # the record ends in 2024/25
    table.loc["2017-12-01":"2018-02-28", "wind_ms"] = np.nan
    found = outlook(table)
    assert set(found.season.left_out) == {"2017/18", "2024/25"}
    share = found.finish_coming.share
    assert found.bounds == pytest.approx((share, share))


def test_as_it_comes_acts_on_the_mornings_that_an_evening_would_call(demo: SeasonOutlook) -> None:
    season = demo.season
    found = np.isfinite(season.foreseen)
    assert not (found & ~np.isfinite(season.chances)).any()  # stricter about frost, never laxer
    inside = np.arange(len(found))[:, None, None] <= season.ending.actual
    np.testing.assert_array_equal(demo.usable, (found & inside).sum(axis=0))
    # the record itself would promise more oil, which looks a day ahead for frost
    lenient = replace(season, foreseen=season.chances)
    assert lenient.usable[:, 0].sum() > 1.1 * season.usable[:, 0].sum()
    by_ease = {ease.hours: ease for ease in demo.dry_spells}
    assert by_ease[72.0].finish == demo.finish_coming


def test_where_every_night_may_freeze_as_forecast_few_evenings_call_an_oil_morning() -> None:
    # 0.5 degC at the coldest: no frost in the record, one within a forecast's 1.5 K (P)
    table = winters().loc["2015-09":"2019-08"].copy()
    for name in ("temp_c", "dew_point_c"):
        table[name] = table[name].clip(lower=0.5)
        table.loc[table.index.hour == 3, name] = 0.5
    found = outlook(table)
    assert np.isfinite(found.season.chances[:, 0]).any(axis=0).all()
    assert found.usable[0].sum() == 0
    # a forecast that is too warm calls one at times
    assert found.seen.offered[:, 0].sum() < 0.5 * np.isfinite(found.season.chances[:, 0]).sum()
    assert program_span(found.season, PROGRAM, found.seen).in_five_weeks.share == 0
    assert found.finish_coming.share < found.finish_hindsight.share
    assert found.short["oil"] > 0
    assert {ease.usable_mornings["oil"] for ease in (*found.dry_spells, *found.eased)} == {0}
    # nobody waits for oil mornings that no evening will call: copper is made, though worth less
    early = MaterialRounds("copper", 1, 5, target=("all leaves fallen",))
    either = Program((MaterialRounds("oil", 1, 5, priority=2.0), early), between=150)
    ours = backtest(outlook(table, either).season, table, DEMO_PLACE, either)[0]
    assert (ours.made[:, 1].sum(axis=0) == 1).all()


def test_the_replay_of_the_usual_errors_makes_the_same_rounds(demo: SeasonOutlook) -> None:
    ours = backtest(demo.season, winters(), DEMO_PLACE, PROGRAM, replays=[ErrorModel(seed=1)])[0]
    np.testing.assert_array_equal(ours.stand.sum(axis=(0, 1)), demo.rounds_coming)
    effective = ours.outcomes.effective.sum(axis=(0, 1))
    np.testing.assert_array_equal(effective, demo.effective_coming)


def capped(**maxima: float) -> Program:
    """Four of the five copper rounds, by one maximum or another."""
    oil, copper = PROGRAM.entries
    if "copper_kg_ha" in maxima:
        copper = replace(copper, metallic_copper_per_round_kg_ha=1.0)
        return Program((oil, copper), PROGRAM.between, (), (), maxima["copper_kg_ha"])
    return replace(PROGRAM, entries=(oil, replace(copper, **maxima)))


def test_every_maximum_caps_what_is_owed_alike(demo: SeasonOutlook) -> None:
    by_rounds = outlook(program=capped(season_maximum=4))
    by_copper = outlook(program=capped(copper_kg_ha=4.0))
    assert by_rounds.owed == by_copper.owed == 7
    assert by_copper.finish_hindsight == by_rounds.finish_hindsight
    assert by_copper.finish_hindsight.share > 0
    assert by_copper.finish_coming == by_rounds.finish_coming
    assert by_copper.short == by_rounds.short
    assert by_copper.latest_start == by_rounds.latest_start
    ours, other = (
        program_span(demo.season, capped(**maximum), demo.seen).in_five_weeks
        for maximum in ({"season_maximum": 4}, {"copper_kg_ha": 4.0})
    )
    assert ours == other


def test_copper_that_is_done_covers_the_spells_to_come() -> None:
    first = dt.date(2025, 1, 13)  # the record knows the rain up to it, and goes on
    done = PROGRAM.with_done({"copper": [dt.date(2025, 1, 8)]})
    bare, sprayed = (outlook(program=each, first=first).curl for each in (PROGRAM, done))
    assert bare is not None
    assert sprayed is not None
    assert (bare.left.share, np.nanmax(bare.bare)) == (0, 0)
    fell = winters()["rain_mm"].loc["2025-01-08 10:00":"2025-01-12 21:00"].sum()  # UTC + 2
    # Ontario 2020: half of it is gone after 25 mm
    assert sprayed.left.share == pytest.approx(0.5 ** (fell / 25.0))
    assert sprayed.left.unknown_h == 0
    assert (sprayed.bare[np.isfinite(sprayed.bare)] > 0).all()


def test_more_copper_rounds_never_cover_less_and_means_lie_within_their_winters(
    demo: SeasonOutlook,
) -> None:
    curl = demo.curl
    assert curl is not None
    means = [np.nanmean(curl.bare), *curl.covered_by_rounds]
    assert (np.diff(means) >= 0).all()
    assert means[-1] > means[0]
    for row, mean in zip(curl.by_rounds, curl.covered_by_rounds, strict=True):
        assert np.nanmin(row) <= mean <= np.nanmax(row)


def test_few_winters_give_no_latest_start() -> None:
    found = outlook(winters().loc["2015-09":"2018-08"])
    assert found.finish_coming.n == 3
    assert found.latest_start == {80: None, 90: None}


def test_one_winter_has_no_other_to_go_by_and_still_answers() -> None:
    found = outlook(winters().loc["2015-09":"2016-08"])
    assert found.finish_coming.n == 1
    assert found.rounds_coming[0] > 0
    assert found.latest_start == {80: None, 90: None}


def test_hindsight_is_the_exact_plan_of_every_winter(demo: SeasonOutlook) -> None:
    season = demo.season
    for winter in (0, 5, 11):
        days = np.arange(len(season.chances))[:, None] <= season.ending.actual[:, winter]
        alone = np.where(days, season.chances[..., winter], np.nan)[..., None]
        assert demo.rounds_hindsight[winter] == plan_many(alone, PROGRAM).rounds.sum()


def test_a_record_without_a_past_winter_is_refused() -> None:
    with pytest.raises(InputError, match="no past winter in the record; expected a whole winter"):
        outlook(winters().loc["2025-01":], first=dt.date(2024, 12, 2))


def test_gaps_longer_than_the_season_leave_one_round() -> None:
    program = Program.of(oil=(3, 60), copper=(1, 60), between=2)
    found = outlook(program=program, first=dt.date(2026, 1, 20))
    assert found.rounds_hindsight.max() == 2  # one of each material
    assert found.owed == 4
    assert found.finish_hindsight.share == 0


def test_more_rounds_done_than_asked_for_owe_nothing() -> None:
    done = [dt.date(2025, 12, 3) + dt.timedelta(days=7 * week) for week in range(4)]
    program = PROGRAM.with_done({"oil": done})
    assert outlook(program=program, first=dt.date(2026, 1, 5)).owed == 5
    assert "4 rounds done, 3 asked for" in " ".join(program.notes())


def test_the_usual_flower_date_leads_every_season() -> None:
    found = outlook(need=Need(None, (2, 20)))
    # oil ends before the flower buds stand closed, ten days before the flower (P)
    for last, day in zip(found.season.ending.actual, (9, 19), strict=True):
        off = last - (dt.date(2026, 2, day) - FIRST).days
        assert -21 <= off.min() < 0  # three weeks sooner at most (P)
        assert 0 < off.max() <= 10
    assert found.last == dt.date(2026, 2, 19)


def test_the_end_as_forecast_knows_only_what_was_known() -> None:
    # a winter's own weather after an evening must not move that evening's forecast of its end
    table = winters().copy()
    table.loc["2020-01-15":"2020-06-30", "temp_c"] += 6.0
    kept = past_season(winters(), DEMO_PLACE, PROGRAM, MATERIALS, first=FIRST, need=NEED)
    warm = past_season(table, DEMO_PLACE, PROGRAM, MATERIALS, first=FIRST, need=NEED)
    column = kept.labels.index("2019/20")
    evening = (dt.date(2020, 1, 14) - dt.date(2019, 12, 2)).days
    days = min(len(kept.ending.forecast), len(warm.ending.forecast), evening)
    np.testing.assert_array_equal(
        kept.ending.forecast[:days, :, column], warm.ending.forecast[:days, :, column]
    )
    assert (warm.ending.actual[:, column] < kept.ending.actual[:, column]).all()


def test_the_southern_half_year_goes_over_into_its_own_winter() -> None:
    south = Place(-37.8, 21.4, 60.0, "Etc/GMT-2")
    table = winters().copy()
    table.index = table.index + pd.Timedelta(days=182)
    found = season_outlook(
        table, south, PROGRAM, MATERIALS, first=dt.date(2026, 6, 2), need=NEED, access=ACCESS
    )
    assert found.season.labels[:2] == ("2014", "2015")
    assert found.usable[0].mean() > 3


def test_the_cost_of_priorities_is_only_in_the_order_of_rounds(demo: SeasonOutlook) -> None:
    entries = tuple(replace(e, priority=2.0) if e.material == "oil" else e for e in PROGRAM.entries)
    found = outlook(program=replace(PROGRAM, entries=entries))
    assert (found.rounds_hindsight >= demo.rounds_hindsight - 1).all()
    # what comes rests on one replay's errors: a winter more or less is chance
    assert found.short["oil"] <= demo.short["oil"] + 1 / 12 + 1e-9
