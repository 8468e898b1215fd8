"""A site in Python gives the commands' own answers."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import FrozenInstanceError
from functools import cache
from typing import Any

import pandas as pd
import pytest

import spraywindow as sw
from tests.command import demo

MATERIALS = ("oil", "copper")


@cache
def site() -> sw.Site:
    return sw.read_site(sw.sample_path("orchard.toml"))


@cache
def answers() -> dict[str, sw.Answer[Any]]:
    forecast, winters = sw.demo_forecast(), sw.demo_winters()
    return {
        "slots": site().tonight(forecast, sw.DEMO_NOW, winters=winters),
        "season": site().season(winters, sw.DEMO_NOW, forecast=forecast),
        "backtest": site().backtest(winters),
    }


@pytest.mark.parametrize("command", ["slots", "season", "backtest"])
def test_it_is_the_answer_of_the_command(command: str) -> None:
    answer = answers()[command]
    told = answer.to_dict()
    assert told == demo(command, "--json").answer
    assert json.loads(json.dumps(told, allow_nan=False)) == told
    assert repr(answer) == demo(command).text.rstrip("\n")


def test_a_notebook_shows_the_text_as_text() -> None:
    shown = answers()["season"]._repr_html_()
    assert shown.startswith("<pre>Varkessa Bank, rows 1-4: ")
    assert shown.endswith("</pre>")
    site_of_markup = sw.Site(**(vars(site()) | {"name": "<b>Bank</b>"}))
    shown = site_of_markup.tonight(sw.demo_forecast(), sw.DEMO_NOW)._repr_html_()
    assert shown.startswith("<pre>&lt;b&gt;Bank&lt;/b&gt;: spray ")


@pytest.mark.parametrize("now", ["2026-01-12 18:00", "2026-01-13 07:00", "2026-01-14 12:00"])
def test_every_material_has_its_evening_the_first_as_the_command_has_it(now: str) -> None:
    at = pd.Timestamp(now, tz=site().place.timezone)
    answer = site().tonight(sw.demo_forecast(), at, winters=sw.demo_winters())
    assert sorted(each.material.name for each in answer.found) == sorted(MATERIALS)
    assert answer.to_dict() == demo("slots", "--now", now, "--json").answer


def test_answers_and_sites_are_values() -> None:
    with pytest.raises(FrozenInstanceError):
        answers()["slots"].found = ()  # type: ignore[misc]
    with pytest.raises(FrozenInstanceError):
        site().name = "Other"  # type: ignore[misc]


@pytest.mark.parametrize("name", MATERIALS)
def test_slots_of_scored_hours_have_the_chance_that_the_command_prints(name: str) -> None:
    weather = sw.read_weather(sw.sample_path("forecast.csv"))
    assert "forecast_from" not in weather.attrs  # so `now` alone says what is forecast
    here, now = site(), sw.DEMO_NOW
    evenings = {each.material.name: each for each in answers()["slots"].found}
    setting = evenings[name].site.setting  # of the trees that may be sprayed
    hours = sw.score_hours(weather, here.place, here.material(name), setting=setting, now=now)
    found = sw.find_slots(hours, here.job_h, access=here.access, now=now)
    told = demo("slots", "--material", name, "--json").answer["slots"]
    assert len(told) >= 2
    assert [(slot.start.isoformat(), round(slot.chance, 3)) for slot in found] == [
        (slot["start"], slot["chance"]) for slot in told
    ]


def test_a_time_without_zone_or_beside_the_weather_is_one_clear_line() -> None:
    weather, here = sw.demo_forecast(), site()
    naive, late = pd.Timestamp("2026-01-12 18:00"), pd.Timestamp("2027-01-12 18:00+00:00")
    asked: list[Callable[[pd.Timestamp], object]] = [
        lambda now: here.tonight(weather, now),
        lambda now: sw.score_hours(weather, here.place, sw.OIL, now=now),
    ]
    for ask in asked:
        with pytest.raises(sw.InputError, match="now: the time has no zone; expected tz-aware"):
            ask(naive)
        with pytest.raises(sw.WeatherError, match="the weather does not hold the time"):
            ask(late)
    for question in (here.season, here.backtest):
        with pytest.raises(sw.InputError, match="the time has no zone"):
            question(sw.demo_winters(), naive)
