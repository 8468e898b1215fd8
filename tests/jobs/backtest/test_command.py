"""``spraywindow backtest`` as the adviser types it."""

from __future__ import annotations

import csv
import datetime as dt
import io
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from spraywindow.sources.demo.samples import sample_path
from spraywindow.sources.past import archive as archived
from tests.command import command, demo
from tests.loopback import Asked, Loopback, Reply
from tests.season_values import winters

NOW = "2026-01-12T18:00"


@pytest.fixture
def few(few_winters: Path) -> list[object]:
    """Arguments for the demo's site as a file, and three of its winters."""
    return ["--site", sample_path("orchard.toml"), "--weather", few_winters, "--now", NOW]


def test_json_has_the_keys_that_are_promised() -> None:
    answer = demo("backtest", "--json").answer
    assert set(answer["winters"][0]) >= {"winter", "rounds", "spoiled"}
    assert set(answer["winters"][0]["spoiled"]) == {"24", "48", "72"}
    assert answer["rounds_wanted"] == 8
    for rule in answer["rules"]:
        assert set(rule) >= {"name", "rounds", "spoiled", "false_go", "missed_go"}
        assert set(rule["spoiled"]) == {"24", "48", "72"}
        assert set(rule["spoiled_by_material"]) == {"oil", "copper"}
    usual, wrong, *others = answer["rules"]
    for rule in others:  # nothing that cannot be wrong has a false go: null, not zero
        assert rule["false_go"] is None
        assert rule["missed_go"] is None
        assert rule["brier"] is None
        assert rule["unknown"] is None
        assert set(rule["against"]) == {usual["name"], wrong["name"]}
        assert set(rule["against"][usual["name"]]["effective"]) == {"mean", "standard_error"}
    assert usual["name"].endswith("usual errors")
    assert wrong["name"].endswith("and wrong rain")
    for rule in (usual, wrong):
        of_each = rule["false_go_by_material"]
        assert set(of_each) == {"oil", "copper"}
        # the mean of all hides that oil, which wants 72 dry hours, is the harder to foretell
        assert 0 < of_each["copper"] < rule["false_go"] < of_each["oil"] < 0.5
        assert rule["unknown"] >= 0
        assert rule["against"] == {}
        assert set(rule["effective"]) == {"oil", "copper"}
        assert set(rule["outside"]) == {"limits", "wet_wood", "drift"}
    held = sum(row["effective"] for row in answer["winters"])
    assert 12 * sum(usual["effective"].values()) == pytest.approx(held, abs=0.01)


def test_runs_of_other_random_numbers_are_a_range(few: Any) -> None:
    usual, *_ = demo("backtest", *few, "--json", "--errors", "2").answer["rules"]
    assert usual["runs"] == 2
    for key in ("rounds", "false_go", "missed_go", "brier"):
        low, high = usual["range"][key]
        assert low <= usual[key] <= high
    assert usual["range"]["brier"][0] < usual["range"]["brier"][1]


def test_the_rounds_of_every_rule_stand_in_the_winters(few: Any) -> None:
    answer = demo("backtest", *few, "--json", "--rounds").answer
    names = [rule["name"] for rule in answer["rules"]]
    assert len(names) == 6
    for row in answer["winters"]:
        assert list(row["made"]) == names
        ours = row["made"][names[0]]
        assert len(ours) == row["rounds"]
        for each in ours:
            assert set(each) == {"date", "start", "material"}
            assert each["start"].startswith(each["date"])
            assert "08:00" <= each["start"][11:16] <= "15:00"  # 08:00 to 17:00, two hours
    for rule in answer["rules"]:
        made = [each for row in answer["winters"] for each in row["made"][rule["name"]]]
        assert len(made) == rule["rounds"]
    assert "made" not in demo("backtest", *few, "--json").answer["winters"][0]


def test_a_season_of_five_weeks_holds_no_round_after_them(few: Any) -> None:
    answer = demo("backtest", *few, "--json", "--rounds", "--within", "5 weeks").answer
    for row in answer["winters"]:
        first = dt.date(int(row["winter"][:4]), 12, 2)  # the site's leaf fall
        for made in row["made"].values():
            days = [(dt.date.fromisoformat(each["date"]) - first).days for each in made]
            assert all(0 <= day < 35 for day in days)
    assert 0 < answer["rules"][-1]["rounds"] <= 3 * 8


def test_json_keeps_the_cautions_of_the_text(few: Any) -> None:
    answer = demo("backtest", *few, "--json").answer
    said = demo("backtest", *few).words
    assert len(answer["cautions"]) == 4
    assert all(caution in said for caution in answer["cautions"])
    assert "Fewer than ten winters" in answer["cautions"][-1]
    assert answer["notes"] == []


def test_the_dry_looking_day_is_said_to_know_a_day_of_rain(few: Any) -> None:
    said = demo("backtest", *few).words
    assert "The first dry-looking day knows the next 24 h of rain exactly" in said


def test_text_is_verdict_first_and_fits_the_screen() -> None:
    said = demo("backtest", "--full")
    assert said.code == 0
    assert "\n\nVarkessa Bank: by each evening's advice, " in said.out
    assert max(map(len, said.out.splitlines())) <= 80
    assert "nan" not in said.out
    order = ["Rounds a winter", "By material", "Tomorrow's advice", "Winter by winter",
             "The size of the usual errors"]  # fmt: skip
    places = [said.out.index(words) for words in order]
    assert places == sorted(places)
    assert "usual errors and wrong rain" in said.words


def test_ten_lines_say_what_a_client_asks(few: Any) -> None:
    """Common practice, no source: came off, washed off, a wrong go, the worst, simpler rules."""
    said = demo("backtest", *few)
    lines = said.out.split("\n\n")[0]
    assert len(lines.splitlines()) <= 10
    assert max(map(len, said.out.splitlines())) <= 80
    words = " ".join(lines.split())
    ours, *_, calendar, _dry, _rounds, best = demo("backtest", *few, "--json").answer["rules"]
    assert f"came off in {ours['finished']:.0f} of 3 past winters" in words
    assert f" of {ours['rounds']:.0f} went out and were washed off" in words
    assert f"({100 * ours['false_go']:.0f} %): some hour of it broke a limit" in words
    for rule in (ours, calendar, best):
        assert f" {rule['effective_within_limits'] / 3:.1f}" in words
    worst = min(demo("backtest", *few, "--json").answer["winters"], key=lambda w: w["effective"])
    assert f"Worst winter: {worst['winter']}" in words
    for unexplained in ("hindsight", "Brier", "hard limit", "false go", "effective"):
        assert unexplained not in words


def test_csv_has_a_row_for_each_rule_run_and_winter(few: Any) -> None:
    said = command("backtest", *few, "--csv")
    rows = list(csv.DictReader(io.StringIO(said.out)))
    assert len(rows) == (2 + 4) * 3
    assert all(int(row["effective"]) <= int(row["rounds"]) for row in rows)
    assert all(int(row["rain_within_24_h"]) <= int(row["rounds"]) for row in rows)


def test_the_picture_names_the_site_and_each_run(few: Any, tmp_path: Path) -> None:
    picture = tmp_path / "rules.svg"
    assert command("backtest", *few, "--errors", "2", "--plot", picture).code == 0
    drawn = picture.read_text(encoding="utf-8")
    assert "Varkessa Bank: 3 past winters, 2013/14 to 2015/16" in drawn
    assert "usual errors (1)" in drawn
    assert "usual errors (2)" in drawn


def test_a_record_after_now_holds_no_past_winter(few: Any) -> None:
    few[-1] = "2012-01-12T18:00"
    assert "no past winter in the record" in command("backtest", *few).err


def test_without_errors_nothing_is_measured(few: Any) -> None:
    said = command("backtest", *few, "--errors", "0")
    assert "was wrong is not told: these forecasts cannot be wrong" in said.words


def test_a_winter_that_has_not_ended_is_left_out(few: Any) -> None:
    few[-1] = "2015-12-20T18:00"
    answer = command("backtest", *few, "--json", "--errors", "0").answer
    assert [row["winter"] for row in answer["winters"] if row["usable"]] == ["2013/14", "2014/15"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--json", "--csv"], "--json and --csv together"),
        (["--rounds"], "--rounds without --json"),
        (["--within", "5 cups"], "--within"),
        (["--archived"], "--archived for the invented demo"),
        (["--days", "3"], "3 days never tells 72 rain-free hours"),
        (["--days", "40"], "--days"),
        (["--columns", "map.toml"], "--columns without --weather"),
        (["--plot", "rules.gif"], "unknown kind of picture"),
    ],
)
def test_mistakes_are_one_line(arguments: list[str], words: str) -> None:
    said = command("backtest", *arguments)
    assert words in said.refusal


def as_archived(asked: Asked) -> Reply:
    """The demo's own weather of some days, four years later, as if forecast without an error."""
    first, last = (pd.Timestamp(asked.query[key], tz="UTC") for key in ("start_date", "end_date"))
    table = shifted().reindex(pd.date_range(first, last + pd.Timedelta(hours=23), freq="h"))
    # what tells of an hour is stamped at its end
    before = table.shift(1)
    rh = 100 - 5 * (table["temp_c"] - table["dew_point_c"])
    columns = {
        "temperature_2m": (table["temp_c"], "°C"),
        "relative_humidity_2m": (rh.clip(1, 100), "%"),
        "wind_speed_10m": (table["wind_ms"], "m/s"),
        "precipitation": (before["rain_mm"], "mm"),
        "cloud_cover": (table["cloud"] * 100, "%"),
    }
    hourly: dict[str, Any] = {"time": [f"{t:%Y-%m-%dT%H:%M}" for t in table.index]}
    units = {"time": "iso8601"}
    for name, (values, unit) in columns.items():
        for day in range(1, 8):
            known = [None if pd.isna(value) else float(value) for value in values]
            hourly[f"{name}_previous_day{day}"] = known
            units[f"{name}_previous_day{day}"] = unit
    return Reply({"utc_offset_seconds": 0, "hourly": hourly, "hourly_units": units})


def shifted() -> pd.DataFrame:
    """Three winters of the demo, put nine years later: 2022/23 to 2024/25."""
    table = winters().loc["2013-09":"2016-08"]
    moved = table.set_axis(table.index + pd.DateOffset(years=9), axis=0)
    return moved[~moved.index.duplicated()].drop(columns=["solar_wm2", "gust_ms", "wind_from_deg"])


def test_archived_forecasts_are_replayed_in_the_winters_they_cover(
    few: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SPRAYWINDOW_CACHE", str(tmp_path / "cache"))
    monkeypatch.delenv("SPRAYWINDOW_OPENMETEO_KEY", raising=False)
    few[3] = tmp_path / "later.csv"
    shifted().to_csv(few[3])
    arguments = [*few, "--archived", "--errors", "0"]
    with Loopback(as_archived) as service:
        monkeypatch.setattr(archived, "BASE_URL", service.url)
        said = command("backtest", *arguments)
        answer = command("backtest", *arguments, "--json").answer
    text = said.words
    assert "Weather data by Open-Meteo.com, CC BY 4.0" in text
    assert "non-commercial" in text
    rules = {rule["name"]: rule for rule in answer["rules"]}
    replayed = rules["this rule, archived forecasts"]
    assert rules["this rule, 7 days known"]["winters"] == 3
    assert replayed["winters"] == 1  # 2024/25; that of 2023/24 began before the archive
    assert replayed["rounds"] > 0
    assert 0 <= replayed["false_go"] < 0.2  # forecast as it came, but for the humidity's rounding


def test_a_record_before_the_archive_is_refused(few: Any) -> None:
    said = command("backtest", *few, "--archived")
    assert "no archived forecasts for this record" in said.refusal
