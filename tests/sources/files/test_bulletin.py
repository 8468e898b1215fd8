"""Text bulletins of the US National Blend of Models, recorded with a library's reading of them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import InputError, SprayWindowError, WeatherError
from spraywindow.sources.files.bulletin import parse
from spraywindow.sources.files.read_file import read_weather
from spraywindow.units import convert
from tests.conftest import SHARED, needs_records
from tests.weather_files import MAP

PAYLOADS = SHARED / "payloads" / "nbm"
SHORTEST_H = {"nbh": 1, "nbs": 6, "nbe": 12}
"""The shortest period of a chance of rain in each."""
SHORT = """
 KXYZ    NBM V4.1 NBS GUIDANCE    1/09/2026  0100 UTC
 DT /JAN   9
 UTC  06 09 12 15 18
 FHR  05 08 11 14 17
 TMP  32 41 50 50-99
 TSD   9  2  2  2  2
 DPT  30 32 32 32 32
 WDR  36  0  9  9  9
 WSP  10  0 10 10 10
 P06   5    40    20
 P12        45
 Q06   0    12     0
"""
"""As the service sends it: a blank before each line, which others strip."""


def recorded(kind: str) -> Any:
    return json.loads((PAYLOADS / f"avwx_{kind}_KJFK.json").read_text("utf-8"))["data"]


def test_values_stand_on_hours_in_our_units() -> None:
    out, spread = parse(SHORT)
    assert out.index[0] == pd.Timestamp("2026-01-09 01:00", tz="UTC")  # the answer's own hour
    assert out["temp_c"].iloc[:5].isna().all()  # nothing is told before the first stamp
    assert out["temp_c"].loc["2026-01-09 06:00":"2026-01-09 15:00"].tolist() == pytest.approx(
        [0, 5 / 3, 10 / 3, 5, 20 / 3, 25 / 3, 10, 10, 10, 10]
    )
    assert out["temp_c"].iloc[-3:].isna().all()  # -99 is no temperature, and nothing bridges it
    assert spread["temp_c"].iloc[0] == pytest.approx(5.0)  # 9 degF are 5 K
    assert out["wind_ms"].loc["2026-01-09 06:00"] == pytest.approx(10 * 1852 / 3600)
    assert out["wind_from_deg"].loc["2026-01-09 06:00"] == 0.0
    assert np.isnan(out["wind_from_deg"].loc["2026-01-09 09:00"])  # a calm has no direction


def test_amounts_and_chances_are_of_the_hours_before_their_stamp() -> None:
    out, _ = parse(SHORT)
    assert out["rain_mm"].iloc[:5].tolist() == [0.0] * 5  # 01 to 06, the end of the first six
    six = out.loc["2026-01-09 06:00":"2026-01-09 11:00"]
    assert six["rain_mm"].isna().all()
    assert six["rain_total_mm"].tolist() == pytest.approx([0.12 * 25.4] * 6)
    assert six["rain_total_hour"].tolist() == [0, 1, 2, 3, 4, 5]
    assert six["rain_chance"].tolist() == [0.4] * 6  # whole on each hour, never divided
    assert out["rain_chance"].iloc[:5].tolist() == [0.05] * 5
    assert np.isnan(out["rain_chance"].iloc[-1])  # the last stamp's own hour is not told


@needs_records
@pytest.mark.parametrize("kind", ["nbh", "nbs", "nbe"])
def test_recorded_values_are_those_that_a_library_reads(kind: str) -> None:
    data = recorded(kind)
    out, spread = parse(data["raw"])
    assert len(spread) == len(data["forecast"])
    names = {"temperature": ("temp_c", "degF", "degC"), "dewpoint": ("dew_point_c", "degF", "degC"),
             "wind_speed": ("wind_ms", "kn", "m/s"), "wind_gust": ("gust_ms", "kn", "m/s"),
             "sky_cover": ("cloud", "%", "fraction")}  # fmt: skip
    for period in data["forecast"]:
        at = pd.Timestamp(period["time"]["dt"])
        for theirs, (ours, unit, own) in names.items():
            assert out.loc[at, ours] == pytest.approx(convert(period[theirs]["value"], unit, own))
        for hours in (1, 6, 12):
            amount = period.get(f"precip_amount_{hours}")
            before = out.loc[at - pd.Timedelta(hours=hours) : at - pd.Timedelta(hours=1)]
            if hours == SHORTEST_H[kind] and period[f"precip_chance_{hours}"] is not None:
                told = period[f"precip_chance_{hours}"]["value"] / 100
                assert before["rain_chance"].tolist() == pytest.approx([told] * len(before))
            if amount is not None and float(amount["repr"]) == 0:
                assert (before["rain_mm"] == 0.0).all()


@needs_records
def test_a_bulletin_that_begins_nine_days_ahead_is_dated_so() -> None:
    out, spread = parse(recorded("nbx")["raw"])
    issued = pd.Timestamp("2023-10-30 17:00", tz="UTC")
    assert spread.index[0] == issued + pd.Timedelta(hours=199)
    assert out["temp_c"].notna().sum() == 6  # 12 h apart: nothing in between
    assert out["temp_c"].iloc[-1] == pytest.approx((43 - 32) / 1.8)
    assert out["rain_total_mm"].iloc[-13:-1].tolist() == pytest.approx([0.21 * 25.4] * 12)
    assert spread["temp_c"].tolist() == pytest.approx([d / 1.8 for d in (5, 7, 6, 5, 4, 5)])


@needs_records
def test_a_bulletin_is_a_weather_file(tmp_path: Path) -> None:
    path = tmp_path / "kjfk.txt"
    path.write_text(recorded("nbs")["raw"])
    out = read_weather(path)
    assert out["temp_c"].notna().sum() == 67
    assert out.attrs["source"]["issued"] == pd.Timestamp("2023-10-17 05:00", tz="UTC")
    assert "public domain" in out.attrs["source"]["credit"]
    assert any("KJFK" in note for note in out.attrs["notes"])
    with pytest.raises(InputError, match="takes no column map"):
        read_weather(path, MAP)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("NBM V4.1 NBS", "NBM", "0 bulletins"),
        ("\n DT ", SHORT + "\n DT ", "2 bulletins"),
        (" 1/09/2026", "13/09/2026", "time of issue"),
        ("UTC  06", "XTC  06", "no line of hours"),
        ("FHR  05", "FHR  06", "do not follow"),
        ("FHR  05 08", "FHR  05 05", "are odd"),
        ("TMP  32", "TMP  xx", "more than numbers"),
        ("TMP  32", "TMP 0_0", "more than numbers"),
        ("\n TSD", "\n TMP  50 50 50 50 50\n TSD", "TMP stands twice"),
    ],
)
def test_a_bulletin_that_is_none_is_refused(old: str, new: str, words: str) -> None:
    expected: type[SprayWindowError] = InputError if "bulletins" in words else WeatherError
    with pytest.raises(expected, match=words):
        parse(SHORT.replace(old, new, 1))
