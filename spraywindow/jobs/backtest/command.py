"""``spraywindow backtest``: past winters day by day, by this rule and by others."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

import typer

from spraywindow.call import (
    DEMO_NOTE,
    ColumnsOption,
    JsonOption,
    NowOption,
    PlotOption,
    SiteOption,
    WintersOption,
    bar,
    check_picture,
    note,
    past_weather,
    progress,
    say,
    the_now,
    the_site,
)

if TYPE_CHECKING:
    import pandas as pd

    from spraywindow.site import Site
    from spraywindow.winters import ForecastReplay


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
    from spraywindow.errors import InputError
    from spraywindow.jobs.backtest.answer import replayed, usual_replays

    if json and csv:
        raise InputError("--json and --csv together", cure="choose one")
    check_picture(plot)
    demo = site is None
    if archived and demo:
        raise InputError("--archived for the invented demo", cure="name your site with --site FILE")
    the = the_site(site)
    at = the_now(now, the, demo=demo and weather is None)
    record, notes = past_weather(the, weather, columns, at, demo=demo)
    replays = usual_replays(days, errors)
    if archived:
        replays.append(_archived(the, record, at, notes))
    with bar("winters") as shown:
        result = replayed(the, record, at, replays, progress=shown)
    result = replace(result, source_notes=tuple(notes))
    if plot is not None:
        from spraywindow.jobs.backtest.picture import save_backtest_picture

        save_backtest_picture(plot, result)
    if demo:
        note(DEMO_NOTE)
    if json:
        from spraywindow.jobs.backtest.json import backtest_answer
        from spraywindow.show import to_json

        say(to_json(backtest_answer(result)))
    elif csv:
        from spraywindow.jobs.backtest.json import backtest_csv

        typer.echo(backtest_csv(result), nl=False)
    else:
        from spraywindow.jobs.backtest.text import backtest_text

        say(backtest_text(result))


def _archived(
    site: Site, record: pd.DataFrame, now: pd.Timestamp, notes: list[str]
) -> ForecastReplay:
    """The archived forecasts of the record's winters; what they hold is added to `notes`."""
    from spraywindow.sources.http import polite_session
    from spraywindow.sources.past import archived_forecasts

    with progress("fetching archived forecasts"), polite_session() as session:
        replay = archived_forecasts(
            site.place, record.index[0], record.index[-1], now=now, session=session
        )
    notes += replay.notes
    return replay
