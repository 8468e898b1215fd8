"""The files that a site file names: read beside it, and what is asked for stands before them."""

from __future__ import annotations

from pathlib import Path

import pytest

from spraywindow.sources.demo.samples import demo_forecast
from tests.command import command
from tests.site_files import MAP, NOW, SITE, steady, write_mapped, write_site, write_weather

AT = ("--now", NOW)


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """A site whose file names a forecast in the units of a map, in a folder below it."""
    folder = tmp_path / "weather"
    folder.mkdir()
    write_mapped(folder, steady())
    path = tmp_path / "terrace.toml"
    path.write_text('weather = "weather/weather.csv"\ncolumns = "weather/map.toml"\n' + SITE)
    return path


@pytest.mark.usefixtures("no_service")
@pytest.mark.parametrize("name", ["slots", "visits", "hose", "report"])
def test_commands_read_the_forecast_that_the_site_names(
    site: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, name: str
) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    monkeypatch.chdir(elsewhere)  # beside the site file, wherever the command is called
    said = command(name, "--site", site, *AT)
    assert said.code == 0, said.err
    if name == "slots":
        assert "weather.csv" in said.words


@pytest.mark.usefixtures("no_service")
def test_what_is_asked_for_stands_before_the_site_files(site: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.csv"
    steady(temp_c=-8.0, dew_point_c=-12.0).to_csv(other)
    said = command("slots", "--site", site, "--weather", other, *AT)
    assert "too cold" in said.words
    # another map for the site's own file
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(MAP.replace('"temp"', '"warmth"'))
    assert "warmth" in command("slots", "--site", site, "--columns", wrong, *AT).refusal
    # a service by its name stands before the file
    said = command("slots", "--site", site, "--service", "metnorway", *AT)
    assert "the service does not answer" in said.refusal


@pytest.mark.parametrize(
    ("keys", "refusal"),
    [
        ('columns = "map.toml"\n', "columns: a column map without its file; expected also weather"),
        ('winters_columns = "map.toml"\n', "expected also winters"),
        ('weather = ""\n', "weather"),
        ('weather = "gone.csv"\n', "gone.csv"),
    ],
)
def test_mistakes_in_the_keys_are_one_line(tmp_path: Path, keys: str, refusal: str) -> None:
    path = tmp_path / "terrace.toml"
    path.write_text(keys + SITE)
    assert refusal in command("slots", "--site", path, *AT).refusal


def test_season_takes_both_by_one_name_each(tmp_path: Path, few_winters: Path) -> None:
    path = write_site(tmp_path / "ossa.toml", extra=f'winters = "{few_winters}"\n')
    ahead = tmp_path / "ahead.csv"
    demo_forecast().to_csv(ahead, index_label="time")
    ask = ("season", "--now", "2026-01-12T18:40", "--json", "--site")
    by_key = command(*ask, path, "--weather", ahead).answer
    bare = write_site(tmp_path / "bare.toml")
    by_option = command(*ask, bare, "--winters", few_winters, "--weather", ahead).answer
    as_before = command(*ask, bare, "--weather", few_winters, "--forecast", ahead).answer
    assert by_key["finish"]["forecast_spliced"]
    assert by_key == by_option == as_before


@pytest.mark.parametrize(
    ("words", "refusal"),
    [
        (("season", "--winters", "w.csv", "--weather", "a.csv", "--forecast", "b.csv"),
         "--forecast beside --weather"),
        (("season", "--winters-columns", "map.toml"), "--winters-columns without --winters"),
        (("slots", "--winters-columns", "map.toml"), "--winters-columns without --winters"),
        (("backtest", "--winters", "w.csv", "--weather", "a.csv"), "--weather beside --winters"),
        (("visits", "--book", "--winters", "w.csv", "--weather", "a.csv"),
         "--weather beside --winters"),
    ],
)  # fmt: skip
def test_options_that_contradict_are_one_line(
    tmp_path: Path, words: tuple[str, ...], refusal: str
) -> None:
    site = write_site(tmp_path / "ossa.toml")
    assert refusal in command(*words, "--site", site, *AT).refusal


def test_a_forecast_alone_is_no_past(tmp_path: Path) -> None:
    site = write_site(tmp_path / "ossa.toml")
    ahead = write_weather(tmp_path / "ahead.csv", "2026-01-11", 8)
    said = command("season", "--site", site, "--weather", ahead, *AT)
    assert "name the past with --winters FILE" in said.refusal


@pytest.mark.parametrize("name", ["backtest", "visits"])
def test_the_past_may_be_named_by_option_or_key(
    tmp_path: Path, few_winters: Path, name: str
) -> None:
    more = ("--errors", "0") if name == "backtest" else ("--book",)
    bare = write_site(tmp_path / "bare.toml")
    keyed = write_site(tmp_path / "keyed.toml", extra=f'winters = "{few_winters}"\n')
    by_key = command(name, "--site", keyed, *AT, *more, "--json").answer
    assert (
        by_key
        == command(name, "--site", bare, "--winters", few_winters, *AT, *more, "--json").answer
    )
    assert (
        by_key
        == command(name, "--site", bare, "--weather", few_winters, *AT, *more, "--json").answer
    )
