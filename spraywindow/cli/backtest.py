"""``spraywindow backtest``: past winters day by day, by this rule and by others."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from spraywindow.cli.bar import bar
from spraywindow.cli.files import check_picture
from spraywindow.cli.options import (
    DEMO_NOTE,
    ColumnsOption,
    JsonOption,
    NowOption,
    PlotOption,
    SiteOption,
    note,
    progress,
    say,
    the_now,
    the_site,
)
from spraywindow.cli.past_weather import WintersOption, past_weather

if TYPE_CHECKING:
    import pandas as pd

    from spraywindow.orchard.site import Site
    from spraywindow.season.replay import Replay


def backtest(
    site: SiteOption = None,
    weather: WintersOption = None,
    columns: ColumnsOption = None,
    now: NowOption = None,
    days: Annotated[
        int, typer.Option("--days", min=2, max=10, help="Days that a forecast reaches.")
    ] = 7,
    errors: Annotated[
        int,
        typer.Option("--errors", min=0, max=20, help="Runs with forecast errors; 0 for none."),
    ] = 2,
    archived: Annotated[
        bool,
        typer.Option(
            "--archived",
            help="Also replay archived forecasts of Open-Meteo (2024 on; its free tier is for "
            "non-commercial use).",
        ),
    ] = False,
    plot: PlotOption = None,
    json: JsonOption = False,
    csv: Annotated[
        bool, typer.Option("--csv", help="Print one row a rule, run and winter.")
    ] = False,
) -> None:
    """Replay past winters: rounds made, and the rain that came after them, beside other rules."""
    from spraywindow.errors import InputError, describe
    from spraywindow.orchard.replayed import replayed
    from spraywindow.season.forecast_errors import ErrorModel
    from spraywindow.season.replay import Foresight
    from spraywindow.weather.source import weather_source

    if json and csv:
        raise InputError(describe("--json and --csv together", cure="choose one"))
    check_picture(plot)
    demo = site is None
    if archived and demo:
        raise InputError(
            describe("--archived for the invented demo", cure="name your site with --site FILE")
        )
    the = the_site(site)
    at = the_now(now, the, demo=demo and weather is None)
    record, notes = past_weather(the, weather, columns, at, demo=demo)
    replays: list[Replay] = [Foresight(days)]
    replays += [ErrorModel(seed=seed, days=days) for seed in range(1, errors + 1)]
    if archived:
        replays.append(_archived(the, record, at, notes))
    with bar("winters") as shown:
        result = replayed(the, record, at, replays, progress=shown)
    if plot is not None:
        from spraywindow.output.plot_backtest import save_backtest_picture

        save_backtest_picture(plot, result)
    if demo:
        note(DEMO_NOTE)
    if json:
        from spraywindow.output.backtest_answers import backtest_answer
        from spraywindow.output.json import plain, to_json

        source = plain(weather_source(record, at))
        say(to_json({**backtest_answer(result), "source": source, "source_notes": notes}))
    elif csv:
        from spraywindow.output.backtest_answers import backtest_csv

        typer.echo(backtest_csv(result), nl=False)
    else:
        from spraywindow.output.backtest_text import backtest_text
        from spraywindow.output.text import paragraph
        from spraywindow.output.words import source_line

        say(backtest_text(result))
        for line in [*notes, source_line(weather_source(record, at))]:
            say(paragraph(line))


def _archived(site: Site, record: pd.DataFrame, now: pd.Timestamp, notes: list[str]) -> Replay:
    """The archived forecasts of the record's winters; what they hold is added to `notes`."""
    from spraywindow.sources.archived import archived_forecasts
    from spraywindow.sources.session import polite_session

    with progress("fetching archived forecasts"), polite_session() as session:
        replay = archived_forecasts(
            site.place, record.index[0], record.index[-1], now=now, session=session
        )
    notes += replay.notes
    return replay
