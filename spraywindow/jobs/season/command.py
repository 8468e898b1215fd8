"""``spraywindow season``: will the program fit, and when must it start."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from spraywindow.call import (
    DEMO_NOTE,
    ColumnsOption,
    JsonOption,
    NowOption,
    PlotOption,
    RecordOption,
    WintersOption,
    bar,
    check_picture,
    note,
    past_weather,
    progress,
    say,
    the_now,
    the_site,
    with_record,
)

if TYPE_CHECKING:
    import pandas as pd

    from spraywindow.site import Site


@dataclass(frozen=True)
class Asked:
    """What is asked of every site."""

    weather: Path | None
    columns: Path | None
    now: str | None
    forecast: Path | None
    forecast_columns: Path | None
    no_forecast: bool
    dry_spell: str | None
    record: Path | None
    plot: Path | None
    json: bool


@dataclass(frozen=True)
class Told:
    """What one site was told: the answer, the remarks beside it, or what went wrong."""

    answer: Any = None
    notes: tuple[str, ...] = ()
    problem: str = ""


def season(
    sites: Annotated[
        list[Path] | None,
        typer.Option("--site", help="Site file (TOML), repeatable. Without it: the invented demo."),
    ] = None,
    weather: WintersOption = None,
    columns: ColumnsOption = None,
    now: NowOption = None,
    forecast: Annotated[
        Path | None,
        typer.Option("--forecast", help="Forecast file to splice in front in mid-season."),
    ] = None,
    forecast_columns: Annotated[
        Path | None,
        typer.Option("--forecast-columns", help="Column map (TOML) for --forecast."),
    ] = None,
    no_forecast: Annotated[
        bool, typer.Option("--no-forecast", help="Past winters only, also in mid-season.")
    ] = False,
    dry_spell: Annotated[
        str | None, typer.Option("--dry-spell", help='Wanted after the spray, such as "48 h".')
    ] = None,
    record: RecordOption = None,
    plot: PlotOption = None,
    json: JsonOption = False,
) -> None:
    """Say whether the whole program fits, from past winters: verdict, numbers, reasons.

    Several sites run side by side; their JSON is a list.
    """
    from spraywindow.errors import InputError, one_line

    files = sites or []
    check_picture(plot)
    if plot is not None and len(files) > 1:
        raise InputError("--plot of several sites", cure="draw one site at a time")
    if forecast_columns is not None and forecast is None:
        raise InputError("--forecast-columns without --forecast", cure="name the forecast file")
    asked = Asked(
        weather, columns, now, forecast, forecast_columns, no_forecast, dry_spell, record, plot,
        json,
    )  # fmt: skip
    told = _many(files, asked) if len(files) > 1 else [_told(files[0] if files else None, asked)]
    problems = [one.problem for one in told if one.problem]
    if problems:
        raise InputError(one_line(problems))
    for line in dict.fromkeys(line for one in told for line in one.notes):
        note(line)
    if json:
        from spraywindow.show import to_json

        parts = [to_json(one.answer) for one in told]
        say(parts[0] if len(parts) == 1 else "[" + ",\n".join(parts) + "]")
    else:
        say("\n\n\n".join(one.answer for one in told))


def _many(sites: list[Path], asked: Asked) -> list[Told]:
    """Several sites side by side, a process each as far as the processors go."""
    import os
    from concurrent.futures import ProcessPoolExecutor

    workers = min(len(sites), os.cpu_count() or 1)
    with bar("sites") as shown, ProcessPoolExecutor(workers) as pool:
        told = []
        for one in pool.map(_told, sites, [asked] * len(sites)):
            told.append(one)
            shown(len(told), len(sites))
    return told


def _told(site: Path | None, asked: Asked) -> Told:
    """Answer for one site; an error that a user can cause becomes its line."""
    from spraywindow.errors import SprayWindowError

    notes: list[str] = []
    try:
        return Told(_answer(site, asked, notes), tuple(notes))
    except SprayWindowError as error:
        return Told(problem=str(error))


def _answer(path: Path | None, asked: Asked, notes: list[str]) -> Any:
    """One site's text, or what its JSON holds; remarks are added to `notes`."""
    from spraywindow.jobs.season.answer import prospect
    from spraywindow.units import quantity

    weather, demo = asked.weather, path is None
    site = the_site(path)
    spell = asked.dry_spell
    hours = None if spell is None else quantity(spell, "h", where="--dry-spell")
    at = the_now(asked.now, site, demo=demo and weather is None)
    site, _ = with_record(site, path, asked.record, at, tell=notes.append)
    record, beside = past_weather(site, weather, asked.columns, at, demo=demo)
    ahead = None
    if weather is not None and asked.forecast is None and not asked.no_forecast:
        notes.append(
            "No forecast stands in front of the winters; give --forecast FILE in mid-season."
        )
    elif not asked.no_forecast:
        ahead = _forecast(site, asked, at, notes, demo=demo and weather is None)
    found = prospect(site, record, at, forecast=ahead, dry_spell_h=hours)
    found = replace(found, source_notes=tuple(beside))
    if asked.plot is not None:
        from spraywindow.jobs.season.picture import save_season_picture

        save_season_picture(asked.plot, found.outlook, site.name)
    if demo:
        notes.append(DEMO_NOTE)
    if asked.json:
        from spraywindow.jobs.season.text import SEASON_WORDS
        from spraywindow.show import plain

        return plain(found, SEASON_WORDS)
    from spraywindow.jobs.season.text import season_text

    return season_text(found)


def _forecast(
    site: Site, asked: Asked, now: pd.Timestamp, notes: list[str], *, demo: bool
) -> pd.DataFrame | None:
    """The forecast to splice: from a file, the demo, or a service; None where there is none."""
    from spraywindow.errors import SourceError
    from spraywindow.weather import known_at

    if asked.forecast is not None:
        from spraywindow.sources.files import read_weather

        return known_at(read_weather(asked.forecast, columns=asked.forecast_columns), now)
    if demo:
        from spraywindow.sources.demo import demo_forecast

        table = demo_forecast()
        holds = table.index[0] <= now <= table.index[-1]
        return known_at(table, now) if holds else None
    from spraywindow.sources import get_forecast

    try:
        with progress("fetching the forecast"):
            return get_forecast(site.place, now=now, service=site.service)
    except SourceError as error:
        notes.append(f"No forecast is spliced in front: {error}")
        return None
