"""Advice that was given, held against the weather that came by the limits of its receipt."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import InputError
from spraywindow.jobs.log.judge import JudgedReceipts, Judgement, judge, judge_all
from spraywindow.jobs.slots.answer import evening
from spraywindow.jobs.slots.receipt import limits_of, make_receipt, refuse_other_site, setting_of
from spraywindow.show.json import plain, to_json
from spraywindow.site.site import Site, read_site
from tests.site_files import write_site

ISSUED = pd.Timestamp("2026-01-12 18:00", tz="Europe/Athens")
NOW = pd.Timestamp("2026-01-25 12:00", tz="UTC")
NOON = "2026-01-13 12:00"


@pytest.fixture
def site(tmp_path: Path) -> Site:
    return read_site(write_site(tmp_path / "ossa.toml"))


def weather(**columns: float) -> pd.DataFrame:
    """Mild, dry, overcast hours with a light wind: 1 to 31 January."""
    index = pd.date_range("2026-01-01", periods=24 * 31, freq="h", tz="UTC", name="time")
    plain = {"temp_c": 12.0, "dew_point_c": 3.0, "wind_ms": 2.0, "rain_mm": 0.0, "cloud": 0.9}
    return pd.DataFrame(plain | columns, index=index)


def with_value(column: str, time: str, value: float) -> pd.DataFrame:
    """The same weather with another value in the hour of a local time."""
    table = weather()
    table.loc[pd.Timestamp(time, tz="Europe/Athens").tz_convert("UTC"), column] = value
    table["dew_point_c"] = table[["dew_point_c", "temp_c"]].min(axis=1)
    return table


def receipt(site: Site, material: str = "oil", **changes: Any) -> dict[str, Any]:
    table = weather()
    made = json.loads(to_json(make_receipt(evening(site, table, ISSUED, material), table)))
    assert made["verdict"] == "go"
    at = {"start": "2026-01-13T10:00:00+02:00", "end": "2026-01-13T13:00:00+02:00"}
    return {**made, **at, **changes}


def judged(site: Site, table: pd.DataFrame, material: str = "oil", **changes: Any) -> Judgement:
    return judge(json.dumps(receipt(site, material, **changes)), site, table, now=NOW)


def test_a_go_holds_where_the_weather_came_as_it_was_forecast(site: Site) -> None:
    told = judged(site, weather())
    assert (told.held, told.broken_by, told.not_judged) == (True, None, [])
    assert told.hours == {"go": 3, "no-go": 0, "unknown": 0}
    assert plain(told)["hours"] == told.hours


@pytest.mark.parametrize(
    ("material", "column", "time", "value", "broken_by"),
    [
        ("oil", "temp_c", NOON, 35.0, "heat"),  # WSU: above 85 °F (29.4 °C) oil may damage
        ("oil", "wind_ms", NOON, 15.0, "wind"),  # 3 CCR 6960: 3 to 10 mph
        ("copper", "wind_ms", NOON, 15.0, "wind"),
        ("oil", "temp_c", "2026-01-14 05:00", -0.1, "frost in 24 h"),  # USU: above 32 °F, 24 h
        ("oil", "rain_mm", "2026-01-14 08:00", 0.3, "rain in 24 h"),  # common practice, no source
        ("oil", "rain_mm", "2026-01-15 11:00", 31.0, "dry spell"),  # 72 h wanted; same
        # Ontario 2020: rain within 2 h means assume lost; 6 h is common practice, no source
        ("copper", "rain_mm", "2026-01-13 17:00", 3.0, "rain after drying"),
    ],
)
def test_what_breaks_a_hard_limit_of_the_receipt_breaks_the_go(
    site: Site, material: str, column: str, time: str, value: float, broken_by: str
) -> None:
    told = judged(site, with_value(column, time, value), material)
    assert told.held is False
    assert told.broken_by == broken_by or (value, told.broken_by) == (35.0, "sun on wood")


def test_what_only_a_soft_limit_wants_breaks_nothing(site: Site) -> None:
    # copper: a must are 6 h after drying, wanted are 24 h (common practice, no source)
    told = judged(site, with_value("rain_mm", "2026-01-13 21:00", 3.0), "copper")
    assert (told.held, told.spoiled["24"]) == (True, True)


def test_weather_outside_the_hours_advised_breaks_nothing(site: Site) -> None:
    assert judged(site, with_value("wind_ms", "2026-01-13 15:00", 15.0)).held is True


def test_what_cannot_be_told_is_unknown(site: Site) -> None:
    assert judged(site, with_value("rain_mm", "2026-01-14 08:00", np.nan)).held is None
    broken = with_value("rain_mm", "2026-01-14 08:00", np.nan)
    broken.loc["2026-01-13 20:00", "rain_mm"] = 2.0
    assert judged(site, broken).held is False  # one known failure settles it
    assert judged(site, weather().loc[:"2026-01-14"]).held is None  # type: ignore[misc]
    assert judged(site, weather().loc["2026-01-20":]).held is None  # type: ignore[misc]
    early = judge(receipt(site), site, weather(), now=pd.Timestamp("2026-01-13 18:00", tz="UTC"))
    assert (early.held, early.rain_mm["48"]) == (None, (0.0, None))
    assert judged(site, weather(), limits=[]).held is None
    strange = [{"name": "moon", "kind": "hard", "bound": "above", "value": 3, "unit": "h"}]
    dark = judged(site, weather(), limits=[*receipt(site)["limits"], *strange])
    assert (dark.held, dark.not_judged) == (None, ["moon"])


def test_other_answers_are_not_judged_as_a_go(site: Site) -> None:
    assert judged(site, with_value("wind_ms", NOON, 15.0), verdict="no-go").held is None


def test_the_limits_of_the_receipt_count_not_those_of_today(tmp_path: Path, site: Site) -> None:
    path = write_site(tmp_path / "strict.toml")
    path.write_text(path.read_text() + '[materials.oil.limits.wind]\nvalue = "1 m/s"\n')
    strict, kept = read_site(path), receipt(site)
    assert judge(kept, strict, weather(), now=NOW).held is True
    wind = next(each for each in kept["limits"] if each["name"] == "wind")
    wind["value"] = 1.0
    assert judge(kept, site, weather(), now=NOW).broken_by == "wind"


def test_a_receipt_of_before_that_says_less_is_judged_all_the_same(site: Site) -> None:
    kept = receipt(site)
    kept.pop("setting")
    for limit in kept["limits"]:
        del limit["quantity"], limit["width"]
    assert limits_of(kept, site)[1] == []
    assert judge(kept, site, with_value("wind_ms", NOON, 15.0), now=NOW).held is False
    assert judge(kept, site, weather(), now=NOW).held is True


def test_the_site_is_judged_as_it_was(site: Site) -> None:
    told = setting_of({"setting": {"tree_height_m": 9.0, "neighbours_deg": [90]}}, site)
    assert (told.tree_height_m, told.neighbours_deg) == (9.0, (90,))
    assert setting_of({}, site) == site.setting
    # 4.6 m/s at 10 m is less at 3.5 m, and more than 10 mph (4.47 m/s, 3 CCR 6960) at 10 m
    windy = weather(wind_ms=4.6)
    assert judged(site, windy).held is True
    assert judged(site, windy, setting={"tree_height_m": 10.0}).broken_by == "wind"


def test_green_tissue_counts_where_it_was_judged(site: Site) -> None:
    # Cornell extension 2021: frost on either side hurts green tissue under oil
    frost = with_value("temp_c", "2026-01-12 05:00", -1.0)
    assert judged(site, frost).held is True
    hours = receipt(site)["hours"]
    for hour in hours:
        hour["limits"]["green and frost"] = 1.0
    assert judged(site, frost, hours=hours).broken_by == "green and frost"


def test_limits_that_the_weather_does_not_tell_are_named(site: Site) -> None:
    hours = receipt(site)["hours"]
    for hour in hours:
        hour["limits"]["gusts"] = 1.0
    assert judged(site, weather(), hours=hours).not_judged == ["gusts"]
    assert judged(site, weather(gust_ms=12.0), hours=hours).broken_by == "gusts"
    # a chance of rain is of the forecast; it does not come
    assert judged(site, weather(rain_chance=0.9)).held is True


def test_the_forecasts_errors_are_what_came_less_the_forecast(site: Site) -> None:
    told = judged(site, weather(temp_c=11.0, rain_mm=np.nan))
    assert told.errors["temp_c"] == {"n": 24, "mean": -1.0, "spread": 0.0}
    assert "rain_mm" not in told.errors
    uneven = judged(site, with_value("wind_ms", NOON, 26.0))
    # 24 h in the mean, one of them 24 m/s above: by hand
    assert uneven.errors["wind_ms"] == {"n": 24, "mean": 1.0, "spread": 4.796}
    north = receipt(site)["hours"]
    for hour in north:
        hour["wind_from_deg"] = 350.0
    told = judged(site, weather(wind_from_deg=10.0), hours=north)
    assert told.errors["wind_from_deg"]["mean"] == 20.0  # the short way round
    calm = judged(site, weather(wind_from_deg=0.0, wind_ms=0.3), hours=north)
    assert "wind_from_deg" not in calm.errors  # it comes from nowhere


def test_a_receipt_keeps_the_weather_of_its_hours(site: Site) -> None:
    table = weather()
    table.loc["2026-01-13 09:00", "dew_point_c"] = np.nan
    made = plain(make_receipt(evening(site, table, ISSUED, "oil"), table))
    hour = next(each for each in made["hours"] if each["time"].startswith("2026-01-13T11"))
    assert (hour["temp_c"], hour["dew_point_c"], hour["rain_mm"]) == (12.0, None, 0.0)
    assert "gust_ms" not in hour  # the table has none


def test_errors_of_several_receipts_are_taken_together(site: Site) -> None:
    texts = [("1", json.dumps(receipt(site))), ("2", json.dumps(receipt(site, "copper")))]
    first = judge_all(texts[:1], site, weather(temp_c=14.0), now=NOW)
    second = judge_all(texts[1:], site, weather(temp_c=10.0), now=NOW)
    answer = JudgedReceipts(site, NOW, (*first.receipts, *second.receipts))
    both = np.array([2.0] * 24 + [-2.0] * 24)
    assert answer.errors["temp_c"] == {"n": 48, "mean": both.mean(), "spread": both.std()}
    assert answer.go.judged == 2


def test_a_receipt_of_another_site_is_named_or_refused(site: Site) -> None:
    other = json.dumps(receipt(site) | {"site": "Elsewhere"})
    (row,) = judge_all([("3", other)], site, weather(), now=NOW).receipts
    assert (row.judged, row.about["site"]) == (False, "Elsewhere")
    with pytest.raises(InputError, match=r"r.json: the receipt is of another site; expected Ossa"):
        refuse_other_site(other, site.name, where="r.json")
    hourless = {"site": "Elsewhere", "verdict": "no-go", "start": None}
    with pytest.raises(InputError, match="of another site"):
        refuse_other_site(json.dumps(hourless), site.name, where="r.json")


def test_every_fault_of_a_receipt_is_told(site: Site) -> None:
    faulty = {k: v for k, v in receipt(site, start="noon", hours=3, limits=[1]).items()}
    del faulty["site"]
    match = r"site: is missing.*start: not a time.*limits: not a list.*hours: not a list"
    with pytest.raises(InputError, match=match):
        judge(faulty, site, weather(), now=NOW)
    with pytest.raises(InputError, match="receipt: not JSON"):
        judge("{", site, weather(), now=NOW)
    with pytest.raises(InputError, match="not a JSON object"):
        judge("[]", site, weather(), now=NOW)
    backwards = receipt(site, end="2026-01-13T09:00:00+02:00")
    with pytest.raises(InputError, match="end: before the start"):
        judge(backwards, site, weather(), now=NOW)
