"""``spraywindow backtest``: past winters day by day, by this rule and by others."""

from __future__ import annotations

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
from spraywindow.cli.season import WintersOption, past_weather

if TYPE_CHECKING:
    from spraywindow.season.replay import Replay


def backtest(
    site: SiteOption = None,
    weather: WintersOption = None,
    columns: ColumnsOption = None,
    now: NowOption = None,
    days: Annotated[
        int, typer.Option("--days", min=2, max=10, help="Days that a forecast reaches.")
    ] = 7,
    seeds: Annotated[
        int,
        typer.Option("--errors", min=0, max=20, help="Runs with forecast errors; 0 for none."),
    ] = 1,
    json: JsonOption = False,
    csv: Annotated[bool, typer.Option("--csv", help="Print one row a rule and winter.")] = False,
) -> None:
    """Replay past winters: rounds made, and the rain that came after them, beside other rules."""
    from spraywindow.errors import InputError, describe
    from spraywindow.orchard.replayed import replayed
    from spraywindow.season.replay import ErrorModel, Foresight

    if json and csv:
        raise InputError(describe("--json and --csv together", cure="choose one"))
    demo = site is None
    the = the_site(site)
    at = the_now(now, the, demo=demo and weather is None)
    record, _ = past_weather(the, weather, columns, at, demo=demo)
    replays: list[Replay] = [Foresight(days)]
    replays += [ErrorModel(seed=seed, days=days) for seed in range(1, seeds + 1)]
    with progress("replaying the winters"):
        result = replayed(the, record, at, replays)
    if demo:
        note(DEMO_NOTE)
    if json:
        from spraywindow.output.answers import source_answer, to_json
        from spraywindow.output.backtest_answers import backtest_answer

        source = source_answer(record.attrs.get("source", {}), at)
        say(to_json({**backtest_answer(result), "source": source}))
    elif csv:
        from spraywindow.output.backtest_answers import backtest_csv

        typer.echo(backtest_csv(result), nl=False)
    else:
        from spraywindow.output.backtest_text import backtest_text
        from spraywindow.output.text import paragraph
        from spraywindow.output.words import source_line

        say(backtest_text(result))
        say(paragraph(source_line(record.attrs.get("source", {}), at)))
