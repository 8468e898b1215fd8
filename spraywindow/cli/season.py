"""``spraywindow season``: will the program fit, and when must it start."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from spraywindow.cli.options import (
    DEMO_NOTE,
    ColumnsOption,
    JsonOption,
    NowOption,
    SiteOption,
    note,
    progress,
    say,
    the_now,
    the_site,
)

if TYPE_CHECKING:
    import pandas as pd

    from spraywindow.orchard.site import Site

PAST_WINTERS = 25
WintersOption = Annotated[
    Path | None,
    typer.Option("--weather", help="Hourly record of past winters; default: reanalysis."),
]


def season(
    site: SiteOption = None,
    weather: WintersOption = None,
    columns: ColumnsOption = None,
    now: NowOption = None,
    forecast: Annotated[
        Path | None,
        typer.Option("--forecast", help="Forecast file to splice in front in mid-season."),
    ] = None,
    no_forecast: Annotated[
        bool, typer.Option("--no-forecast", help="Past winters only, also in mid-season.")
    ] = False,
    dry_spell: Annotated[
        str | None, typer.Option("--dry-spell", help='Wanted after the spray, such as "48 h".')
    ] = None,
    json: JsonOption = False,
) -> None:
    """Say whether the whole program fits, from past winters: verdict, numbers, reasons."""
    from spraywindow.orchard.prospect import prospect
    from spraywindow.units import quantity

    demo = site is None
    the = the_site(site)
    hours = None if dry_spell is None else quantity(dry_spell, "h", where="--dry-spell")
    at = the_now(now, the, demo=demo and weather is None)
    record, notes = past_weather(the, weather, columns, at, demo=demo)
    ahead = None
    if weather is not None and forecast is None and not no_forecast:
        note("No forecast stands in front of the winters; give --forecast FILE in mid-season.")
    elif not no_forecast:
        ahead = _forecast(the, forecast, at, demo=demo and weather is None)
    answer = prospect(the, record, at, forecast=ahead, dry_spell_h=hours)
    if demo:
        note(DEMO_NOTE)
    if json:
        from spraywindow.output.answers import source_answer, to_json
        from spraywindow.output.season_answers import season_answer

        source = source_answer(record.attrs.get("source", {}), at)
        say(to_json({**season_answer(answer), "source": source, "source_notes": notes}))
    else:
        from spraywindow.output.season_text import season_text
        from spraywindow.output.text import paragraph
        from spraywindow.output.words import source_line

        say(season_text(answer))
        for line in [*notes, source_line(record.attrs.get("source", {}), at)]:
            say(paragraph(line))


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


def _forecast(
    site: Site, path: Path | None, now: pd.Timestamp, *, demo: bool
) -> pd.DataFrame | None:
    """The forecast to splice: from a file, the demo, or a service; None where there is none."""
    from spraywindow.errors import SourceError
    from spraywindow.weather.hourly import known_at

    if path is not None:
        from spraywindow.sources.tables import read_weather

        return known_at(read_weather(path), now)
    if demo:
        from spraywindow.sources.samples import demo_forecast

        table = demo_forecast()
        holds = table.index[0] <= now <= table.index[-1]
        return known_at(table, now) if holds else None
    from spraywindow.sources.forecast import get_forecast

    try:
        with progress("fetching the forecast"):
            return get_forecast(site.place, now=now, service=site.service)
    except SourceError as error:
        note(f"No forecast is spliced in front: {error}")
        return None
