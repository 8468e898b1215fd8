"""The embedded demo: invented weather of a place that does not exist."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from spraywindow.errors import InputError
from spraywindow.place import Place
from spraywindow.weather import check_hourly

DEMO_PLACE = Place(37.8, 21.4, 60.0, "Europe/Athens")
"""A point for the sun and the clock; the valley is invented."""
DEMO_NOW = pd.Timestamp("2026-01-12 18:00", tz=DEMO_PLACE.timezone).tz_convert("UTC")
"""Issue time of the demo's forecast: a Monday evening."""
SOURCE_NAME = "invented demo weather"
CREDIT = "invented for the demo, no real place"

FORECAST_FILE, WINTERS_FILE = "forecast.csv", "winters.csv.gz"

_IN_PACKAGE = Path(__file__).resolve().parents[2] / "_samples"
_IN_CHECKOUT = Path(__file__).resolve().parents[3] / "data" / "samples"


def sample_path(name: str) -> Path:
    """Path of a demo file, in the installed package or in a checkout.

    Raises
    ------
    InputError
        If there is no such file; the message lists those there are.
    """
    folders = [folder for folder in (_IN_PACKAGE, _IN_CHECKOUT) if folder.is_dir()]
    for folder in folders:
        if (folder / name).is_file():
            return folder / name
    known = sorted(path.name for folder in folders for path in folder.iterdir())
    raise InputError("no such demo file", expected="one of " + ", ".join(known), got=name)


def demo_forecast() -> pd.DataFrame:
    """Two days of records and eight of forecast around `DEMO_NOW`, as a checked weather table.

    Returns
    -------
    pandas.DataFrame
        Hourly, UTC; ``attrs["forecast_from"]`` is `DEMO_NOW`. ``rain_chance`` is NaN before it.
    """
    table = _read(FORECAST_FILE)
    table.attrs = {"source": _source(DEMO_NOW), "forecast_from": DEMO_NOW}
    return check_hourly(table, name=FORECAST_FILE)


def demo_winters() -> pd.DataFrame:
    """Twelve past winters, as whole years from September 2013 on, as a checked weather table."""
    table = _read(WINTERS_FILE)
    table.attrs = {"source": _source(None)}
    return check_hourly(table, name=WINTERS_FILE)


def _source(issued: pd.Timestamp | None) -> dict[str, object]:
    return {
        "name": SOURCE_NAME,
        "issued": issued,
        "fetched": issued,
        "credit": CREDIT,
        "stale": False,
    }


def _read(name: str) -> pd.DataFrame:
    return pd.read_csv(sample_path(name), index_col="time", parse_dates=["time"])
