"""Copper left of the rounds done: by hand, with half a deposit lost to 25 mm (Ontario 2020)."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from spraywindow.program.entry import MaterialRounds
from spraywindow.sources.demo.samples import DEMO_PLACE
from spraywindow.winters.copper import CopperLeft, copper_left

FIRST = dt.date(2026, 1, 13)


def day(number: int) -> dt.date:
    return dt.date(2026, 1, number)


def weather(**rain_on: float) -> pd.DataFrame:
    """Dry from 1 to 20 January but for rain at 20:00 UTC of some days, as ``d5=25.0``."""
    hours = pd.date_range("2026-01-01", "2026-01-20 23:00", freq="h", tz="UTC")
    table = pd.DataFrame({"rain_mm": 0.0}, hours)
    for name, mm in rain_on.items():
        table.loc[pd.Timestamp(2026, 1, int(name[1:]), 20, tz="UTC"), "rain_mm"] = mm
    return table


def left(entry: MaterialRounds, *tables: pd.DataFrame) -> CopperLeft:
    return copper_left(entry, FIRST, DEMO_PLACE, tables or (weather(d5=25.0, d14=99.0),))


def copper(*done: int, parts: tuple[tuple[int, float], ...] = ()) -> MaterialRounds:
    return MaterialRounds(
        "copper", 5, 5, done=tuple(map(day, done)),
        partly_done=tuple((day(number), share) for number, share in parts),
    )  # fmt: skip


def test_the_rain_known_since_the_latest_round_takes_its_share() -> None:
    assert left(copper()) == CopperLeft(0.0, 0)
    assert left(copper(2)) == CopperLeft(0.5, 0)  # what falls from day 0 on is the calendar's
    assert left(copper(2, 8)) == CopperLeft(1.0, 0)
    assert left(copper(15)) == CopperLeft(0.0, 0)
    two = weather(d5=25.0, d9=25.0)
    assert left(copper(2), two).share == pytest.approx(0.25)


@pytest.mark.parametrize(
    ("done", "parts", "share"),
    [
        ((2,), ((8, 0.5),), 0.75),  # half of the trees afresh
        ((), ((8, 0.5),), 0.5),  # the others bare
        ((2,), ((8, 0.5), (9, 0.5)), 1.0),  # the rest on the next day
        ((2,), ((4, 0.5), (9, 0.5)), 0.75),
        ((), ((2, 0.5), (8, 0.75)), 0.875),  # the rest, and a quarter again of all at 0.75
        ((8,), ((2, 0.5),), 1.0),  # a whole round is on all
    ],
)
def test_a_part_of_a_round_is_on_its_trees_only(
    done: tuple[int, ...], parts: tuple[tuple[int, float], ...], share: float
) -> None:
    """By hand; the trees left out by the parts before come first (common practice, no source)."""
    wanted = share if share != 0.875 else (0.75 * 0.75 + 0.25 * 1.0)
    assert left(copper(*done, parts=parts)).share == pytest.approx(wanted)


def test_unknown_rain_takes_nothing_and_is_counted() -> None:
    holes = weather(d5=25.0)
    holes.loc["2026-01-07 00:00":"2026-01-07 09:00", "rain_mm"] = np.nan
    assert left(copper(2), holes) == CopperLeft(0.5, 10)
    # since a whole round nothing is unknown, whatever was before
    assert left(copper(2, 8), holes) == CopperLeft(1.0, 0)
    assert left(copper(2, parts=((8, 0.5), (9, 0.5))), holes).unknown_h == 0
    assert left(copper(2, parts=((8, 0.5),)), holes).unknown_h == 10
    early = weather(d5=25.0).loc[:"2026-01-11"]
    behind = left(copper(2), early)
    assert behind.share == 0.5
    assert behind.unknown_h == 22  # of 12 January, which ends at 22:00 UTC


def test_the_forecast_knows_on_where_the_record_ends() -> None:
    record = weather(d5=25.0).loc[:"2026-01-06"]
    ahead = weather(d5=99.0, d9=25.0).loc["2026-01-04":]
    assert left(copper(2), record, ahead) == CopperLeft(pytest.approx(0.25), 0)


def test_a_longer_total_counts_too() -> None:
    table = weather()
    hours = pd.date_range("2026-01-05 06:00", periods=12, freq="h", tz="UTC")
    table.loc[hours, "rain_mm"] = np.nan
    table.loc[hours, ["rain_total_mm", "rain_total_h", "rain_total_hour"]] = np.transpose(
        [np.full(12, 25.0), np.full(12, 12.0), np.arange(12.0)]
    )
    assert left(copper(2), table) == CopperLeft(pytest.approx(0.5), 0)
