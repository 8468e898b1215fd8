"""The embedded demo: invented weather of a place that does not exist."""

from __future__ import annotations

import gzip
import io
from pathlib import Path

import numpy as np
import pandas as pd

from spraywindow.errors import InputError, describe
from spraywindow.place import Place
from spraywindow.weather.hourly import check_hourly

DEMO_PLACE = Place(37.8, 21.4, 60.0, "Europe/Athens")
"""A point for the sun and the clock; the valley is invented."""
DEMO_NOW = pd.Timestamp("2026-01-12 18:00", tz=DEMO_PLACE.timezone).tz_convert("UTC")
"""Issue time of the demo's forecast: a Monday evening."""
SOURCE_NAME = "invented demo weather"
CREDIT = "invented for the demo, no real place"

FORECAST_FILE, WINTERS_FILE = "forecast.csv", "winters.csv.gz"
FIRST_WINTER, WINTERS = 2013, 12
RECORD_DAYS, FORECAST_DAYS = 2, 8
WINTERS_SEED = 4
WEEK_SEED = 8418
"""Picked among twelve thousand, for a week with good hours, and bad ones for several reasons."""

_IN_PACKAGE = Path(__file__).resolve().parents[1] / "_samples"
_IN_CHECKOUT = Path(__file__).resolve().parents[2] / "data" / "samples"


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
    raise InputError(describe("no such demo file", expected="one of " + ", ".join(known), got=name))


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


def invent_forecast() -> pd.DataFrame:
    """Weather around `DEMO_NOW`, as `demo_forecast` reads it from its file."""
    from spraywindow.sources.generator import generate, rain_chance

    table = generate(
        DEMO_NOW - pd.Timedelta(days=RECORD_DAYS),
        DEMO_NOW + pd.Timedelta(days=FORECAST_DAYS),
        WEEK_SEED,
        DEMO_PLACE,
    )
    lead_h = np.arange(len(table)) - RECORD_DAYS * 24
    chance = rain_chance(table["rain_mm"].to_numpy(), np.maximum(lead_h, 0).astype(float))
    return table.assign(rain_chance=np.where(lead_h < 0, np.nan, chance))


def invent_winters() -> pd.DataFrame:
    """Weather of the past winters, as `demo_winters` reads it from its file."""
    from spraywindow.sources.generator import generate

    first = pd.Timestamp(FIRST_WINTER, 9, 1, tz="UTC")
    return generate(first, first + pd.DateOffset(years=WINTERS), WINTERS_SEED, DEMO_PLACE)


def write_samples(folder: Path) -> list[Path]:
    """Write the two weather files anew from their seeds; the same bytes every time.

    Returns
    -------
    list of pathlib.Path
        The files written.
    """
    files = {
        folder / FORECAST_FILE: _to_csv(invent_forecast()),
        folder / WINTERS_FILE: _packed(_to_csv(invent_winters())),
    }
    for path, content in files.items():
        path.write_bytes(content)
    return list(files)


def main(arguments: list[str]) -> None:
    """Write the files into the folder named, by default ``data/samples`` of the checkout here."""
    folder = Path(*arguments[:1]) if arguments else Path("data", "samples")
    if not folder.is_dir():
        raise SystemExit(f"{folder}: no such folder; run in the root of a checkout, or name one")
    for path in write_samples(folder):
        print(path)


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


def _to_csv(table: pd.DataFrame) -> bytes:
    from spraywindow.sources.generator import DECIMALS

    whole = {name: "int64" for name, decimals in DECIMALS.items() if decimals <= 0}
    text = table.astype(whole).to_csv(date_format="%Y-%m-%dT%H:%MZ", lineterminator="\n")
    return text.encode()


def _packed(text: bytes) -> bytes:
    """Gzip without the clock and the name of the file in its header."""
    buffer = io.BytesIO()
    with gzip.GzipFile(filename="", mode="wb", fileobj=buffer, mtime=0) as packed:
        packed.write(text)
    return buffer.getvalue()
