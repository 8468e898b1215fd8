"""Rain in inches that is read as millimetres is suspected, rain in millimetres is not."""

from __future__ import annotations

import numpy as np
import pytest

from spraywindow.sources.demo.samples import demo_winters
from spraywindow.weather.table import LEAST_DAYS, NOTE, rain_unit_note

HOURS = LEAST_DAYS * 24


def gauge(*amounts: float, hours: int = HOURS, every: int = 20) -> np.ndarray:
    """A record that rains one of the amounts in turn, every so many hours."""
    rain = np.zeros(hours)
    rain[::every] = np.resize(amounts, len(rain[::every]))
    return rain


INCHES = (0.01, 0.01, 0.02, 0.03, 0.05, 0.1, 0.22)


def test_a_gauge_in_inches_is_suspected() -> None:
    assert rain_unit_note(gauge(*INCHES)) == [NOTE]
    with_gaps = gauge(*INCHES, hours=HOURS + 100)
    with_gaps[50:150] = np.nan
    assert rain_unit_note(with_gaps) == [NOTE]


@pytest.mark.parametrize(
    "rain",
    [
        gauge(*INCHES, hours=HOURS - 1),  # too short
        np.maximum(gauge(*INCHES), 3.0 * (np.arange(HOURS) == 99)),  # one wet hour of mm
        gauge(*INCHES, every=HOURS // 20),  # too few wet hours
        25.4 * gauge(*INCHES),  # whole hundredths of an inch in mm
        gauge(0.1, 0.1, 0.1, 0.1, 0.1, 0.2),  # tenths of a millimetre
        gauge(0.013, 0.027, 0.05),  # finer than a gauge of inches
        gauge(0.02, 0.15, 0.38, 0.93),  # a drizzling reanalysis, 0.01 mm/h
        np.zeros(HOURS),
        np.full(HOURS, np.nan),
    ],
)
def test_other_records_are_not(rain: np.ndarray) -> None:
    assert rain_unit_note(rain) == []


def test_rain_of_many_winters() -> None:
    rain = demo_winters()["rain_mm"].to_numpy()
    assert rain_unit_note(rain) == []
    assert rain_unit_note(np.round(rain / 25.4, 2)) == [NOTE]
