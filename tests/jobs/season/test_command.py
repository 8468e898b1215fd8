"""``spraywindow season`` as the adviser types it."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd
import pytest

from spraywindow.sources.demo.samples import sample_path
from tests.command import Said, command, demo
from tests.season_values import winters


def site_file(folder: Path, **replaced: str) -> Path:
    text = sample_path("orchard.toml").read_text(encoding="utf-8")
    for old, new in replaced.items():
        text = text.replace({"leaf_fall": "leaf_fall = 2025-12-02"}.get(old, old), new)
    path = folder / "site.toml"
    path.write_text(text, encoding="utf-8")
    return path


def opening(said: Said) -> str:
    """What comes before the first empty line."""
    return said.out.split("\n\n")[0]


def test_ten_lines_say_what_a_client_asks() -> None:
    """Common practice, no source: fit, start, wait, what helps, how sure, what is next, failed."""
    said = demo("season")
    lines = opening(said).splitlines()
    assert len(lines) <= 10
    assert max(map(len, said.out.splitlines())) <= 80
    asked = [
        "Varkessa Bank, rows 1-4: do the 5 rounds left fit from tomorrow", "Start by",
        "A week's wait", "What helps most", "How sure", "Next fit morning", "Where it failed",
    ]  # fmt: skip
    words = " ".join(opening(said).split())
    places = [words.index(each) for each in asked]
    assert places == sorted(places)
    for unexplained in ("hindsight", "95 %", "n =", "as it comes", "effective", "policy"):
        assert unexplained not in words
    answer = demo("season", "--json").answer
    fit, dry = (answer["finish"][key] for key in ("as_it_comes", "as_it_comes_effective"))
    assert f"In {round(12 * fit['share'])} of 12 past winters, by each evening's" in words
    assert f"in {round(12 * dry['share'])} of 12 every round also stayed dry" in words
    assert f"from {100 * fit['low']:.0f} to {100 * fit['high']:.0f} %" in words
    short = [row["winter"] for row in answer["winters"] if row["finished"]["as_it_comes"] is False]
    assert all(winter in words for winter in short[:3])


@pytest.mark.parametrize("job", ["season", "backtest"])
@pytest.mark.parametrize(
    ("missing", "more", "said"),
    [
        ({"rain_mm": "2015-01", "wind_ms": "2014-01"}, {}, "2 past winters"),
        ({"rain_mm": "2015-01", "wind_ms": "2014-01"}, {"now": "2026-04-20T18:00"}, "2 past wint"),
        ({"rain_mm": "20"}, {}, "no winter of the record can be"),
        ({}, {"rounds = 3": "rounds = 1", "rounds = 5": "rounds = 2"}, ""),
    ],
)
def test_ten_lines_are_enough_whatever_is_left_out_over_or_done(
    tmp_path: Path, job: str, missing: dict[str, str], more: dict[str, str], said: str
) -> None:
    table = winters().loc["2013-09":"2017-08"].copy()
    for column, month in missing.items():
        table.loc[table.index.strftime("%Y-%m").str.startswith(month), column] = float("nan")
    table.to_csv(tmp_path / "record.csv")
    now = more.get("now", "2026-01-12T18:00")
    changed = {old: new for old, new in more.items() if old != "now"}
    long_name = {"Varkessa Bank": "Varkessa Bank above the old mill road and the lower ditch"}
    at = ["--now", now, "--no-forecast"] * (job == "season")
    told = command(job, "--site", site_file(tmp_path, **long_name, **changed), "--weather",
                   tmp_path / "record.csv", *at)  # fmt: skip
    assert told.code == 0, told.err
    lines = opening(told).splitlines()
    assert 0 < len(lines) <= 10
    words = " ".join(" ".join(lines).split())
    assert said in words
    if job == "season":
        assert ("this season is over; the next one begins about Wed 2 Dec 2026" in words) == (
            now > "2026-04"
        )
        assert ("no round is owed" in words) == (not missing)


def test_verdict_first_then_numbers_then_reasons() -> None:
    said = demo("season", "--full")
    assert said.code == 0
    assert said.out.startswith(
        f"{opening(demo('season'))}\n\nVarkessa Bank, rows 1-4: the 5 rounds"
    )
    order = [
        "Start by:",
        "Usable mornings a week",
        "Share of 12 winters",
        "What stops",
        "Leaf-curl",
    ]
    places = [said.out.index(words) for words in order]
    assert places == sorted(places)
    assert max(map(len, said.out.splitlines())) <= 80
    assert "nan" not in said.out


def test_season_json_has_the_keys_that_are_promised() -> None:
    answer = demo("season", "--json").answer
    assert set(answer["season"]) >= {"start", "end"}
    winter = answer["winters"][0]
    assert set(winter) == {
        "winter", "usable", "why_not", "usable_mornings", "rounds", "effective", "finished",
    }  # fmt: skip
    assert set(winter["usable_mornings"]) == {"oil", "copper"}
    for part in ("hindsight", "as_it_comes"):
        assert set(answer["finish"][part]) == {"share", "low", "high", "n"}
        assert part in winter["rounds"]
        assert part in winter["finished"]
    assert set(answer["latest_start"]) == {"80", "90"}
    # oil on 3 January and five days apart; Tuesday is the first slot of the demo's forecast
    assert answer["next"][0]["allowed"] == "2026-01-13"
    assert answer["next"][0]["morning"] == "2026-01-13"
    assert {"limit", "days_gained_without_it"} <= set(answer["limits"][0])
    assert set(answer["dry_spell"][0]) == {"hours", "usable_mornings", "finish_share"}
    assert answer["finish"]["forecast_spliced"] is True
    assert answer["cautions"] == [
        "One forecast stands in front of every winter: the range is that of the winters only."
    ]
    assert {"copper_on_wood", "rain_unknown_h", "covered_without_rounds"} <= set(
        answer["leaf_curl"]
    )


def test_the_interval_is_named_once_and_the_mornings_are_explained() -> None:
    said = demo("season", "--full").words
    assert re.search(r"winters \(\d+ %, in the long run \d+-\d+ %\) as it comes", said)
    assert said.count("In the long run: what so few winters leave open, 19 times in 20.") == 1
    assert "as `slots` would call them the evening before" in said


def test_copper_that_is_done_is_said_to_be_on_the_wood() -> None:
    # copper on 6 and 16 December; the record ends before, the forecast begins on 10 January
    curl = demo("season", "--json").answer["leaf_curl"]
    assert 0 < curl["copper_on_wood"] <= 1
    assert curl["rain_unknown_h"] > 500
    assert 0 < curl["covered_without_rounds"] < curl["covered_as_it_comes"]
    said = demo("season", "--full").words
    share = round(100 * curl["copper_on_wood"])
    assert (
        f"Of a fresh deposit, at most {share} % is on the wood on Tue 13 Jan from the rounds done "
        f"(rain is unknown in {curl['rain_unknown_h']} h since)"
    ) in said
    assert "The rounds made as it comes cover at most" in said


def test_each_material_has_its_last_day_with_its_range() -> None:
    answer = demo("season", "--json").answer
    assert set(answer["ends"]) == {"oil", "copper"}
    for end in answer["ends"].values():
        assert end["low"] < end["last"] <= end["high"]  # early flowers bound oil
    flower = answer["first_flower"]
    assert flower["low"] < flower["day"] < flower["high"]
    assert flower["error_days"] == 5  # Drepper et al. 2020
    assert answer["ends"]["oil"]["last"] < answer["ends"]["copper"]["last"]
    assert answer["season"]["end"] == answer["ends"]["copper"]["last"]
    assert answer["blocks"][0]["ends"] == answer["ends"]
    said = demo("season").words
    assert re.search(
        r"Last usable day about: oil \d+ \w{3} \(\d+ \w{3} to \d+ \w{3}\), copper \d",
        said,
    )
    assert "the first flower came in 6 to 9 years of 10" in said


def test_before_leaf_fall_and_after_the_season(tmp_path: Path, few_winters: Path) -> None:
    site = site_file(tmp_path, **{"done = [2026-01-03]": "done = []",
                                  "done = [2025-12-06, 2025-12-16]": "done = []"})  # fmt: skip
    asked = ("season", "--site", site, "--weather", few_winters, "--now")
    before = command(*asked, "2025-11-01T18:00", "--forecast", sample_path("forecast.csv"))
    assert "2025-11-01" in before.refusal  # the forecast does not hold that evening
    after = command(*asked, "2026-04-20T18:00", "--no-forecast")
    assert "this season is over" in after.text


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--columns", "map.toml"], "--columns without --weather"),
        (["--dry-spell", "48"], "a number without its unit"),
        (["--now", "yesterday-ish"], "--now: not a time"),
        (["--plot", "season.gif"], "unknown kind of picture"),
        (["--plot", "no/such/season.png"], "cannot write"),
        (["--forecast-columns", "map.toml"], "--forecast-columns without --forecast"),
        (["--site", "a.toml", "--site", "b.toml", "--plot", "s.png"], "draw one site at a time"),
    ],
)
def test_mistakes_are_one_line(arguments: list[str], words: str) -> None:
    said = command("season", *arguments)
    assert words in said.refusal


def test_no_leaf_fall_is_a_clear_error(tmp_path: Path, few_winters: Path) -> None:
    site = site_file(tmp_path, leaf_fall="")
    said = command("season", "--site", site, "--weather", few_winters,
                   "--now", "2026-01-12T18:00", "--no-forecast")  # fmt: skip
    wanted = 'no leaf fall; expected leaf_fall = a date seen, or usual_leaf_fall = "1 Dec"'
    assert wanted in said.refusal


def test_one_winter_is_said_to_be_few(tmp_path: Path) -> None:
    record = tmp_path / "one.csv"
    winters().loc["2015-09":"2016-08"].to_csv(record)
    said = command("season", "--site", site_file(tmp_path), "--weather", record,
                   "--now", "2026-01-12T18:00", "--no-forecast", "--full")  # fmt: skip
    assert said.code == 0
    assert "1 of 1 winters" in said.out or "0 of 1 winters" in said.out
    assert "No latest start is given: it takes 10 winters." in said.out
    assert "Fewer than ten winters" in said.out


def test_the_days_that_the_rounds_take_are_told() -> None:
    answer = demo("season", "--json").answer["days"]
    assert set(answer) == {"first_to_last_round", "n", "fit_in_35_days"}
    assert answer["first_to_last_round"] >= 11  # two oils and three coppers: 5 d and 2 d apart
    assert answer["fit_in_35_days"]["n"] == 12
    said = demo("season", "--full").words
    assert f"it takes {answer['first_to_last_round']:.0f} days" in said
    assert "If the season closed after 35 days, all 5 would fit in" in said


def test_several_sites_side_by_side(tmp_path: Path, few_winters: Path) -> None:
    one = site_file(tmp_path)
    other = tmp_path / "other.toml"
    other.write_text(one.read_text(encoding="utf-8").replace("Varkessa Bank", "Second Bank"))
    arguments = ["--site", one, "--site", other, "--weather", few_winters,
                 "--now", "2026-01-12T18:00", "--no-forecast"]  # fmt: skip
    answers = command("season", *arguments, "--json").answer
    assert [answer["site"] for answer in answers] == ["Varkessa Bank", "Second Bank"]
    assert answers[0]["finish"] == answers[1]["finish"]
    said = command("season", *arguments)
    assert said.out.index("Varkessa Bank, rows 1-4: do the 5") < said.out.index(
        "Second Bank, rows 1-4: do the 5"
    )


def test_of_several_sites_every_mistake_is_told_in_one_line(
    tmp_path: Path, few_winters: Path
) -> None:
    bad = site_file(tmp_path, leaf_fall="")
    said = command("season", "--site", bad, "--site", tmp_path / "none.toml", "--weather",
                   few_winters, "--now", "2026-01-12T18:00")  # fmt: skip
    assert "(1) " in said.refusal
    assert "no leaf fall" in said.refusal
    assert "(2) " in said.refusal
    assert "none.toml" in said.refusal


def test_a_winter_of_missing_rain_is_left_out_and_bounds_the_share(tmp_path: Path) -> None:
    table = winters().loc["2013-09":"2017-08"].copy()
    table.loc["2015-01":"2015-02", "rain_mm"] = float("nan")
    table.to_csv(tmp_path / "record.csv")
    arguments = ["--site", site_file(tmp_path), "--weather", tmp_path / "record.csv",
                 "--now", "2026-01-12T18:00", "--no-forecast"]  # fmt: skip
    answer = command("season", *arguments, "--json").answer
    left_out = [row for row in answer["winters"] if not row["usable"]]
    assert [row["winter"] for row in left_out] == ["2014/15"]
    assert "rain unknown" in left_out[0]["why_not"]
    assert left_out[0]["finished"] == {"hindsight": None, "as_it_comes": None}
    low, high = answer["finish"]["bounds_with_winters_left_out"]
    share = answer["finish"]["as_it_comes"]
    hits = round(share["share"] * 3)
    assert (low, high) == (hits / 4, (hits + 1) / 4)
    said = command("season", *arguments, "--full").words
    assert "Winters left out: 1, for missing rain, probably wetter ones: had these failed" in said
    assert (
        f"1 more, left out for missing rain, would make it {100 * low:.0f} to {100 * high:.0f} %"
    ) in command("season", *arguments).words


def test_a_winter_without_wind_is_no_wetter_one(tmp_path: Path) -> None:
    table = winters().loc["2013-09":"2017-08"].copy()
    table.loc["2015-01":"2015-02", "wind_ms"] = float("nan")
    table.to_csv(tmp_path / "record.csv")
    arguments = ["--site", site_file(tmp_path), "--weather", tmp_path / "record.csv",
                 "--now", "2026-01-12T18:00", "--no-forecast"]  # fmt: skip
    said = command("season", *arguments, "--full").words
    assert "Winters left out: 1; why stands below. " in said
    assert "hours without wind" in said
    assert "wetter" not in said
    answer = command("season", *arguments, "--json").answer
    assert answer["finish"]["forecast_spliced"] is False
    assert answer["cautions"] == ["Fewer than ten winters: read the shares as a hint, not as odds."]
    low, high = answer["finish"]["bounds_with_winters_left_out"]
    assert low == high == pytest.approx(answer["finish"]["as_it_comes"]["share"], abs=1e-4)


def test_a_maximum_of_metallic_copper_is_named_and_caps_what_is_owed(
    tmp_path: Path, few_winters: Path
) -> None:
    site = site_file(tmp_path, **{
        "[program]\n": "[program]\ncopper_maximum_kg_ha = 4.0\n",
        "rounds = 5\n": "rounds = 5\ncopper_per_round_kg_ha = 1.0\n",
        "done = [2025-12-06, 2025-12-16]": "done = []",
        "done = [2026-01-03]": "done = []",
    })  # fmt: skip
    arguments = ["--site", site, "--weather", few_winters,
                 "--now", "2025-11-20T18:00", "--no-forecast"]  # fmt: skip
    answer = command("season", *arguments, "--json").answer
    assert [entry["owed"] for entry in answer["program"]] == [3, 4]
    assert "copper: the maximum of metallic copper, 4 kg/ha, leaves 4 of 5 owed" in answer["notes"]
    assert answer["finish"]["hindsight"]["share"] > 0.5
    assert "do the 7 rounds left fit" in command("season", *arguments).out


def test_more_rounds_done_than_asked_for_is_noted(tmp_path: Path, few_winters: Path) -> None:
    done = "done = [2025-12-03, 2025-12-10, 2025-12-20, 2026-01-03]"
    site = site_file(tmp_path, **{"done = [2026-01-03]": done})
    said = command("season", "--site", site, "--weather", few_winters,
                   "--now", "2026-01-12T18:00", "--no-forecast")  # fmt: skip
    assert said.code == 0
    assert "oil: 4 rounds done, 3 asked for" in said.out


def test_a_program_that_no_winter_holds_says_by_how_much(tmp_path: Path, few_winters: Path) -> None:
    site = site_file(tmp_path, **{"rounds = 3": "rounds = 60"})
    arguments = [
        "--site",
        site,
        "--weather",
        few_winters,
        "--now",
        "2026-01-12T18:00",
        "--no-forecast",
    ]
    said = command("season", *arguments).words
    found = re.search(r"would have made (\d+) of 62 rounds, (\d+) short", said)
    assert found is not None
    assert int(found[1]) + int(found[2]) == 62


def test_a_round_done_tomorrow_is_refused(tmp_path: Path, few_winters: Path) -> None:
    site = site_file(tmp_path, **{"done = [2026-01-03]": "done = [2026-02-03]"})
    said = command("season", "--site", site, "--weather", few_winters,
                   "--now", "2026-01-12T18:00", "--no-forecast")  # fmt: skip
    assert "oil: done on a day to come" in said.refusal


def test_a_record_without_rain_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "record.csv"
    winters().loc["2013-09":"2016-08"].drop(columns="rain_mm").to_csv(path)
    said = command("season", "--site", site_file(tmp_path), "--weather", path,
                   "--now", "2026-01-12T18:00", "--no-forecast")  # fmt: skip
    assert "no column rain_mm" in said.refusal


@pytest.mark.parametrize("name", ["season", "backtest"])
def test_half_a_winter_is_left_out_by_name_and_nothing_is_claimed(
    tmp_path: Path, name: str
) -> None:
    record = tmp_path / "half.csv"
    winters().loc["2015-12-20":"2016-01-20"].to_csv(record)
    more = ["--no-forecast"] if name == "season" else []
    said = command(name, "--site", site_file(tmp_path), "--weather", record,
                   "--now", "2026-01-12T18:00", *more)  # fmt: skip
    assert said.code == 0
    assert "2015/16" in said.out
    assert "left out" in said.out
    assert "no winter of the record can be" in said.words
    assert "nan" not in said.out


def test_what_is_done_comes_from_the_record_too(tmp_path: Path, few_winters: Path) -> None:
    site = site_file(tmp_path)
    more = ("--site", site, "--weather", few_winters, "--no-forecast",
            "--now", "2026-01-12T18:00", "--json")  # fmt: skip
    before = command("season", *more).answer["program"][0]
    done = command(
        "log", "add", "--site", site, "--material", "oil", "--product", "Orchard oil A",
        "--start", "2026-01-10 10:00", "--now", "2026-01-12 18:00", "--no-fetch",
    )  # fmt: skip
    assert done.code == 0
    said = command("season", *more)
    after = said.answer["program"][0]
    assert (before["owed"], after["owed"]) == (2, 1)
    assert "2026-01-10" in after["done"]
    assert "From the record" in said.err


def test_the_picture_names_the_site_and_its_winters(tmp_path: Path) -> None:
    picture = tmp_path / "season.svg"
    said = command("season", "--plot", picture)
    assert said.code == 0
    drawn = picture.read_text(encoding="utf-8")
    assert "Varkessa Bank: the season from Tue 13 Jan" in drawn
    assert "By 12 past winters, 2013/14 to 2024/25." in drawn


def test_winters_and_forecast_may_have_columns_of_their_own(
    tmp_path: Path, few_winters: Path
) -> None:
    ahead = pd.read_csv(sample_path("forecast.csv")).rename(columns={"temp_c": "Air"})
    ahead.to_csv(tmp_path / "ahead.csv", index=False)
    layout = [
        '[time]\ncolumn = "time"\ntimezone = "UTC"\n[temp_c]\ncolumn = "Air"\nunit = "degC"\n'
    ]
    units = {"dew_point_c": "degC", "wind_ms": "m/s", "rain_mm": "mm"}
    layout += [f'[{name}]\ncolumn = "{name}"\nunit = "{unit}"\n' for name, unit in units.items()]
    (tmp_path / "map.toml").write_text("".join(layout), encoding="utf-8")
    arguments = ["--site", site_file(tmp_path), "--weather", few_winters,
                 "--now", "2026-01-12T18:00", "--forecast", tmp_path / "ahead.csv"]  # fmt: skip
    assert "Air" in command("season", *arguments).err
    said = command("season", *arguments, "--forecast-columns", tmp_path / "map.toml")
    assert said.code == 0
    assert "No forecast" not in said.err
