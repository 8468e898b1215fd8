"""One block flowers on one date, whichever command is asked."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd
import pytest

from spraywindow.sources.demo.samples import demo_forecast, demo_winters, sample_path
from tests.command import command, demo

ROWS = "rows 1-4"


def _of_feed(answer: dict[str, object]) -> dt.date:
    blocks = answer["blocks"]
    assert isinstance(blocks, list)
    return next(dt.date.fromisoformat(b["flowering"]) for b in blocks if b["name"] == ROWS)


def _of_copper(answer: dict[str, object]) -> dt.date:
    """Copper ends on the day before the first flower."""
    choices = answer["choices"]
    assert isinstance(choices, list)
    last = next(each["last_day"] for each in choices if each["material"] == "copper")
    return dt.date.fromisoformat(last) + dt.timedelta(days=1)


def test_the_demo_has_one_date_of_flowering() -> None:
    season = demo("season", "--json").answer
    day = dt.date.fromisoformat(season["first_flower"]["day"])
    assert day == dt.date(2026, 3, 1)  # the usual flowering of its site file
    assert _of_feed(demo("feed", "--json").answer) == day
    assert _of_copper(demo("visits", "--json").answer) == day
    assert dt.date.fromisoformat(season["ends"]["copper"]["last"]) == day - dt.timedelta(days=1)


@pytest.mark.parametrize("usual", ['"20 Feb"', None])
def test_a_site_with_its_winters_has_one_date_of_flowering(
    tmp_path: Path, usual: str | None
) -> None:
    text = sample_path("orchard.toml").read_text()
    line = f"usual_flowering = {usual}\n" if usual else ""
    text = text.replace('usual_flowering = "1 Mar" ', line + "#")
    site, past, ahead = (tmp_path / name for name in ("site.toml", "past.csv", "ahead.csv"))
    site.write_text(text)
    winters = demo_winters()
    # the winter at hand is known up to the evening: one of the past ones again
    again = winters.loc["2013-09-01":"2014-01-11"]
    again = again.set_axis(again.index + pd.DateOffset(years=12))
    before = winters[winters.index < again.index[0]]
    for table, path in ((pd.concat([before, again]), past), (demo_forecast(), ahead)):
        table.to_csv(path, index_label="time")
    now = ("--now", "2026-01-12T18:40")
    season = command(
        "season", "--site", site, "--weather", past, "--forecast", ahead, *now, "--json"
    ).answer
    found = dt.date.fromisoformat(season["first_flower"]["day"])
    assert season["first_flower"]["assumed"] == (usual is None)
    beside = ("--site", site, "--weather", ahead, "--winters", past, *now, "--json")
    assert _of_feed(command("feed", *beside).answer) == found
    assert _of_copper(command("visits", *beside).answer) == found
