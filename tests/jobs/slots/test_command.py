"""``spraywindow slots``: the demo, an own site and weather file, and every option."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

from tests.command import command, demo
from tests.site_files import NOW, SITE, steady, write_mapped


@pytest.fixture
def own(tmp_path: Path) -> list[str | Path]:
    """Options that name an own site file, weather file, column map and time."""
    path = tmp_path / "site.toml"
    path.write_text(SITE, encoding="utf-8")
    weather, column_map = write_mapped(tmp_path, steady())
    return ["--site", path, "--weather", weather, "--columns", column_map, "--now", NOW]


def test_the_demo_says_that_it_is_one_and_answers_first_in_one_line() -> None:
    said = demo("slots")
    assert "demo" in said.err
    assert said.text.startswith("Varkessa Bank: spray oil ")
    assert "demo" in said.out.split("Weather: ")[1]
    for part in ("Slots of the coming week", "Day by day", "early apricots: open flowers"):
        assert part in said.out


def test_own_site_and_weather_through_a_column_map(own: list[str | Path]) -> None:
    said = command("slots", *own)
    assert said.text.startswith("Lower Terrace: spray oil ")
    assert said.err == ""
    assert "Weather: weather.csv" in said.out


def test_json_is_the_same_answer_as_the_text(own: list[str | Path]) -> None:
    text = command("slots", *own).text
    out = command("slots", *own, "--json", "--hours").answer
    start, end = (out["tomorrow"][key][11:16] for key in ("start", "end"))
    assert f"spray oil {start}-{end} tomorrow" in text.splitlines()[0]
    assert out["hours"][0]["time"] == "2026-01-12T18:00:00-08:00"


def test_csv(own: list[str | Path]) -> None:
    slots = command("slots", *own, "--csv").text.splitlines()
    assert slots[0].startswith("start,end,best_start")
    assert len(slots) > 1
    hours = command("slots", *own, "--csv", "--hours").text.splitlines()
    assert hours[0].startswith("time,verdict,margin,held_by")


def test_a_limit_that_no_source_tells_is_said_on_the_advice_and_may_be_a_must(
    own: list[str | Path],
) -> None:
    site = Path(own[1])
    advice = command("slots", *own).text.split("\n\n")[0]
    assert "unknown whether: chance of rain within 24 h, too gusty." in " ".join(advice.split())
    assert command("slots", *own, "--exit-code").code == 0
    site.write_text(f'required = ["gusts"]\n{SITE}', encoding="utf-8")
    said = command("slots", *own)
    line = "unknown tomorrow (Tue 13 Jan), oil: required, but the weather does not tell: gusts."
    assert line in said.words
    assert {row["verdict"] for row in command("slots", *own, "--json").answer["days"]} == {
        "unknown"
    }
    assert command("slots", *own, "--exit-code").code == 3
    # what stops without the gusts stays a no-go; a file that tells them is judged by them
    write_mapped(site.parent, steady(wind_ms=15.0))
    assert "no-go tomorrow" in command("slots", *own).text
    for gust, verdict in ((3.0, "spray oil"), (15.0, "no-go tomorrow"), (None, "unknown")):
        weather = site.with_name("gusts.csv")
        steady(gust_ms=gust).to_csv(weather, date_format="%Y-%m-%dT%H:%MZ")
        said = command("slots", "--site", site, "--weather", weather, "--now", NOW)
        assert verdict in said.text.splitlines()[0]
    site.write_text(f'required = ["gust"]\n{SITE}', encoding="utf-8")
    assert "required[1]: no limit of this name" in command("slots", *own).refusal


def test_material_by_name(own: list[str | Path]) -> None:
    assert ": spray copper " in command("slots", *own, "--material", "copper").text


@pytest.mark.parametrize(
    ("wind_ms", "now", "code"), [(2.5, NOW, 0), (15.0, NOW, 1), (2.5, "2026-01-16 18:00", 3)]
)
def test_exit_code_for_scripts(own: list[str | Path], wind_ms: float, now: str, code: int) -> None:
    write_mapped(Path(own[1]).parent, steady(wind_ms=wind_ms))
    words = [*own[:-1], now]
    assert command("slots", *words, "--exit-code").code == code
    assert command("slots", *words).code == 0  # answered


def test_receipt_beside_the_answer(own: list[str | Path], tmp_path: Path) -> None:
    kept = tmp_path / "receipt.json"
    assert command("slots", *own, "--receipt", kept).code == 0
    out = json.loads(kept.read_text(encoding="utf-8"))
    assert out["verdict"] == "go"
    assert len(out["input_sha256"]) == 64
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "map.toml", "receipt.json", "site.toml", "weather.csv",
    ]  # fmt: skip


def test_first_line_rule(own: list[str | Path]) -> None:
    for now, day in (("2026-01-12 11:59", "today (Mon 12 Jan)"),
                     ("2026-01-12 12:00", "tomorrow (Tue 13 Jan)"),
                     ("2026-01-13 00:00", "today (Tue 13 Jan)")):  # fmt: skip
        first = command("slots", *own[:-1], now).text.split(";")[0]
        assert day in " ".join(first.split())
    out = command("slots", *own, "--json").answer
    assert "today" not in out


def test_now_with_an_offset_and_in_a_half_hour_zone(own: list[str | Path], tmp_path: Path) -> None:
    site = tmp_path / "half.toml"
    site.write_text(SITE.replace("America/Los_Angeles", "Asia/Kolkata")
                    .replace("longitude = -121.7", "longitude = 77.2"))  # fmt: skip
    words = ["--site", site, *own[2:-1], "2026-01-12T18:00+05:30", "--json", "--hours"]
    out = command("slots", *words).answer
    assert out["now"] == "2026-01-12T18:00:00+05:30"
    times = [hour["time"] for hour in out["hours"]]
    assert all(time[14:16] == "30" and time.endswith("+05:30") for time in times)
    assert all(slot["start"][14:16] == "30" for slot in out["slots"])


def test_southern_winter(own: list[str | Path], tmp_path: Path) -> None:
    site = tmp_path / "south.toml"
    text = SITE
    for old, new in (
        ("latitude = 38.5", "latitude = -33.5"),
        ("longitude = -121.7", "longitude = 18.9"),
        ("America/Los_Angeles", "Africa/Johannesburg"),
        ("2026-01-09", "2026-07-09"),
        ("2025-12-02", "2026-06-02"),
    ):
        text = text.replace(old, new)
    site.write_text(text)
    weather = steady()
    weather.index = weather.index + pd.Timedelta(days=181)
    file, column_map = write_mapped(tmp_path, weather)
    words = ["--site", site, "--weather", file, "--columns", column_map]
    said = command("slots", *words, "--now", "2026-07-12 18:00")
    assert "spray oil 08:00-" in said.text


def test_help_and_version() -> None:
    assert "slots" in command().text
    assert "--material" in command("slots", "--help").text
    assert command("--version").text.startswith("spraywindow ")


@pytest.mark.parametrize(
    ("words", "offered"),
    [("spraywindow sl", "slots"), ("spraywindow slots --mat", "--material"),
     ("spraywindow slots --service m", "metnorway")],
)  # fmt: skip
def test_shell_completion(words: str, offered: str) -> None:
    asked = {
        "COMP_WORDS": words,
        "COMP_CWORD": str(len(words.split()) - 1),
        "_SPRAYWINDOW_COMPLETE": "complete_bash",
    }
    code = "import sys; sys.argv[0] = 'spraywindow'; from spraywindow.main import run; run()"
    shown = subprocess.run(
        [sys.executable, "-c", code], env={**os.environ, **asked}, capture_output=True, text=True
    )
    assert offered in shown.stdout.split()


def test_a_cold_start_loads_nothing_that_only_other_answers_use() -> None:
    code = (
        "import sys; heavy = {'matplotlib', 'jinja2', 'icalendar', 'pvlib', 'scipy'}\n"
        "from spraywindow.main import run; sys.argv = ['spraywindow', 'slots']\n"
        "try: run()\n"
        "except SystemExit: print('loaded:', heavy & {*sys.modules})"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout.startswith("Varkessa Bank: spray oil ")
    assert shown.stdout.splitlines()[-1] == "loaded: set()"
