"""``spraywindow season``: will the program fit, and when must it start."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from spraywindow.call import (
    Call,
    ColumnsOption,
    Each,
    FullOption,
    JsonOption,
    NowOption,
    PastColumnsOption,
    PastOption,
    PlotOption,
    RecordOption,
    SitesArgument,
    SitesOption,
    Told,
    apart,
    bar,
    check_picture,
    gathered,
    named_sites,
    say,
    say_each,
    told,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import pandas as pd

    from spraywindow.call import Unanswered
    from spraywindow.jobs.season.answer import SeasonAnswer
    from spraywindow.jobs.season.sites import SiteRow

T = TypeVar("T")

LEAST_PAST_H = 30 * 24
"""A file that ends after now and is shorter is no record of past winters [h]; P."""


@dataclass(frozen=True)
class Asked:
    """What is asked of every site beside its call."""

    forecast: Path | None
    forecast_columns: Path | None
    no_forecast: bool
    dry_spell: str | None
    what_if: tuple[str, ...]
    plot: Path | None
    full: bool
    json: bool


def season(
    files: SitesArgument = None,
    sites: SitesOption = None,
    winters: PastOption = None,
    winters_columns: PastColumnsOption = None,
    weather: Annotated[
        Path | None,
        typer.Option("--weather", help="Forecast file beside --winters; alone: the past winters."),
    ] = None,
    columns: ColumnsOption = None,
    now: NowOption = None,
    forecast: Annotated[
        Path | None,
        typer.Option("--forecast", help="Forecast file, where --weather is the past winters."),
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
    what_if: Annotated[
        list[str] | None,
        typer.Option(
            "--what-if",
            help='Also try a change of the site file: "access = 7 days", "crew.job = 3 h", '
            '"rounds.copper = 3". Repeatable.',
        ),
    ] = None,
    record: RecordOption = None,
    full: FullOption = False,
    plot: PlotOption = None,
    json: JsonOption = False,
) -> None:
    """Say whether the whole program fits, by past winters, and when to start.

    Several sites run side by side; their JSON is a list. A folder of site files is answered in one
    table, a row a site; one that cannot be answered is told in it, and the exit code is 2.
    """
    from spraywindow.errors import InputError

    named = named_sites(files, sites)
    check_picture(plot)
    if plot is not None and (len(named.files) > 1 or named.folder):
        raise InputError("--plot of several sites", cure="draw one site at a time")
    if forecast_columns is not None and forecast is None:
        raise InputError("--forecast-columns without --forecast", cure="name the forecast file")
    asked = Asked(
        forecast, forecast_columns, no_forecast, dry_spell, tuple(what_if or ()), plot, full, json
    )
    answer = partial(_answer, asked=asked)
    calls = [
        Call(file, weather, columns, now, record,
             winters_file=winters, winters_columns=winters_columns)
        for file in named.files
    ]  # fmt: skip
    if named.folder:
        _say_folder(calls, asked)
        return
    every = _side_by_side(calls, answer) if len(calls) > 1 else [told(calls[0], answer)]
    say_each(gathered(every), json=json, between="\n\n\n")


def _say_folder(calls: list[Call], asked: Asked) -> None:
    """Print the table of a folder, or its JSON; exit code 2 where a site has no answer."""
    from spraywindow.errors import InputError
    from spraywindow.jobs.season.sites import sites_table
    from spraywindow.show import to_json

    if asked.what_if and not asked.json:
        raise InputError("--what-if of several sites", cure="name one site, or ask for --json")
    ready = apart(calls)
    # without what was read already: each process reads for itself
    readable = [replace(call) for call, _ in ready.answered]
    if asked.json:
        texts = _each(readable, partial(_answer, asked=asked), ready.unanswered)
        say_each(
            [*(text for _, text in texts.answered), *map(to_json, texts.unanswered)],
            json=True, of_list=True,
        )  # fmt: skip
        missing = texts.unanswered
    else:
        rows = _each(readable, partial(_row, asked=asked), ready.unanswered)
        say(sites_table([row for _, row in rows.answered], rows.unanswered))
        missing = rows.unanswered
    if missing:
        raise typer.Exit(2)


def _each(calls: list[Call], answer: Callable[[Call], T], unread: Sequence[Unanswered]) -> Each[T]:
    """The answers of a folder's sites, at least one."""
    every = Each.of(calls, _side_by_side(calls, answer), unread)
    every.refuse_none()
    return every


def _side_by_side(calls: list[Call], answer: Callable[[Call], T]) -> list[Told[T]]:
    """Several sites, a process each as far as the processors go."""
    import os
    from concurrent.futures import ProcessPoolExecutor

    workers = max(min(len(calls), os.cpu_count() or 1), 1)
    with bar("sites") as shown, ProcessPoolExecutor(workers) as pool:
        every = []
        for one in pool.map(told, calls, [answer] * len(calls)):
            every.append(one)
            shown(len(every), len(calls))
    return every


def _answer(call: Call, asked: Asked) -> str:
    """One site's text, or its JSON."""
    from spraywindow.jobs.season.text import SEASON_WORDS, season_text
    from spraywindow.show import to_json

    found = _report(call, asked, asked.what_if)
    if asked.plot is not None:
        from spraywindow.jobs.season.picture import save_season_picture

        save_season_picture(asked.plot, found.outlook, call.file_site.name)
    call.remark()
    return to_json(found, SEASON_WORDS) if asked.json else season_text(found, full=asked.full)


def _row(call: Call, asked: Asked) -> SiteRow:
    """One site's row of the table, for which no change is tried."""
    from spraywindow.jobs.season.sites import site_row

    return site_row(_report(call, asked, None))


def _report(call: Call, asked: Asked, what_if: tuple[str, ...] | None) -> SeasonAnswer:
    """One site's report."""
    from spraywindow.errors import InputError
    from spraywindow.jobs.season.answer import prospect
    from spraywindow.units import quantity

    _ = call.file_site  # a mistake in it is told before one in the dry spell
    _ = call.forecast_files  # a map without its file is told first
    alone = call.past_files[0] is None and call.weather_file is not None
    if asked.forecast is not None and call.weather_file is not None and not alone:
        raise InputError("--forecast beside --weather", cure="both are the forecast: give one")
    if alone:  # the past, as it was asked for before there was --winters
        call = replace(
            call, weather_file=None, columns=None, clock=True, winters_file=call.weather_file,
            winters_columns=call.columns,
        )  # fmt: skip
    spell = asked.dry_spell
    hours = None if spell is None else quantity(spell, "h", where="--dry-spell")
    site, winters = call.site, call.winters
    if alone and winters.index[-1] > call.now and len(winters) < LEAST_PAST_H:
        raise InputError(
            "--weather alone is the past here, and this file is a forecast",
            cure="name the past with --winters FILE; --weather is the forecast beside it",
        )
    ahead = None if asked.no_forecast else _forecast(call, asked, alone)
    site = call.with_doubts(site, *(() if ahead is None else (ahead,)), winters)
    found = prospect(site, winters, call.now, forecast=ahead, dry_spell_h=hours, what_if=what_if)
    return replace(found, source_notes=tuple(call.winter_notes))


def _forecast(call: Call, asked: Asked, past_alone: bool) -> pd.DataFrame | None:
    """The forecast to splice: from a file, the demo, or a service; None where there is none.

    No service is asked where nothing but a file of the past was given.
    """
    from spraywindow.errors import SourceError
    from spraywindow.weather import known_at

    if asked.forecast is not None:
        from spraywindow.sources.files import read_weather

        return known_at(read_weather(asked.forecast, columns=asked.forecast_columns), call.now)
    file = call.forecast_files[0]
    if past_alone and file is None:
        call.tell("No forecast stands in front of the winters; give --forecast FILE in mid-season.")
        return None
    try:
        table = call.weather
    except SourceError as error:
        call.tell(f"No forecast is spliced in front: {error}")
        return None
    if call.by_service:
        return table
    if file is not None:
        return known_at(table, call.now)
    holds = table.index[0] <= call.now <= table.index[-1]
    return known_at(table, call.now) if holds else None
