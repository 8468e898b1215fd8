"""The pictures: what they draw is what the answer says, and they come out as files."""

from __future__ import annotations

import datetime as dt
import itertools
import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import InputError
from spraywindow.jobs.backtest.answer import SiteBacktest, replayed
from spraywindow.jobs.backtest.picture import draw_backtest, save_backtest_picture, spoiled_rounds
from spraywindow.jobs.season.picture import draw_season, save_season_picture, season_words
from spraywindow.jobs.slots.answer import evening
from spraywindow.jobs.slots.picture import draw_week, save_week_picture, split_week, week_words
from spraywindow.jobs.slots.tracks import (
    TRACKS,
    local_days,
    rain,
    sun,
    temperature,
    water,
    week_weather,
)
from spraywindow.jobs.slots.words import closing_words, opening_words
from spraywindow.show.plots import NARROW_PX, SMALL, VARIABLES, look, new_figure
from spraywindow.show.svg import inline_svg
from spraywindow.show.words import hours_words
from spraywindow.sources.demo.samples import DEMO_NOW, demo_forecast, demo_winters
from spraywindow.weather.wetness import DRY_MM
from spraywindow.winters.replays import Foresight
from tests.page_values import demo_evenings, demo_prospect, demo_site, evenings_of

OIL, COPPER = 0, 1


def texts(figure: Any) -> list[str]:
    return [text.get_text() for axes in figure.axes for text in axes.texts]


@pytest.fixture(scope="module")
def week() -> pd.DataFrame:
    return week_weather(demo_forecast(), demo_site(), DEMO_NOW)


def test_the_week_starts_now_and_ends_with_the_seventh_day(week: pd.DataFrame) -> None:
    assert week.index[0] == DEMO_NOW
    assert len(local_days(week)) == 8
    assert pd.DatetimeIndex(week.index).hour[-1] == 23


def test_the_week_carries_what_the_limits_see(week: pd.DataFrame) -> None:
    forecast = demo_forecast().tz_convert(week.index[0].tz).loc[week.index]
    assert (week["rain_mm"] == forecast["rain_mm"]).all()
    # wind falls toward the ground (FAO-56 eq. 47), the sun only warms
    assert (week["wind_top_ms"] <= forecast["wind_ms"]).all()
    assert (week["wood_c"] >= week["temp_c"]).all()
    # dry wood in oil's slots, because wet wood holds them
    for slot in demo_evenings()[OIL].slots:
        inside = week.loc[slot.start : slot.end - pd.Timedelta(hours=1)]
        assert (inside["water_high_mm"] <= DRY_MM).all()


def test_unknown_water_has_no_trace() -> None:
    table = demo_forecast()
    table.loc[table.index >= DEMO_NOW, ["rain_mm", "dew_point_c"]] = np.nan
    blind = week_weather(table, demo_site(), DEMO_NOW)
    assert blind["water_high_mm"].isna().sum() > 100


@pytest.mark.parametrize("width", [358, 760])
def test_every_slot_stands_with_its_hours_and_words(week: pd.DataFrame, width: int) -> None:
    evenings = demo_evenings()
    with look():
        found = " ".join(" ".join(texts(draw_week(week, evenings, width_px=width))).split())
    for each in evenings:
        assert len(each.slots) > 1
        for slot in each.slots:
            assert hours_words(slot.start, slot.end) in found
            assert opening_words(slot, each) in found
            assert closing_words(slot, each) in found


def test_a_name_is_no_formula(week: pd.DataFrame) -> None:
    name = r"$\frac{$ & <b>"
    oil = demo_evenings()[OIL]
    odd = replace(oil, material=replace(oil.material, name=name))
    with look():
        text = inline_svg(draw_week(week, [odd]), "a", "title", "words")
    assert r"$\frac{$ &amp; &lt;b&gt;</text>" in text


def test_days_without_a_slot_say_why(week: pd.DataFrame) -> None:
    with look():
        found = texts(draw_week(week, demo_evenings()[:1]))
    assert "rain too soon" in found  # Thursday, in the demo
    assert any(each.replace("\n", " ").startswith("rain within") for each in found)  # Friday


def test_days_that_nobody_can_answer_are_too_early_to_say() -> None:
    table = demo_forecast().iloc[:72]
    evenings = [evening(demo_site(), table, DEMO_NOW, "oil")]
    with look():
        found = texts(draw_week(week_weather(table, demo_site(), DEMO_NOW), evenings))
    assert "too early to say" in " ".join(found)


def test_every_limit_drawn_is_hatched_beyond(week: pd.DataFrame) -> None:
    oil = demo_evenings()[OIL]
    with look():
        axes = new_figure(300, 100).add_subplot()
        _, words = temperature(axes, week, oil, week)
        assert "oil: too cold below 4.4 °C" in words
        levels = [line.get_ydata()[0] for line in axes.lines if len(line.get_xdata()) == 2]
        assert 4.4 in levels
        beyond = [each for each in axes.collections if each.get_hatch()]
        assert len(beyond) == len(levels)
        # what is hatched lies below the limit of cold
        heights = np.concatenate([path.vertices[:, 1] for path in beyond[0].get_paths()])
        assert heights.max() <= 4.4 + 1e-6


def test_damp_bark_is_only_a_caution_for_copper(week: pd.DataFrame) -> None:
    with look():
        hatched = []
        for which in (OIL, COPPER):
            axes = new_figure(300, 100).add_subplot()
            _, words = water(axes, week, demo_evenings()[which], week)
            hatched.append(any(each.get_hatch() for each in axes.collections))
        assert hatched == [True, False]
        assert "caution" in words


def test_a_longer_rain_total_is_drawn_open(week: pd.DataFrame) -> None:
    coarse = week.assign(rain_mm=np.nan, rain_spread_mm=0.5)
    with look():
        axes = new_figure(300, 100).add_subplot()
        rain(axes, coarse, demo_evenings()[OIL], coarse)
        bars = [patch for patch in axes.patches if patch.get_height() == 0.5]
    assert len(bars) == len(week)
    assert not any(bar.get_fill() for bar in bars)


@pytest.mark.parametrize("track", TRACKS, ids=lambda track: str(track.__name__))
def test_tracks_stand_a_week_without_knowledge(track: Any, week: pd.DataFrame) -> None:
    numbers = week.columns.drop("night")
    blind = week.assign(**dict.fromkeys(numbers, np.nan))
    with look():
        name, _ = track(new_figure(300, 100).add_subplot(), blind, demo_evenings()[OIL], blind)
    assert name


def test_us_units_reach_the_picture(week: pd.DataFrame) -> None:
    evenings = evenings_of(demo_site(units="us"))
    with look():
        found = " ".join(texts(draw_week(week, evenings)))
    assert "too cold below 40 °F" in found  # Kansas State: 40 °F
    assert "too windy above 10 mph" in found  # 3 CCR 6960
    assert "°C" not in found


def test_a_clock_half_an_hour_off_has_its_hours_too() -> None:
    place = {"latitude": 27.2, "longitude": 77.0, "elevation": "200 m", "timezone": "Asia/Kolkata"}
    site = demo_site(place=place)
    with look():
        axes = draw_week(week_weather(demo_forecast(), site, DEMO_NOW), evenings_of(site)).axes[-1]
    # now is 21:30 there; the first noon is 14.5 h later
    hours = dict(
        zip(axes.get_xticks(), [t.get_text() for t in axes.get_xticklabels()], strict=True)
    )
    assert hours[14.5] == "12"


def test_no_minus_before_a_zero(week: pd.DataFrame) -> None:
    cold = week.assign(temp_c=np.linspace(-0.3, 20, len(week)), wood_c=np.nan)
    with look():
        axes = new_figure(300, 100).add_subplot()
        temperature(axes, cold, demo_evenings()[OIL], cold)
    assert axes.get_yticklabels()[0].get_text() == "0"


def test_the_words_for_who_does_not_see_it_name_every_slot() -> None:
    words = week_words(demo_evenings())
    slots = sum(len(each.slots) for each in demo_evenings())
    assert words.count("after: ") + words.count("until ") == slots


def test_a_split_week_loses_no_hour(week: pd.DataFrame) -> None:
    near, middle, far = split_week(week, (2, 4))
    assert near.index.append(middle.index).append(far.index).equals(week.index)
    assert [len(local_days(part)) for part in (near, middle, far)] == [3, 2, 3]
    assert len(split_week(near, (2, 4))) == 1


def test_parts_of_a_week_share_each_scale(week: pd.DataFrame) -> None:
    with look():
        parts = [
            draw_week(part, demo_evenings()[:1], width_px=298, whole=week)
            for part in split_week(week, (2, 4))
        ]
    scales = [[axes.get_ylim() for axes in figure.axes[1:]] for figure in parts]
    assert scales[0] == scales[1] == scales[2]
    # three days of their own would need less
    with look():
        alone = draw_week(split_week(week, (2, 4))[0], demo_evenings()[:1], width_px=298)
    assert [axes.get_ylim() for axes in alone.axes[1:]] != scales[0]


def test_the_sun_is_drawn_from_edge_to_edge(week: pd.DataFrame) -> None:
    morning = week.iloc[16:40]  # from 10:00
    with look():
        axes = new_figure(300, 100).add_subplot()
        sun(axes, morning, demo_evenings()[OIL], week)
    hours, height = map(np.asarray, axes.lines[0].get_data())
    assert hours[0] == 0
    assert hours[-1] == len(morning)
    assert 0 < height[0] < height[1]
    assert min(height) == 0


def test_a_long_name_has_a_line_of_its_own(week: pd.DataFrame) -> None:
    oil = demo_evenings()[OIL]
    long = replace(oil, material=replace(oil.material, name="a rather long name of lime sulfur"))
    with look():
        band: Any = draw_week(week, [long]).axes[0]
    (name,) = [text for text in band.texts if text.get_text() == long.material.name]
    row = name.xy[1]
    uprights = [line for line in band.lines if len(set(line.get_xdata())) == 1]
    assert uprights
    assert all(min(line.get_ydata()) > row for line in uprights)
    others = [text.get_position()[1] for text in band.texts if text is not name]
    assert not [y for y in others if abs(y - row) < 12]


def test_hours_of_neighbouring_days_stay_apart_on_a_phone() -> None:
    """A part of three whole days, as asked in the small hours: every day has its hours."""
    site, table, now = demo_site(), demo_forecast(), DEMO_NOW.normalize() + pd.Timedelta(hours=1)
    copper = evening(site, table, now, "copper")
    first = copper.slots[0]
    days = [
        pd.Timestamp(day, tz=now.tz) + pd.Timedelta(hours=8)
        for day in pd.date_range("2026-01-12", periods=3)
    ]
    slots = [replace(first, start=day, end=day + pd.Timedelta(hours=9)) for day in days]
    part = split_week(week_weather(table, site, now), (2, 4))[0]
    with look():
        figure = draw_week(part, [replace(copper, slots=slots)], width_px=NARROW_PX)
        figure.draw_without_rendering()
    hours = {hours_words(slot.start, slot.end) for slot in slots}
    boxes = [text.get_window_extent() for text in figure.axes[0].texts if text.get_text() in hours]
    assert len(boxes) == 3
    assert all(right.x0 - left.x1 > SMALL / 2 for left, right in itertools.pairwise(boxes))


def test_two_slots_of_a_day_do_not_print_over_each_other(week: pd.DataFrame) -> None:
    oil = demo_evenings()[OIL]
    first = oil.slots[0]
    later = replace(first, start=first.start + pd.Timedelta(hours=4),
                    end=first.end + pd.Timedelta(hours=4))  # fmt: skip
    with look():
        band = draw_week(week, [replace(oil, slots=[first, later])]).axes[0]
    places = {text.get_text(): text.get_position() for text in band.texts}
    one, other = (places[hours_words(slot.start, slot.end)] for slot in (first, later))
    assert one[0] == other[0]
    assert abs(one[1] - other[1]) > 11


def test_hours_words_end_at_24() -> None:
    day = pd.Timestamp("2026-01-13", tz="Europe/Athens")
    assert hours_words(day + pd.Timedelta(hours=22), day + pd.Timedelta(days=1)) == "22:00-24:00"
    half = pd.Timedelta(minutes=30)
    assert hours_words(day + half, day + pd.Timedelta(hours=2) + half) == "00:30-02:30"


def test_the_season_shows_every_winter_once_a_week() -> None:
    start = dt.date(2026, 1, 14)  # the demo's winters give none
    outlook = replace(demo_prospect().outlook, latest_start={80: start, 90: None})
    with look():
        figure = draw_season(outlook)
    rings = sum(len(line.get_xdata()) for line in figure.axes[0].lines if line.get_marker() == "o")
    assert rings == int((~np.isnan(outlook.weekly[:, 0])).sum())
    # a bar stands behind the rings, nothing is cut off at the axis
    assert all(line.get_zorder() < 2 for line in figure.axes[0].lines if line.get_linewidth() == 2)
    (diamond,) = [line for line in figure.axes[-1].lines if line.get_marker() == "D"]
    assert not diamond.get_clip_on()
    found = " ".join(" ".join(texts(figure)).split())
    assert f"{start.day} {start:%b}: 80 %" in found
    assert f"of {outlook.finish_coming.n} winters" in found
    assert f"in {round(outlook.finish_coming.share * outlook.finish_coming.n)} of" in season_words(
        outlook
    )


def test_a_narrow_season_counts_winters_in_figures() -> None:
    outlook = demo_prospect().outlook
    with look():
        panel = draw_season(outlook, width_px=298).axes[0]
    assert not [line for line in panel.lines if line.get_marker() == "o"]
    figures = [int(text.get_text()) for text in panel.texts if text.get_text().isdigit()]
    assert sum(figures) == int((~np.isnan(outlook.weekly[:, 0])).sum())
    assert "figures: winters" in " ".join(texts(panel.figure))


def test_the_backtest_never_hatches_more_rounds_than_were_made() -> None:
    result = _replay()
    for rule in result.results:
        soon, later = spoiled_rounds(rule, result.season.materials)
        assert 0 <= soon + later <= rule.rounds.mean()
    with look():
        found = texts(draw_backtest(result))
    assert {rule.name for rule in result.results} <= set(found)


def _week_file(path: Path) -> None:
    near = demo_forecast().iloc[:96]  # two days of it are ahead
    save_week_picture(path, near, [evening(demo_site(), near, DEMO_NOW, "oil")])


def _season_file(path: Path) -> None:
    save_season_picture(path, demo_prospect().outlook, "Varkessa Bank")


@cache
def _replay() -> SiteBacktest:
    return replayed(demo_site(), demo_winters(), DEMO_NOW, [Foresight(7)])


def _backtest_file(path: Path) -> None:
    save_backtest_picture(path, _replay())


@pytest.mark.parametrize("save", [_week_file, _season_file, _backtest_file])
def test_files_by_their_suffix(save: Callable[[Path], None], tmp_path: Path) -> None:
    save(tmp_path / "a.png")
    assert (tmp_path / "a.png").read_bytes().startswith(b"\x89PNG")
    save(tmp_path / "a.svg")
    first = (tmp_path / "a.svg").read_bytes()
    assert b"<svg" in first
    save(tmp_path / "a.svg")
    assert (tmp_path / "a.svg").read_bytes() == first
    with pytest.raises(InputError, match=r"a\.gif: unknown kind of picture; expected .png or .svg"):
        save(tmp_path / "a.gif")
    with pytest.raises(InputError, match="cannot write"):
        save(tmp_path / "no" / "a.png")


def test_an_inline_picture_is_themed_and_named(week: pd.DataFrame) -> None:
    with look("a"):
        figure = draw_week(week, demo_evenings())
        text = inline_svg(figure, "a", "A <title>", "what it says & more")
    assert not re.search(r"#[0-9a-f]{6}\b", text), "a colour that the page cannot change"
    assert all(f"var({name})" in text for name in list(VARIABLES.values())[:5])
    assert 'role="img" aria-labelledby="a-title a-text"' in text
    assert "A &lt;title&gt;" in text
    assert "what it says &amp; more" in text
    ids = re.findall(r' id="([^"]*)"', text)
    assert len(ids) == len(set(ids))
    assert set(re.findall(r"url\(#([^)]*)\)", text)) <= set(ids)
