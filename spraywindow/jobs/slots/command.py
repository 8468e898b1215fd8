"""``spraywindow slots``: which hours to spray, tomorrow and in the coming week."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import pandas as pd
import typer

from spraywindow.call import (
    DEMO_NOTE,
    ColumnsOption,
    JsonOption,
    NowOption,
    PlotOption,
    RecordOption,
    SiteOption,
    WeatherOption,
    check_free,
    check_picture,
    note,
    say,
    the_now,
    the_site,
    the_weather,
    with_record,
    write_new,
)
from spraywindow.jobs.slots.answer import Evening
from spraywindow.jobs.slots.words import EVENING_WORDS
from spraywindow.show import keys_of, number, plain
from spraywindow.spray import Slot

RECEIPT_MARK = ("{", '"input_sha256"')
"""By which a receipt of ours is known: how it begins, and what it holds."""
EXIT_CODES = {"go": 0, "no-go": 1, "unknown": 3}


def slots(
    site: SiteOption = None,
    weather: WeatherOption = None,
    columns: ColumnsOption = None,
    now: NowOption = None,
    material: Annotated[
        str | None, typer.Option("--material", help="Such as oil or copper. Default: next due.")
    ] = None,
    record: RecordOption = None,
    service: Annotated[
        str | None,
        typer.Option(
            "--service",
            help="nws, metnorway or openmeteo.",
            autocompletion=lambda: ["nws", "metnorway", "openmeteo"],
        ),
    ] = None,
    hours: Annotated[bool, typer.Option("--hours", help="Add the hour-by-hour table.")] = False,
    json: JsonOption = False,
    csv: Annotated[
        bool, typer.Option("--csv", help="Print the slots (with --hours: the hours) as CSV.")
    ] = False,
    receipt: Annotated[
        Path | None, typer.Option("--receipt", help="Also keep the answer in this file.")
    ] = None,
    plot: PlotOption = None,
    ics: Annotated[
        Path | None,
        typer.Option("--ics", help="Also write a calendar; an older one there is updated."),
    ] = None,
    exit_code: Annotated[
        bool, typer.Option("--exit-code", help="Exit 0 for go, 1 for no-go, 3 for unknown.")
    ] = False,
) -> None:
    """Say where to be tomorrow: go or no-go, from when to when, and why."""
    from spraywindow.errors import InputError
    from spraywindow.jobs.slots.first import tonight

    if json and csv:
        raise InputError("--json and --csv together", cure="choose one")
    demo = site is None
    if service is not None and (demo or weather is not None):
        beside = "the demo" if demo and weather is None else "a weather file"
        raise InputError(f"--service beside {beside}", cure="leave one of them out")
    check_free(receipt, ics)
    check_picture(plot)
    the = the_site(site)
    at = the_now(now, the, demo=demo and weather is None)
    the, _ = with_record(the, site, record, at)
    if material:
        the.material(material)  # an unknown one is refused before anything is fetched
    table = the_weather(the, weather, columns, at, demo=demo, service=service)
    every = tonight(the, table, at, material)
    answer, others = every[0], every[1:]

    if receipt is not None:
        from spraywindow.jobs.slots.receipt import make_receipt
        from spraywindow.show import to_json

        write_new(receipt, to_json(make_receipt(answer, table)) + "\n", over=RECEIPT_MARK)
    if plot is not None:
        from spraywindow.jobs.slots.picture import save_week_picture

        save_week_picture(plot, table, every)
    if ics is not None:
        from spraywindow.jobs.slots.calendar import updated_calendar

        write_new(ics, updated_calendar(ics, every))
    if demo:
        note(DEMO_NOTE)
    if json:
        from spraywindow.jobs.slots.words import EVENING_WORDS
        from spraywindow.show import plain, to_json

        told = plain(answer, EVENING_WORDS)
        say(to_json(told | {"hours": answer.hour_scores} if hours else told))
    elif csv:
        typer.echo(hours_csv(answer) if hours else slots_csv(answer), nl=False)
    else:
        from spraywindow.jobs.slots.text import evening_text

        say(evening_text(answer, others, with_hours=hours))
    if exit_code:
        raise typer.Exit(EXIT_CODES[answer.first.verdict])


def slots_csv(evening: Evening) -> str:
    """One row a slot, the likeliest first; columns as the JSON keys."""
    columns = [key.name for key in keys_of(Slot) or ()]
    rows = plain(evening, EVENING_WORDS)["slots"]
    return str(pd.DataFrame(rows, columns=columns).to_csv(index=False, lineterminator="\n"))


def hours_csv(evening: Evening) -> str:
    """One row an hour in local time: verdict, margin, what holds it, and each limit's margin."""
    hours = evening.hours_ahead.drop(columns="go")
    hours.index = pd.Index(plain(list(hours.index)), name="time")
    numbers = hours.select_dtypes("number").columns
    hours = hours.assign(**{name: hours[name].map(number) for name in numbers})
    return str(hours.to_csv(lineterminator="\n"))
