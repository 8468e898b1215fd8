"""Verdicts against a slow, plain oracle written from the printed rules."""

from __future__ import annotations

from collections import Counter

import pandas as pd
import pytest

from spraywindow.spray.catalogue import CATALOGUE
from spraywindow.spray.conditions import Setting
from spraywindow.spray.hours import score_hours, sun_of
from tests.hours_oracle import verdicts
from tests.weeks import PLACE, random_weather

NEIGHBOURS = (20.0, 350.0)


@pytest.mark.parametrize("material", ["oil", "copper"])
def test_verdicts_equal_those_of_the_printed_rules(material: str) -> None:
    seen: Counter[str] = Counter()
    for seed in range(36):
        season = ("2020-11-20", "2021-06-10", "2021-02-20", "2021-04-25")[seed // 3 % 4]
        table = random_weather(seed, 240, (0.0, 0.002, 0.02)[seed % 3], season)
        table = table.drop(columns="cloud")
        sun = sun_of(pd.DatetimeIndex(table.index), PLACE)
        rows = list(zip(sun.elevation_deg, sun.hours_from_rise_or_set, sun.clear_wm2, strict=True))
        begins = (0, 100, 240)[seed % 3]
        expected = verdicts(table, rows, material, NEIGHBOURS, begins)
        scored = score_hours(
            table,
            PLACE,
            CATALOGUE[material],
            stage=0,
            setting=Setting(neighbours_deg=NEIGHBOURS),
            forecast_from=table.index[0] + pd.Timedelta(hours=begins),
        )
        wrong = scored[scored["verdict"].astype(str) != expected]
        assert wrong.empty, (seed, wrong.iloc[0])
        seen.update(expected)
    assert min(seen[verdict] for verdict in ("go", "no-go", "unknown")) > 100, seen
