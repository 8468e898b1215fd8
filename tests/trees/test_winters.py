from datetime import date

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import WeatherError
from spraywindow.place import Place
from spraywindow.trees.chill import chill_portions, growing_degree_hours
from spraywindow.trees.chill_and_heat import split_winters, winter_label, winter_start, winter_sums

NORTH = Place(40.0, 22.5, 10.0, "UTC")
SOUTH = Place(-34.0, 18.5, 10.0, "UTC")


def _record(first: str, last: str, temp_c: float = 6.0) -> "pd.Series[float]":
    index = pd.date_range(first, last, freq="h", tz="UTC", inclusive="left")
    return pd.Series(temp_c, index=index)


@pytest.mark.parametrize(
    ("day", "latitude", "label", "start"),
    [
        (date(2023, 6, 30), 40, "2022/23", date(2022, 7, 1)),
        (date(2023, 7, 1), 40, "2023/24", date(2023, 7, 1)),
        (date(2024, 1, 1), 40, "2023/24", date(2023, 7, 1)),
        (date(1999, 12, 31), 40, "1999/00", date(1999, 7, 1)),
        (date(2024, 12, 31), -34, "2024", date(2024, 1, 1)),
    ],
)
def test_names_of_winters(day: date, latitude: float, label: str, start: date) -> None:
    assert winter_label(day, latitude) == label
    assert winter_start(day, latitude) == start


def test_winters_begin_at_solar_midnight_and_ignore_leap_days() -> None:
    record = _record("2022-06-25", "2025-01-01")
    record[:] = np.arange(len(record))
    starts, labels, columns = split_winters(record, NORTH)  # 22.5 E: two hours ahead
    assert labels == ("2021/22", "2022/23", "2023/24", "2024/25")
    for column, start in enumerate(starts[1:], start=1):
        midnight = pd.Timestamp(start, tz="UTC") - pd.Timedelta(hours=2)
        assert columns[0, column] == record[midnight]
    assert np.isfinite(columns[:, 2]).all()
    # 30 June 2024, the 366th day of its winter, belongs to none.
    assert columns[0, 3] - columns[-1, 2] == 25
    assert np.isfinite(columns[:, 0]).sum() == 6 * 24 - 2


def test_sums_are_those_of_the_hours() -> None:
    rng = np.random.default_rng(1)
    record = _record("2021-06-01", "2023-07-10")
    record[:] = rng.normal(8, 6, len(record))
    sums = winter_sums(record, NORTH)
    column = sums.labels.index("2022/23")
    chill_from = pd.Timestamp("2022-08-31 22:00", tz="UTC")
    until = pd.Timestamp("2023-02-28 21:00", tz="UTC")
    day = sums.day_number(date(2023, 3, 1), column)
    heat = growing_degree_hours(record[chill_from:until].to_numpy()).sum()
    assert sums.heat[day, column] == pytest.approx(heat)
    chill = chill_portions(record[chill_from:until].to_numpy())[-1]
    assert sums.chill[day, column] == pytest.approx(chill)


def test_chill_counts_from_march_in_the_south() -> None:
    sums = winter_sums(_record("2023-01-01", "2024-01-02"), SOUTH)
    column = sums.labels.index("2023")
    first = int(np.flatnonzero(sums.chill[:, column])[0])
    # The first portion at 6 degC comes in hour 29, so in the second day from 1 March on.
    assert first == sums.day_number(date(2023, 3, 3), column)


def test_gaps_take_the_mean_of_the_other_winters_and_are_counted() -> None:
    record = _record("2020-07-01", "2024-01-15", 8.0)
    record["2021-01-05 03:00":"2021-01-05 05:00"] = np.nan  # three hours: bridged
    record["2021-12-01":"2021-12-03"] = np.nan  # three days: filled
    record["2022-10-01":"2023-01-31"] = np.nan  # a third of the winter: left out
    sums = winter_sums(record, NORTH)
    assert sums.labels == ("2020/21", "2021/22", "2022/23", "2023/24")
    assert sums.usable.tolist() == [True, True, False, False]
    assert sums.unknown_h.tolist()[:3] == [0, 72, 123 * 24]
    # The running winter is known up to the forecast's end, and goes on with the usual.
    assert sums.known_days[3] == sums.day_number(date(2024, 1, 15), 3)
    np.testing.assert_allclose(sums.heat[:, 3], sums.heat[:, 0])


def test_without_a_usable_winter_the_unknown_stays_unknown() -> None:
    sums = winter_sums(_record("2023-07-01", "2024-01-15"), NORTH)
    day = sums.day_number(date(2024, 1, 15), sums.labels.index("2023/24"))
    assert np.isfinite(sums.heat[day - 1, -1])
    assert np.isnan(sums.heat[day + 1 :, -1]).all()
    assert not sums.usable.any()


def test_an_empty_record_is_refused() -> None:
    with pytest.raises(WeatherError, match="record is empty"):
        winter_sums(_record("2023-07-01", "2023-07-02").iloc[:0], NORTH)
