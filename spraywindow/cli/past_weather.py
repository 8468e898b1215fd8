"""Past winters for ``season`` and ``backtest``: a file, the demo's, or a reanalysis."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from spraywindow.cli.options import progress

if TYPE_CHECKING:
    import pandas as pd

    from spraywindow.orchard.site import Site

PAST_WINTERS = 25
WintersOption = Annotated[
    Path | None,
    typer.Option("--weather", help="Hourly record of past winters; default: reanalysis."),
]


def past_weather(
    site: Site,
    weather: Path | None,
    columns: Path | None,
    now: pd.Timestamp,
    *,
    demo: bool,
) -> tuple[pd.DataFrame, list[str]]:
    """Past winters: a file, the demo's, or reanalysis with the nearest stations as a check."""
    import pandas as pd

    from spraywindow.errors import InputError, SourceError, describe

    if columns is not None and weather is None:
        raise InputError(describe("--columns without --weather", cure="name the weather file"))
    if weather is not None:
        from spraywindow.sources.tables import read_weather

        table = read_weather(weather, columns=columns)
        table.attrs.setdefault("source", {"name": weather.name})
        return table, list(table.attrs.get("notes", []))
    if demo:
        from spraywindow.sources.samples import demo_winters

        return demo_winters(), []
    from spraywindow.sources.reanalysis import reanalysis_record
    from spraywindow.sources.stations import station_record

    # the reanalysis lags some days behind; whole months are asked for, so that the cache serves
    end = (now - pd.Timedelta(days=10)).normalize()
    start = pd.Timestamp(now.year - PAST_WINTERS, 7, 1, tz="UTC")
    if site.place.latitude < 0:
        start = pd.Timestamp(now.year - PAST_WINTERS, 1, 1, tz="UTC")
    with progress(f"fetching {PAST_WINTERS} winters of reanalysis"):
        record = reanalysis_record(site.place, start, end)
    notes = list(record.attrs.get("notes", []))
    try:
        with progress("fetching the nearest stations as a check"):
            station = station_record(site.place, end - pd.Timedelta(days=3 * 365), end)
        notes += [_rain_check(record, station), *station.attrs.get("notes", [])]
    except SourceError as error:
        notes.append(f"No station beside the reanalysis: {error}")
    return record, notes


def _rain_check(record: pd.DataFrame, station: pd.DataFrame) -> str:
    """Rain days of the reanalysis beside those of the stations, on days that both know."""
    from spraywindow.weather.rain import MEASURABLE_MM

    pair = record[["rain_mm"]].join(station["rain_mm"], rsuffix="_station", how="inner").dropna()
    daily = pair.resample("D").agg(["sum", "count"])
    whole = daily[daily[("rain_mm", "count")] == 24]
    if whole.empty:
        return "Rain check: no whole day that the reanalysis and a station both know."
    wet = (
        int((whole[(name, "sum")] >= MEASURABLE_MM).sum())
        for name in ("rain_mm", "rain_mm_station")
    )
    of_record, of_station = wet
    return (
        f"Rain check: of {len(whole)} days that both know, {of_record} have measurable rain in "
        f"the reanalysis and {of_station} at the nearest stations."
    )
