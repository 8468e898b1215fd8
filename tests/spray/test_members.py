"""Members through the kernel as each one alone; the calibrated dry day on its data."""

from __future__ import annotations

import runpy

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spraywindow.place import Place
from spraywindow.sources.members.members import Members, side_by_side
from spraywindow.sources.members.read_file import read_members
from spraywindow.spray.catalogue import COPPER, OIL
from spraywindow.spray.conditions import Setting
from spraywindow.spray.hours import score_hours
from spraywindow.spray.kernel import VERDICTS, Scores
from spraywindow.spray.members import DRY_EVENTS, go_shares, score_members
from tests.conftest import ROOT, SHARED, needs_records
from tests.weeks import NOON, PLACE, fortnight

GEFS = SHARED / "data" / "ensemble-point" / "gefs_hourly_31members_2022-10-02_fcre.parquet"
FRANKFURT = SHARED / "data" / "rain-ensembles" / "frankfurt_24h_rain_ecmwf52_2007-2013.csv"
SITE = Setting(neighbours_deg=(90.0,), frost_hollow_c=1.0, dew_off_h=1.0)


def scored(members: Members, place: Place, material: object = COPPER) -> Scores:
    ahead = members.attrs.get("forecast_from")
    return score_members(
        members.columns, members.index, place, material, 0, setting=SITE, forecast_from=ahead
    )  # type: ignore[arg-type]


@needs_records
@pytest.mark.parametrize("material", [COPPER, OIL], ids=lambda m: m.name)
def test_each_member_is_judged_as_if_it_were_alone(material: object) -> None:
    members = read_members(GEFS)
    place = Place(37.303, -79.837, 500.0, "America/New_York")
    together = scored(members, place, material)
    assert set(together.verdict.ravel()) == {0, 1, 2}
    for number in range(members.count):
        alone = score_hours(members.table(number), place, material, 0, setting=SITE)  # type: ignore[arg-type]
        assert alone["verdict"].tolist() == [VERDICTS[v] for v in together.verdict[:, number]]
        np.testing.assert_array_equal(alone["margin"], together.margin[:, number])
        for name in together.names:
            np.testing.assert_array_equal(alone[name], together.margins[name][:, number])
    assert list(together.not_judged) == alone.attrs["not_judged"]


def test_a_limit_is_judged_in_the_member_that_has_it() -> None:
    # wind in one, rain in another at another hour: each alone stops its own, no mean stops any
    quiet, windy, wet = (
        fortnight(), fortnight(wind_ms={NOON: 9.0}), fortnight(rain_mm={NOON + 2: 1.0}),
    )  # fmt: skip
    members = side_by_side([quiet, windy, wet, quiet], "", "three")
    share = go_shares(scored(members, PLACE), 2)
    assert share.low[NOON] == share.high[NOON] == 0.5
    assert share.low[NOON - 48] == 1.0


def test_an_unknown_member_is_neither_go_nor_no_go() -> None:
    unknown = fortnight(wind_ms={NOON: np.nan})
    share = go_shares(scored(side_by_side([fortnight(), unknown], "", "two"), PLACE), 2)
    assert (share.low[NOON], share.high[NOON]) == (0.5, 1.0)
    assert (share.low[-1], share.high[-1]) == (0.0, 1.0)  # the job ends past the data


@given(st.lists(st.lists(st.integers(0, 2), min_size=3, max_size=3), min_size=1, max_size=9),
       st.integers(1, 4))  # fmt: skip
def test_shares_count_the_members_whose_hours_are_all_go(
    verdicts: list[list[int]], need: int
) -> None:
    codes = np.array(verdicts, dtype=np.int8)
    none = np.zeros(codes.shape)
    share = go_shares(Scores(codes, none, codes, none > 0, (), {}, ()), need)
    for start in range(len(codes)):
        job = codes[start : start + need]
        whole = len(job) == need
        surely = [whole and all(hour[m] == 0 for hour in job) for m in range(3)]
        maybe = [not whole or all(hour[m] != 1 for hour in job) for m in range(3)]
        assert share.low[start] == pytest.approx(sum(surely) / 3)
        assert share.high[start] == pytest.approx(sum(maybe) / 3)


@needs_records
def test_the_coefficients_are_those_that_the_script_fits() -> None:
    script = runpy.run_path(str(ROOT / "notebooks" / "member_calibration.py"))
    fits = script["calibrate"](FRANKFURT)
    assert list(fits) == [event.most_mm for event in DRY_EVENTS]
    for event in DRY_EVENTS:
        held = (event.constant, event.root, event.share, event.skill, event.calibration_error)
        assert held == pytest.approx(fits[event.most_mm], abs=6e-4)
        assert event.cases == len(script["read"](FRANKFURT)[1])
        assert event.script in script["__doc__"]


@needs_records
def test_the_chance_comes_true_where_the_raw_share_does_not() -> None:
    # Frankfurt's gauge and members, the data that they were fitted to
    rows = pd.read_csv(FRANKFURT)
    members, gauge = rows.iloc[:, 3:].to_numpy(float), rows["obs"].to_numpy(float)
    for event in DRY_EVENTS:
        came, raw = gauge <= event.most_mm, (members <= event.most_mm).mean(axis=1)
        said = event.chance(members)
        usual = np.mean((came.mean() - came) ** 2)
        skill, raw_skill = (1 - np.mean((p - came) ** 2) / usual for p in (said, raw))
        assert skill > 0.5 > raw_skill
        assert came[said >= 0.9].mean() >= 0.95
        bins = np.minimum(said * 10, 9).astype(int)
        off = [abs(np.sum((said - came)[bins == b])) for b in range(10)]
        assert sum(off) / len(came) <= 0.03


@given(st.lists(st.floats(0, 60), min_size=2, max_size=30), st.floats(0, 30), st.data())
def test_more_rain_and_less_knowledge_never_raise_a_chance(
    rain: list[float], more: float, data: st.DataObject
) -> None:
    wetter = np.array(rain)
    wetter[data.draw(st.integers(0, len(rain) - 1))] += more
    for event in DRY_EVENTS:
        assert event.chance(wetter) <= event.chance(np.array(rain)) + 1e-12
        assert np.isnan(event.chance(np.array([*rain, np.nan])))
        assert np.isnan(event.chance(np.array([*rain, np.inf])))
