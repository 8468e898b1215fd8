"""The embedded demo: it is whole, marked as invented, made anew from its seeds, and mild."""

from __future__ import annotations

import gzip
import runpy
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import InputError
from spraywindow.place import Place
from spraywindow.sources.demo import samples
from spraywindow.spray.catalogue import OIL
from spraywindow.spray.hours import score_hours
from spraywindow.weather.table import OPTIONAL, REQUIRED, check_hourly
from tests.conftest import ROOT

SCRIPT = ROOT / "data" / "samples" / "invent.py"
DECIMALS, generate, rain_chance = (
    runpy.run_path(str(SCRIPT))[name] for name in ("DECIMALS", "generate", "rain_chance")
)
HOUR = pd.Timedelta(hours=1)
FIRST = pd.Timestamp("2020-12-30", tz="UTC")


def _times(table: pd.DataFrame) -> pd.DatetimeIndex:
    return pd.DatetimeIndex(table.index)


@pytest.fixture(scope="module")
def winters() -> pd.DataFrame:
    return samples.demo_winters()


@pytest.fixture(scope="module")
def forecast() -> pd.DataFrame:
    return samples.demo_forecast()


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Both files, made anew by the command that the README beside them names."""
    folder = tmp_path_factory.mktemp("samples")
    done = subprocess.run(
        [sys.executable, SCRIPT, folder], capture_output=True, text=True, check=True
    )
    return [Path(line) for line in done.stdout.splitlines()]


def test_tables_are_whole_and_pass_the_contract(
    winters: pd.DataFrame, forecast: pd.DataFrame
) -> None:
    for table in (winters, forecast):
        assert table.attrs["notes"] == []  # nothing had to be mended
        assert set(REQUIRED) <= set(table.columns) <= set(REQUIRED) | set(OPTIONAL)
        assert table.drop(columns="rain_chance", errors="ignore").notna().all(axis=None)
        assert (table["dew_point_c"] <= table["temp_c"]).all()
        assert (table["gust_ms"] >= table["wind_ms"]).all()


def test_tables_are_marked_as_invented(winters: pd.DataFrame, forecast: pd.DataFrame) -> None:
    for table in (winters, forecast):
        assert table.attrs["source"]["name"] == "invented demo weather"
        assert table.attrs["source"]["credit"] == "invented for the demo, no real place"
    assert "**invented**" in samples.sample_path("README.md").read_text(encoding="utf-8")


def test_forecast_spans_two_days_of_records_and_eight_ahead(forecast: pd.DataFrame) -> None:
    now = samples.DEMO_NOW
    assert now.tz_convert(samples.DEMO_PLACE.zone).hour == 18
    assert forecast.attrs["forecast_from"] == forecast.attrs["source"]["issued"] == now
    assert forecast.index[0] == now - 48 * HOUR
    assert forecast.index[-1] == now + 191 * HOUR
    assert forecast["rain_chance"].isna().equals(pd.Series(forecast.index < now, forecast.index))


def test_forecast_shows_good_hours_and_several_reasons_against(forecast: pd.DataFrame) -> None:
    hours = score_hours(forecast, samples.DEMO_PLACE, OIL).tz_convert(samples.DEMO_PLACE.zone)
    verdict, held_by = hours["verdict"].astype(str), hours["held_by"].astype(str)
    ahead_h = (_times(hours) - samples.DEMO_NOW) / HOUR
    morning = (ahead_h >= 15) & (ahead_h < 20)  # tomorrow, 9:00 to 14:00
    assert (verdict[morning] == "go").sum() >= 2
    daytime = (ahead_h >= 0) & np.isin(_times(hours).hour, range(9, 16))
    reasons = set(held_by[daytime & (verdict == "no-go")])
    assert {"cold", "rain in 24 h", "frost in 24 h"} <= reasons
    assert "wet wood" in set(held_by[daytime & (verdict == "unknown")])  # the two rules disagree
    assert reasons & {"wind", "gusts"}
    assert (verdict[-24:] == "unknown").any()  # too early to say


def test_winters_are_past_records_of_twelve_whole_winters(winters: pd.DataFrame) -> None:
    assert "forecast_from" not in winters.attrs
    assert winters.attrs["source"]["issued"] is None
    assert winters.index[0] == pd.Timestamp("2013-09-01", tz="UTC")
    assert winters.index[-1] + HOUR == pd.Timestamp("2025-09-01", tz="UTC") < samples.DEMO_NOW


def test_files_are_made_anew_byte_for_byte(written: list[Path]) -> None:
    assert [new.name for new in written] == ["forecast.csv", "winters.csv.gz"]
    for new in written:
        old = samples.sample_path(new.name).read_bytes()
        if new.suffix == ".gz":  # the packed bytes depend on the build of zlib
            assert gzip.decompress(new.read_bytes()) == gzip.decompress(old)
            assert new.read_bytes()[:10] == old[:10]
        else:
            assert new.read_bytes() == old


def test_packing_holds_neither_clock_nor_name(written: list[Path]) -> None:
    header = written[1].read_bytes()[:10]  # RFC 1952, section 2.3: FLG is byte 3, MTIME 4 to 7
    assert header[3:8] == b"\0\0\0\0\0"


def test_the_script_says_that_a_folder_is_not_there(tmp_path: Path) -> None:
    command = [sys.executable, SCRIPT, tmp_path / "none"]
    lost = subprocess.run(command, capture_output=True, text=True, check=False)
    assert lost.returncode == 1
    assert "no such folder" in lost.stderr
    assert "Traceback" not in lost.stderr


def test_files_stay_small() -> None:
    assert samples.sample_path(samples.WINTERS_FILE).stat().st_size < 2_500_000


def test_winter_is_mild_and_wet_but_not_hopeless(winters: pd.DataFrame) -> None:
    """Ranges of a mild Mediterranean lowland: common practice, no source."""
    days = winters.tz_convert(samples.DEMO_PLACE.zone).resample("D")
    table = pd.DataFrame(
        {
            "mean": days["temp_c"].mean(),
            "low": days["temp_c"].min(),
            "high": days["temp_c"].max(),
            "rain": days["rain_mm"].sum(),
            "gust": days["gust_ms"].max(),
        }
    )
    cold = table[np.isin(_times(table).month, (11, 12, 1, 2))]
    winter = _times(cold).year - (_times(cold).month < 3)
    assert 9.0 <= cold["mean"].mean() <= 11.0
    assert 11.0 <= cold["high"].quantile(0.2) < cold["high"].quantile(0.8) <= 18.0
    rain_days = (cold["rain"] >= 0.25).groupby(winter).sum()
    assert len(rain_days) == 12
    assert 40 <= rain_days.mean() <= 50
    assert rain_days.between(25, 65).all()
    assert 1 <= (cold["low"] < 0.0).groupby(winter).sum().mean() <= 12
    assert 5 <= (cold["gust"] > 10.0).groupby(winter).sum().mean() <= 30


def test_summer_is_warm_and_dry(winters: pd.DataFrame) -> None:
    """Common practice, no source."""
    july = winters[_times(winters).month == 7]
    assert 23.0 <= july["temp_c"].mean() <= 28.0
    assert july["rain_mm"].sum() / 12 < 25.0


def test_nights_bring_dew_that_the_morning_dries(winters: pd.DataFrame) -> None:
    """Onset below 2.0 K and dry above 3.8 K of dew-point depression (Gillespie group, from
    memory): fair January nights are wet by sunrise, the wood dry by noon."""
    local = winters.tz_convert(samples.DEMO_PLACE.zone)
    january = local[_times(local).month == 1]
    fair = january[january.groupby(_times(january).date)["rain_mm"].transform("sum") == 0]
    typical = (fair["temp_c"] - fair["dew_point_c"]).groupby(_times(fair).hour).median()
    assert typical[6] < 2.0
    assert typical[8] < 3.8 < typical[12]


def test_same_seed_same_weather_and_another_seed_another() -> None:
    one, again, other = (
        generate(FIRST, FIRST + 72 * HOUR, seed, samples.DEMO_PLACE) for seed in (5, 5, 6)
    )
    pd.testing.assert_frame_equal(one, again)
    assert not one.equals(other)
    assert list(one.columns) == list(DECIMALS)
    assert check_hourly(one).attrs["notes"] == []


def test_southern_hemisphere_turns_the_seasons() -> None:
    south = Place(-34.0, 19.0, 60.0, "Africa/Johannesburg")
    january = pd.Timestamp("2021-01-01", tz="UTC")
    cold, warm = (
        generate(january, january + 720 * HOUR, 3, place) for place in (samples.DEMO_PLACE, south)
    )
    assert warm["temp_c"].mean() > cold["temp_c"].mean() + 10
    assert warm["solar_wm2"].mean() > 2 * cold["solar_wm2"].mean()


def test_sun_is_down_at_night_and_peaks_at_solar_noon() -> None:
    table = generate(FIRST, FIRST + 72 * HOUR, 5, Place(37.8, 0.0, 60.0, "UTC"))
    by_hour = table["solar_wm2"].groupby(_times(table).hour).max()
    assert (by_hour[[22, 23, 0, 1, 2]] == 0).all()
    assert by_hour.idxmax() in (10, 11, 12, 13)


@pytest.mark.parametrize(
    ("start", "end"),
    [
        (FIRST, FIRST),
        (FIRST.tz_localize(None), FIRST + HOUR),
        (FIRST + HOUR / 2, FIRST + HOUR),
    ],
)
def test_generator_refuses_times_it_cannot_use(start: pd.Timestamp, end: pd.Timestamp) -> None:
    with pytest.raises(ValueError, match="start"):
        generate(start, end, 1, samples.DEMO_PLACE)


def test_rain_chance_is_highest_at_the_rain_and_fades_with_the_lead() -> None:
    rain = np.zeros(192)
    rain[[20, 180]] = 3.0
    chance = rain_chance(rain, np.arange(192.0))
    assert chance.min() >= 0
    assert chance.max() == chance[20] > chance[180] > 0.3
    assert chance[60:140].max() < 0.3


def test_unknown_name_lists_the_files() -> None:
    with pytest.raises(InputError, match=r"no such demo file.*forecast\.csv.*winters\.csv\.gz"):
        samples.sample_path("autumn.csv")


def test_files_are_found_in_the_layout_of_the_wheel(tmp_path: Path) -> None:
    """Lay the package out as pyproject has it built, away from any checkout."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    wheel = project["tool"]["hatch"]["build"]["targets"]["wheel"]
    for name in wheel["packages"]:
        shutil.copytree(ROOT / name, tmp_path / name)
    for source, target in wheel["force-include"].items():
        (tmp_path / target).parent.mkdir(exist_ok=True)
        shutil.copy(ROOT / source, tmp_path / target)
    code = (
        "from spraywindow.sources.demo import samples as s; print(s.sample_path('orchard.toml'));"
        "print(len(s.demo_forecast()), len(s.demo_winters()))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    where, lengths = done.stdout.splitlines()
    assert Path(where) == tmp_path / "spraywindow" / "_samples" / "orchard.toml"
    assert lengths == "240 105192"
