"""``spraywindow backtest``: past winters day by day, by this rule and by others."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import pandas as pd
import typer

from spraywindow.call import (
    Call,
    ColumnsOption,
    FullOption,
    JsonOption,
    NowOption,
    PastColumnsOption,
    PastOption,
    PlotOption,
    SiteOption,
    bar,
    check_picture,
    progress,
)
from spraywindow.jobs.backtest.answer import SiteBacktest, winter_rows
from spraywindow.winters import AFTER_H, runs_of

if TYPE_CHECKING:
    from spraywindow.winters import ForecastReplay


def backtest(
    site: SiteOption = None,
    winters: PastOption = None,
    winters_columns: PastColumnsOption = None,
    weather: Annotated[
        Path | None, typer.Option("--weather", help="The same as --winters: here is no forecast.")
    ] = None,
    columns: ColumnsOption = None,
    now: NowOption = None,
    days: Annotated[
        int, typer.Option("--days", min=2, max=10, help="Days that a forecast reaches.")
    ] = 7,
    errors: Annotated[
        int,
        typer.Option(
            "--errors", min=0, max=20, help="Runs with each kind of forecast error; 0 for none."
        ),
    ] = 1,
    within: Annotated[
        str | None,
        typer.Option("--within", help='Close each season so long after leaf fall: "35 days".'),
    ] = None,
    archived: Annotated[
        bool,
        typer.Option(
            "--archived",
            help="Also replay archived forecasts of Open-Meteo (2024 on; its free tier is for "
            "non-commercial use).",
        ),
    ] = False,
    full: FullOption = False,
    plot: PlotOption = None,
    json: JsonOption = False,
    rounds: Annotated[
        bool, typer.Option("--rounds", help="Also give every rule's rounds in the JSON.")
    ] = False,
    csv: Annotated[
        bool, typer.Option("--csv", help="Print one row a rule, run and winter.")
    ] = False,
) -> None:
    """Replay past winters by this rule: rounds that came off, were washed off, or failed."""
    from spraywindow.errors import InputError
    from spraywindow.jobs.backtest.answer import replayed, usual_replays
    from spraywindow.units import quantity

    if json and csv:
        raise InputError("--json and --csv together", cure="choose one")
    if rounds and not json:
        raise InputError("--rounds without --json", cure="add --json")
    check_picture(plot)
    if winters is not None and weather is not None:
        raise InputError("--weather beside --winters", cure="a backtest takes past winters alone")
    if columns is not None and weather is None:
        raise InputError("--columns without --weather", cure="name the weather file")
    call = Call(site, now_text=now, clock=weather is not None, winters_file=winters or weather,
                winters_columns=winters_columns or columns)  # fmt: skip
    if archived and call.demo:
        raise InputError("--archived for the invented demo", cure="name your site with --site FILE")
    the, record, at, notes = call.bare_site, call.winters, call.now, call.winter_notes
    within_d = None if within is None else math.ceil(quantity(within, "d", where="--within"))
    replays = usual_replays(days, errors)
    if archived:
        replays.append(_archived(call, notes))
    with bar("winters") as shown:
        result = replayed(the, record, at, replays, within_d=within_d, progress=shown)
    result = replace(result, source_notes=tuple(notes), tell_rounds=rounds)
    if plot is not None:
        from spraywindow.jobs.backtest.picture import save_backtest_picture

        save_backtest_picture(plot, result)
    if json:
        from spraywindow.jobs.backtest.text import BACKTEST_WORDS
        from spraywindow.show import to_json

        call.say(to_json(result, BACKTEST_WORDS))
    elif csv:
        call.say(backtest_csv(result), end="")
    else:
        from spraywindow.jobs.backtest.text import backtest_text

        call.say(backtest_text(result, full=full))


def _archived(call: Call, notes: list[str]) -> ForecastReplay:
    """The archived forecasts of the record's winters; what they hold is added to `notes`."""
    from spraywindow.sources.http import polite_session
    from spraywindow.sources.past import archived_forecasts

    first, last = call.winters.index[[0, -1]]
    with progress("fetching archived forecasts"), polite_session() as session:
        replay = archived_forecasts(
            call.bare_site.place, first, last, now=call.now, session=session
        )
    notes += replay.notes
    return replay


def backtest_csv(replayed: SiteBacktest) -> str:
    """One row a rule, run and winter: rounds made, how many held, and what came after them."""
    rows = []
    for runs in runs_of(replayed.results):
        for run, result in enumerate(runs.results, start=1):
            for column, row in enumerate(winter_rows(result)):
                rows.append(
                    {
                        "rule": result.name,
                        "run": run,
                        "winter": row.winter,
                        "rounds": row.rounds,
                        "effective": row.effective,
                    }
                    | {f"rain_within_{hours}_h": row.spoiled[hours] for hours in AFTER_H}
                    | {
                        "frost_within_24_h": int(result.outcomes.frost[:, :, column].sum()),
                        "heat_within_48_h": int(result.outcomes.heat[:, :, column].sum()),
                    }
                )
    return str(pd.DataFrame(rows).to_csv(index=False, lineterminator="\n"))
