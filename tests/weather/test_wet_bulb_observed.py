"""The wet bulb against psychrometers and stations: 29 Greek winters, two US airports."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from spraywindow.weather import air
from tests.conftest import SHARED, needs_records

pytestmark = needs_records


def greek_errors(station: str, coefficient: float) -> pd.Series[float]:
    path = SHARED / "data" / "greece-synop" / f"{station}_1975-2004_3h.csv.gz"
    rows = pd.read_csv(path)
    pressure_kpa = rows["pressure_hpa"].where(rows["pressure_hpa"].between(850, 1060), 1013) / 10
    dew_point = air.dew_point_from_humidity(rows["temp_c"], rows["rh_pct"])
    wet = air.wet_bulb_c(rows["temp_c"], dew_point, pressure_kpa, coefficient)
    return pd.Series(wet - rows["wetbulb_c"]).dropna()


@pytest.mark.parametrize("station", ["Kalamata", "Larisa", "Souda"])
def test_greek_screens(station: str) -> None:
    # naturally ventilated screens: the record's own humidity is made with 0.0008 1/K (its notes),
    # FAO-56 eq. 16 names the same; whole percents of humidity and tenths of a degree
    error = greek_errors(station, 0.0008)
    assert len(error) > 80_000
    assert abs(error.mean()) < 0.05
    assert error.abs().quantile(0.95) < 0.2
    # a ventilated psychrometer's coefficient would read a quarter of a degree too low there
    assert -0.35 < greek_errors(station, air.PSYCHROMETER).mean() < -0.15


def number(column: pd.Series[str]) -> pd.Series[float]:
    """Numbers of a US climatological file; a trailing s marks a suspect value."""
    return pd.to_numeric(column.astype(str).str.rstrip("s*"), errors="coerce")


def test_us_airports() -> None:
    # Lincoln, January and February 2023 (degC, hPa), and Atlanta, the same of 2020 (degF, inHg);
    # whole degrees Fahrenheit in all three readings leave more scatter
    folder = SHARED / "data" / "wet-bulb-observed"
    for name, fahrenheit, typical, largest in (
        ("LCD_USW00014939_2020.csv", False, 0.15, 0.3),
        ("3876540.csv", True, 0.36, 0.6),
    ):
        rows = pd.read_csv(folder / name, low_memory=False)
        rows = rows[rows["REPORT_TYPE"].str.strip() == "FM-15"]
        temp, dew_point, wet_bulb = (
            number(rows[f"Hourly{kind}Temperature"]) for kind in ("DryBulb", "DewPoint", "WetBulb")
        )
        pressure_kpa = number(rows["HourlyStationPressure"]) / 10
        if fahrenheit:
            temp, dew_point, wet_bulb = ((x - 32) / 1.8 for x in (temp, dew_point, wet_bulb))
            pressure_kpa = pressure_kpa * 33.86389
        error = pd.Series(air.wet_bulb_c(temp, dew_point, pressure_kpa) - wet_bulb).dropna()
        assert len(error) > 1200
        assert abs(error.mean()) < 0.06
        assert error.abs().quantile(0.95) < typical
        assert np.abs(error).max() < largest
