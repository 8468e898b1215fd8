"""What holds for any weather: unknown never becomes go, rain never helps, windows end."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from spraywindow.place import Place
from spraywindow.spray.access import Access, open_hours
from spraywindow.spray.catalogue import CATALOGUE
from spraywindow.spray.conditions import Setting
from spraywindow.spray.hours import score_hours
from spraywindow.spray.material import Material
from spraywindow.spray.slots import find_slots
from tests.weeks import PLACE, random_weather

SPELL_H = 200
examples = settings(max_examples=40, deadline=None, derandomize=True)
few = settings(examples, max_examples=12)
"""For tables of several spells: to score a thousand hours takes as long as to score two hundred."""
materials = st.sampled_from(sorted(CATALOGUE))
seeds = st.integers(0, 10_000)
LIMITS = ["verdict", "go", "margin", "held_by"]
SETTING = Setting(neighbours_deg=(80.0,), frost_hollow_c=1.0)
SKY = ("cloud", "solar_wm2")
READS = {  # what decides a limit that says no
    "cold": {"temp_c"}, "heat": {"temp_c"}, "frost in 24 h": {"temp_c"}, "heat in 48 h": {"temp_c"},
    "green and frost": {"temp_c"}, "humid": {"temp_c", "dew_point_c"},
    "hot dry air": {"temp_c", "dew_point_c"}, "rain in 24 h": {"rain_mm"},
    "dry spell": {"rain_mm"}, "rain chance 24 h": {"rain_chance"}, "wind": {"wind_ms"},
    "gusts": {"gust_ms"}, "inversion": {"wind_ms", *SKY},
    "neighbours": {"wind_from_deg", "wind_ms"},
}  # fmt: skip


def weather(
    seed: int, hours: int = SPELL_H, missing: float = 0.0, *, spells: int = 1
) -> pd.DataFrame:
    """Random weather; every third table has radiation as well, every fifth neither.

    Several spells, each with warmth, humidity and showers of its own, follow one another.
    """
    parts = [random_weather(seed + 10_001 * spell, hours, missing) for spell in range(spells)]
    hours *= spells
    table = pd.concat(parts).set_axis(pd.date_range(parts[0].index[0], periods=hours, freq="h"))
    if seed % 3 == 0:
        by_day = np.sin(2 * np.pi * (np.arange(hours) - 4) / 24) > 0
        table["solar_wm2"] = np.where(by_day, 900.0 * (1.0 - 0.7 * table["cloud"].fillna(0)), 0.0)
    return table.drop(columns="cloud") if seed % 5 == 0 else table


def scored(table: pd.DataFrame, material: str | Material, **options: Any) -> pd.DataFrame:
    material = CATALOGUE[material] if isinstance(material, str) else material
    return score_hours(table, PLACE, material, 53, setting=SETTING, **options)


def no_go(hours: pd.DataFrame) -> pd.Series:
    return hours["verdict"] == "no-go"


@settings(examples, max_examples=25)
@given(seeds, materials, st.sampled_from([["cloud"], ["solar_wm2"], [*SKY]]), st.data())
def test_a_sky_that_is_not_told_never_makes_an_hour_go(
    seed: int, material: str, names: list[str], data: st.DataObject
) -> None:
    # whole columns that are not there, go by another name, or end early; told ones that disagree
    table = weather(3 * (5 * seed + 1), missing=0.01 * (seed % 2), spells=5)
    draw = np.random.default_rng(seed)
    table["solar_wm2"] *= draw.uniform(0.0, 1.5, len(table))
    ended = table.copy()
    ended.loc[table.index[data.draw(st.integers(0, 999))] :, names] = np.nan
    before = scored(table, material)
    for less in (
        table.drop(columns=names),
        table.rename(columns={name: f"{name}_of_the_sky" for name in names}),
        ended,
    ):
        after = scored(less, material)
        assert not (after["go"] & ~before["go"]).any()
        assert not (no_go(after) & (before["verdict"] != "no-go")).any()


@settings(examples, max_examples=25)
@given(seeds, materials, st.sampled_from(["cells", "rows", "start", "end", "column"]), st.data())
def test_removing_data_never_makes_an_hour_go(
    seed: int, material: str, how: str, data: st.DataObject
) -> None:
    table = weather(seed, missing=0.01 if seed % 2 else 0.0, spells=5)
    draw = np.random.default_rng(seed + 1)
    share = data.draw(st.sampled_from([0.002, 0.02, 0.3]))
    cut = data.draw(st.integers(1, 150))
    less = {
        "cells": lambda: table.mask(draw.random(table.shape) < share),
        "rows": lambda: table[draw.random(len(table)) >= share],
        "start": lambda: table.iloc[cut:],
        "end": lambda: table.iloc[:-cut],
        "column": lambda: table.assign(**{data.draw(st.sampled_from(list(table))): np.nan}),
    }[how]()
    begins = table.index[100] if seed % 2 else None
    before = scored(table, material, forecast_from=begins)
    after = scored(less, material, forecast_from=begins).reindex(table.index)
    made_go = after["go"].eq(True) & ~before["go"]
    assert not made_go.any(), before[made_go]
    # nor does it turn a go into a no-go: it can only become unknown
    assert not (no_go(after) & before["go"]).any()
    assert not (no_go(after) & (before["verdict"] == "unknown")).any()


@few
@given(seeds, materials)
def test_a_no_go_stays_while_what_decided_it_is_known(seed: int, material: str) -> None:
    table = weather(seed, spells=5)
    before = scored(table, material)
    for name, reads in READS.items():
        limit = next((limit for limit in CATALOGUE[material].limits if limit.name == name), None)
        if name not in before or limit is None or limit.kind != "hard":
            continue
        if limit.quantity == "lowest_temp_until_dry":
            continue  # how long it takes to dry reads everything
        kept = reads | ({"wind_ms", *SKY} if "temp_c" in reads else set())  # the frost hollow
        after = scored(table.assign(**{c: np.nan for c in table if c not in kept}), material)
        held = before[name] < 0
        assert no_go(after)[held].all(), name
        assert (after[name][held] < 0).all(), name


@few
@given(seeds, materials, st.integers(1, 150), st.floats(0.001, 40.0))
def test_more_rain_never_turns_no_go_into_go(
    seed: int, material: str, count: int, rain_mm: float
) -> None:
    table = weather(seed, missing=0.01, spells=5)
    rows = np.random.default_rng(seed).integers(0, len(table), count)
    wetter = table.copy()
    wetter.iloc[rows, wetter.columns.get_loc("rain_mm")] += rain_mm
    before, after = scored(table, material), scored(wetter, material)
    assert no_go(after)[no_go(before)].all()
    assert not after["go"][~before["go"]].any()


@examples
@given(seeds, materials, st.data())
def test_a_tighter_limit_never_raises_a_margin(
    seed: int, material: str, data: st.DataObject
) -> None:
    table = weather(seed, missing=0.005)
    limits = CATALOGUE[material].limits
    limit = limits[data.draw(st.integers(0, len(limits) - 1))]
    by = data.draw(st.floats(1e-6, 2.0)) * limit.width
    inward = by if limit.bound in ("at least", "above") else -by
    tight = CATALOGUE[material].with_limits(
        **{limit.name: replace(limit, value=limit.value + inward)}
    )
    before, after = scored(table, material), scored(table, tight)
    names = [name for name in before if name not in LIMITS]
    assert list(after[names]) == list(before[names])
    raised = (after[names] > before[names] + 1e-12).any(axis=1)
    assert not raised.any()
    assert not (after["margin"] > before["margin"] + 1e-12).any()
    assert not after["go"][~before["go"]].any()
    assert no_go(after)[no_go(before)].all()


@few
@given(seeds, materials)
def test_margins_are_at_most_one_and_agree_with_the_verdict(seed: int, material: str) -> None:
    hours = scored(weather(seed, missing=0.02 * (seed % 2), spells=5), material)
    kinds = {limit.name: limit.kind for limit in CATALOGUE[material].limits} | {"stage": "hard"}
    names = [name for name in hours if name not in LIMITS]
    values = hours[names]
    assert (values.isna() | (values <= 1.0)).all(axis=None)
    assert not np.isinf(values[values.notna()].max().max())
    soft = [name for name in names if kinds[name] == "soft"]
    hard = [name for name in names if kinds[name] == "hard"]
    assert (values[soft] >= 0).all(axis=None)
    expected = np.select(
        [(values[hard] < 0).any(axis=1), values[hard].isna().any(axis=1)],
        ["no-go", "unknown"],
        "go",
    )
    assert (hours["verdict"].astype(str) == expected).all()
    assert (hours["go"] == (expected == "go")).all()
    least = values[hard + soft].min(axis=1)
    go, closed = expected == "go", expected == "no-go"
    assert (hours["margin"][go] == least[go]).all()
    assert (hours["margin"][closed] == values[hard].min(axis=1)[closed]).all()
    assert hours["margin"][expected == "unknown"].isna().all()
    held = [hours.at[t, name] for t, name in hours["held_by"][go | closed].items()]
    assert held == list(hours["margin"][go | closed])


@examples
@given(seeds, materials, st.integers(80, 180))
def test_weather_beyond_the_windows_never_changes_an_hour(
    seed: int, material: str, row: int
) -> None:
    table = weather(seed, missing=0.005)
    other = pd.concat(
        [table.iloc[:row], weather(seed + 15).iloc[row:].reindex(columns=table.columns)]
    )
    before, after = scored(table, material), scored(other, material)
    pd.testing.assert_frame_equal(before.iloc[: row - 72], after.iloc[: row - 72], check_freq=False)


@examples
@given(seeds, materials, st.integers(0, 60), st.integers(0, 60))
def test_a_slice_that_holds_the_windows_scores_as_the_whole(
    seed: int, material: str, skip: int, drop: int
) -> None:
    # 240 h before for the rain of ten days and for the water store to forget how it began
    table = weather(seed, hours=450, missing=0.002)
    part = table.iloc[skip : len(table) - drop]
    whole = scored(table, material).iloc[skip : len(table) - drop]
    inner = slice(240, len(part) - 72)
    pd.testing.assert_frame_equal(
        scored(part, material).iloc[inner], whole.iloc[inner], rtol=1e-6, check_freq=False
    )


ZONES = st.sampled_from(
    [
        (Place(38.0, 23.0, 100.0, "Europe/Athens"), "2021-03-24"),
        (Place(38.0, 23.0, 100.0, "Europe/Athens"), "2021-10-27"),
        (Place(40.0, -76.0, 100.0, "America/New_York"), "2021-03-10"),
        (Place(40.0, -76.0, 100.0, "America/New_York"), "2021-11-03"),
        (Place(33.8, 35.5, 100.0, "Asia/Beirut"), "2021-03-24"),  # clocks change at midnight
        (Place(33.8, 35.5, 100.0, "Asia/Beirut"), "2021-10-27"),
        (Place(47.5, -53.0, 100.0, "America/St_Johns"), "2021-03-10"),  # half-hour zones
        (Place(28.6, 77.2, 200.0, "Asia/Kolkata"), "2021-01-10"),
        (Place(-34.9, 138.6, 50.0, "Australia/Adelaide"), "2021-04-01"),
        (Place(-31.5, 159.1, 10.0, "Australia/Lord_Howe"), "2021-10-01"),  # half an hour of DST
        (Place(-36.8, 174.8, 50.0, "Pacific/Auckland"), "2021-09-22"),
    ]
)
ACCESS = st.sampled_from(
    [None, Access(start_h=0.0, end_h=24.0), Access(start_h=7.5), Access(end_h=16.0)]
)


@examples
@given(seeds, materials, ZONES, ACCESS, st.sampled_from([1.0, 2.0, 3.5]))
def test_slots_never_overlap_and_lie_on_one_local_day(
    seed: int, material: str, zone: tuple[Place, str], access: Access | None, job_h: float
) -> None:
    place, start = zone
    table = random_weather(seed, 240, start=start).assign(rain_mm=0.0, rain_chance=0.0)
    hours = score_hours(table, place, CATALOGUE[material])
    slots = find_slots(hours, job_h, access=access)
    workable = pd.Series(open_hours(hours, access), index=hours.index)
    hour = pd.Timedelta(hours=1)
    for slot in slots:
        assert slot.start.date() == (slot.end - pd.Timedelta(seconds=1)).date()
        assert str(slot.start.tz) == place.timezone
        assert slot.end - slot.start == pd.Timedelta(hours=slot.duration_h)
        assert slot.duration_h >= job_h
        assert slot.start <= slot.best_start <= slot.end - np.ceil(job_h) * hour
        inside = hours.loc[slot.start : slot.end - hour]
        assert len(inside) == slot.duration_h
        assert inside["go"].all()
        assert workable[inside.index].all()
        assert 0.0 <= slot.margin <= 1.0
    ordered = sorted(slots, key=lambda slot: slot.start)
    assert all(one.end <= two.start for one, two in itertools.pairwise(ordered))


@examples
@given(seed=seeds, material=materials, later=st.floats(0, 4), colder=st.floats(0, 5))
def test_what_notes_teach_never_makes_an_hour_go_that_was_not(
    seed: int, material: str, later: float, colder: float
) -> None:
    table = weather(seed, missing=0.02)
    taught = replace(SETTING, dry_later_h=later, night_colder_c=colder)
    issued = table.index[SPELL_H // 2]
    before, after = (
        score_hours(table, PLACE, CATALOGUE[material], 53, setting=setting, forecast_from=issued)
        for setting in (SETTING, taught)
    )
    assert not (after["go"] & ~before["go"]).any()
    # what stopped an hour before still does
    assert not (before["verdict"].eq("no-go") & ~after["verdict"].eq("no-go")).any()
