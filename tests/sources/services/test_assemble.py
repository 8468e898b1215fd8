"""Rain totals laid out on hours, and the age of a forecast judged."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spraywindow.errors import SourceError
from spraywindow.sources.http.fetch import Fetched
from spraywindow.sources.services.finish import RainTotal, Service, finish, rain_columns

START = pd.Timestamp("2026-01-10 00:00", tz="UTC")
HOURS = pd.date_range(START, periods=24, freq="h")
SERVICE = Service("the service", "thanks", 6)


def total(hour: int, hours: int, rain_mm: float) -> RainTotal:
    return RainTotal(START + pd.Timedelta(hours=hour), hours, rain_mm)


def test_one_hour_is_the_hour_and_a_longer_total_stays_whole() -> None:
    out = rain_columns(HOURS, [total(0, 1, 0.4), total(1, 6, 2.0)])
    assert out["rain_mm"].iloc[0] == 0.4
    assert out["rain_mm"].iloc[1:].isna().all()
    assert out["rain_total_mm"].iloc[1:7].eq(2.0).all()
    assert out["rain_total_h"].iloc[1:7].eq(6).all()
    assert out["rain_total_hour"].iloc[1:7].tolist() == [0, 1, 2, 3, 4, 5]
    assert out.iloc[7:].isna().all(axis=None)  # unknown, not dry


def test_a_zero_settles_its_hours_even_over_a_day() -> None:
    out = rain_columns(HOURS, [total(0, 6, 0.0), total(0, 24, 0.0)])
    assert out["rain_mm"].eq(0.0).all()
    assert out["rain_total_mm"].isna().all()


@pytest.mark.parametrize("told", [total(0, 13, 2.0), total(0, 6, -1.0), total(0, 6, np.nan)])
def test_what_tells_nothing_leaves_the_hours_unknown(told: RainTotal) -> None:
    assert rain_columns(HOURS, [told]).isna().all(axis=None)


def test_the_finer_total_wins_and_what_is_left_belongs_to_the_other_hours() -> None:
    out = rain_columns(HOURS, [total(-2, 6, 3.0), total(2, 1, 0.5), total(3, 1, 0.0)])
    assert out["rain_mm"].iloc[2:4].tolist() == [0.5, 0.0]
    assert out["rain_total_mm"].iloc[:2].tolist() == [2.5, 2.5]
    assert out["rain_total_hour"].iloc[:2].tolist() == [2, 3]  # two hours lie before the table
    # the rest of a total that is parted by told hours may be on either side, as in a file
    out = rain_columns(HOURS, [total(0, 6, 3.0), total(2, 1, 0.5)])
    assert out["rain_mm"].iloc[:6].notna().tolist() == [False, False, True, False, False, False]
    assert out["rain_total_mm"].iloc[[0, 1, 3, 4, 5]].tolist() == [2.5] * 5


def test_a_total_of_more_than_its_hours_makes_the_dry_ones_unknown() -> None:
    hourly = [total(hour, 1, mm) for hour, mm in enumerate([0.5, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0])]
    out = rain_columns(HOURS, [*hourly, total(0, 6, 2.6)])
    assert out["rain_mm"].iloc[:2].tolist() == [0.5, 1.0]
    assert out["rain_mm"].iloc[2:6].isna().all()
    assert out["rain_total_mm"].iloc[2:6].tolist() == pytest.approx([1.1] * 4)
    assert out["rain_mm"].iloc[6] == 0.0
    assert "4 hours said to be dry" in out.attrs["notes"][0]
    # another total that sees much more than the first leaves nothing known of those hours
    out = rain_columns(HOURS, [*hourly, total(0, 6, 2.6), total(1, 6, 9.0)])
    assert out[["rain_mm", "rain_total_mm"]].iloc[2:7].isna().all(axis=None)
    out = rain_columns(HOURS, [total(0, 6, 5.0), total(6, 6, 5.0), total(0, 12, 10.0)])
    assert out["rain_total_mm"].iloc[:12].eq(5.0).all()  # two that make up the third
    rounded = rain_columns(HOURS, [*hourly, total(0, 6, 1.9)])
    assert rounded["rain_total_mm"].iloc[2:6].tolist() == pytest.approx([0.4] * 4)
    assert rounded["rain_mm"].iloc[[0, 1, 6]].notna().all()


@given(st.lists(st.tuples(st.integers(-12, 23), st.integers(1, 24), st.floats(0, 50))))
def test_an_hour_is_told_once_and_never_out_of_nothing(told: list[tuple[int, int, float]]) -> None:
    out = rain_columns(HOURS, [total(*t) for t in told])
    known = out["rain_mm"].notna().to_numpy()
    assert not (known & out["rain_total_mm"].notna().to_numpy()).any()
    covered = np.zeros(24, dtype=bool)
    for hour, hours, _ in told:
        covered[max(hour, 0) : max(hour + hours, 0)] = True
    assert not known[~covered].any()


def table(**columns: object) -> pd.DataFrame:
    plain = {"temp_c": 10.0, "dew_point_c": 5.0, "wind_ms": 2.0, "rain_mm": 0.0}
    return pd.DataFrame({**plain, **columns}, index=HOURS)


def finished(
    frame: pd.DataFrame, now_h: float = 1.0, issued_h: float | None = 0.0, stale: bool = False
) -> pd.DataFrame:
    now = START + pd.Timedelta(hours=now_h)
    issued = None if issued_h is None else START + pd.Timedelta(hours=issued_h)
    answer = Fetched(now, stale, ("a note",))
    return finish(frame, SERVICE, answer, issued=issued, forecast_from=START, now=now)


def test_source_age_and_credit_ride_along() -> None:
    out = finished(table(), stale=True)
    assert out.attrs["source"] == {
        "name": "the service",
        "issued": START,
        "fetched": START + pd.Timedelta(hours=1),
        "credit": "thanks",
        "stale": True,
    }
    assert out.attrs["forecast_from"] == START
    assert out.attrs["notes"] == ["a note"]


def test_an_old_issue_is_told_and_a_day_old_one_refused() -> None:
    # services were seen to answer 200 with forecasts three days old
    assert finished(table(), 7, 0).attrs["notes"][-1] == (
        "the service: the forecast was issued 7 h ago"
    )
    assert len(finished(table(), 6, 0).attrs["notes"]) == 1
    assert len(finished(table(), 20, -4).attrs["notes"]) == 2
    with pytest.raises(SourceError, match=r"too old.*last 24 h.*2026-01-09 22:59"):
        finished(table(), 23, -1 - 1 / 60)


def test_a_forecast_from_after_the_time_asked_for_is_refused() -> None:
    finished(table(), 1, 2)  # clocks differ
    with pytest.raises(SourceError, match=r"issued after the time asked for.*weather file"):
        finished(table(), 1, 3)


@pytest.mark.parametrize("now_h", [-2, 24])
def test_a_forecast_must_hold_the_present_hour(now_h: int) -> None:
    with pytest.raises(SourceError, match="does not hold the present hour"):
        finished(table(), now_h, None)


def test_no_temperature_at_all_is_no_forecast() -> None:
    with pytest.raises(SourceError, match="holds no temperature"):
        finished(table(temp_c=np.nan))


def test_what_is_not_given_is_told_required_unknown_optional_left_out() -> None:
    out = finished(table(dew_point_c=np.nan, gust_ms=np.nan, temp_min_c=np.nan))
    assert out["dew_point_c"].isna().all()
    assert list(out.columns) == ["temp_c", "dew_point_c", "wind_ms", "rain_mm"]
    assert out.attrs["notes"][1:] == [
        "the service gives no dew point here",
        "the service gives no wind gust here",
    ]
