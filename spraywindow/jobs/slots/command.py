"""``spraywindow slots``: which hours to spray, tomorrow and in the coming week."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated

import pandas as pd
import typer

from spraywindow.call import (
    Call,
    ColumnsOption,
    JsonOption,
    NowOption,
    PastColumnsOption,
    PastOption,
    PlotOption,
    RecordOption,
    SitesArgument,
    SitesOption,
    Unanswered,
    WeatherOption,
    answers_of,
    check_free,
    check_picture,
    each_site,
    named_sites,
    say_each,
)
from spraywindow.jobs.slots.answer import Evening
from spraywindow.jobs.slots.words import EVENING_WORDS, advice_word
from spraywindow.show import check_ours, keys_of, number, plain, to_json, write_new
from spraywindow.spray import Slot

RECEIPT_MARK = (b"{", b'"input_sha256"')
"""By which a receipt of ours is known: how it begins, and what it holds."""
EXIT_CODES = {"spray": 0, "either": 0, "go": 0, "wait": 1, "no-go": 1, "unknown": 3}
"""By the advice, else by the verdict: go where no round is owed."""


def slots(
    files: SitesArgument = None,
    sites: SitesOption = None,
    weather: WeatherOption = None,
    columns: ColumnsOption = None,
    now: NowOption = None,
    material: Annotated[
        str | None, typer.Option("--material", help="Such as oil or copper. Default: next due.")
    ] = None,
    record: RecordOption = None,
    winters: PastOption = None,
    winters_columns: PastColumnsOption = None,
    service: Annotated[
        str | None,
        typer.Option(
            "--service",
            help="nws, metnorway or openmeteo; two: nws,metnorway goes by the worse.",
            autocompletion=lambda: ["nws", "metnorway", "openmeteo"],
        ),
    ] = None,
    hours: Annotated[bool, typer.Option("--hours", help="Add the hour-by-hour table.")] = False,
    json: JsonOption = False,
    csv: Annotated[
        bool, typer.Option("--csv", help="Print the slots (with --hours: the hours) as CSV.")
    ] = False,
    receipt: Annotated[
        Path | None,
        typer.Option(
            "--receipt",
            help="Also keep the answer in this file, its receipt: `log judge` holds it against the "
            "weather that came.",
        ),
    ] = None,
    plot: PlotOption = None,
    ics: Annotated[
        Path | None,
        typer.Option("--ics", help="Also write a calendar; an older one there is updated."),
    ] = None,
    exit_code: Annotated[
        bool,
        typer.Option(
            "--exit-code",
            help="Exit 0 for spray or either, 1 for wait or no-go, 3 for unknown; of several sites "
            "the worst: 3 if any is unknown, else 1 if any is to wait.",
        ),
    ] = False,
) -> None:
    """Say where to be tomorrow: spray, wait or no-go, from when to when, and why.

    A folder of site files is answered in one table, a row a site; one that cannot be answered is
    told in it, and the exit code is 2. Several sites named one by one are answered one after the
    other. The JSON of both is a list.
    """
    from spraywindow.errors import InputError
    from spraywindow.jobs.slots.sites import sites_csv, sites_text
    from spraywindow.jobs.slots.text import evening_text

    if json and csv:
        raise InputError("--json and --csv together", cure="choose one")
    named = named_sites(files, sites)
    calls = [
        Call(file, weather, columns, now, record, service,
             winters_file=winters, winters_columns=winters_columns)
        for file in named.files
    ]  # fmt: skip
    in_table = named.folder and not json
    of_one = {
        "--receipt": receipt, "--plot": plot, "--ics": ics,
        "--csv": (csv and not in_table) or None, "--hours": (hours and in_table) or None,
    }  # fmt: skip
    given = [option for option, value in of_one.items() if value is not None]
    if given and (len(calls) > 1 or in_table):
        cure = "ask for one site at a time"
        if given[0] == "--ics":
            cure += ", or `spraywindow tonight` for a calendar of all"
        raise InputError(f"{given[0]} of several sites", cure=cure)
    if service is not None and (calls[0].demo or weather is not None):
        beside = "the demo" if calls[0].demo_weather else "a weather file"
        raise InputError(f"--service beside {beside}", cure="leave one of them out")
    check_free(receipt, ics)
    if receipt is not None:
        check_ours(receipt, RECEIPT_MARK)
    check_picture(plot)
    if ics is not None:
        from spraywindow.jobs.slots.calendar import CALENDAR_MARK

        check_ours(ics, CALENDAR_MARK)
    answer = partial(evenings_of, material=material)
    unanswered: tuple[Unanswered, ...] = ()
    if named.folder:
        each = each_site(calls, answer)
        each.refuse_none()
        answered, unanswered = each.answered, each.unanswered
    else:
        answered = tuple(zip(calls, answers_of(calls, answer), strict=True))
    for call, evenings in answered:
        _write(call, evenings, receipt, plot, ics)
        call.remark()
    every = [evenings for _, evenings in answered]
    if json:
        texts = [evening_json(first, with_hours=hours) for first, *_ in every]
        say_each([*texts, *map(to_json, unanswered)], json=True, of_list=named.folder)
    elif named.folder:
        typer.echo(
            sites_csv(every, unanswered) if csv else sites_text(every, unanswered), nl=not csv
        )
    elif csv:
        typer.echo(hours_csv(every[0][0]) if hours else slots_csv(every[0][0]), nl=False)
    else:
        say_each([evening_text(first, rest, with_hours=hours) for first, *rest in every])
    if unanswered:
        raise typer.Exit(2)
    if exit_code:
        worst = max(EXIT_CODES[advice_word(first)] for first, *_ in every)
        raise typer.Exit(worst)


def evenings_of(call: Call, material: str | None = None) -> list[Evening]:
    """The evening of each material, first the one that is asked for or planned first."""
    from spraywindow.jobs.slots.first import tonight

    if material:
        call.site.material(material)  # an unknown one is refused before anything is fetched
    site = call.with_winters(call.site)
    site = call.with_doubts(site, call.weather)
    return tonight(site, call.weather, call.now, material, winters=call.told_winters)


def _write(
    call: Call, evenings: list[Evening], receipt: Path | None, plot: Path | None, ics: Path | None
) -> None:
    """Write the files that are asked for beside the answer, and keep its receipt in the record."""
    if ics is not None:  # first: it is refused where an older one holds what would be lost
        from spraywindow.jobs.slots.calendar import CALENDAR_MARK, updated_calendar

        write_new(ics, updated_calendar(ics, [evenings], evenings[0].now), over=CALENDAR_MARK)
    if call.by_service:
        from spraywindow.jobs.slots.receipt import keep_advised

        keep_advised(call, evenings[0], call.weather)
    if receipt is not None:
        from spraywindow.jobs.slots.receipt import make_receipt

        text = to_json(make_receipt(evenings[0], call.weather))
        write_new(receipt, text + "\n", over=RECEIPT_MARK)
    if plot is not None:
        from spraywindow.jobs.slots.picture import save_week_picture

        save_week_picture(plot, call.weather, evenings)


def evening_json(evening: Evening, *, with_hours: bool) -> str:
    """The evening's JSON, with the hours where they are asked for."""
    answer = plain(evening, EVENING_WORDS)
    return to_json(answer | {"hours": evening.hour_scores} if with_hours else answer)


def slots_csv(evening: Evening) -> str:
    """One row a slot, the likeliest first; columns as the JSON keys."""
    from spraywindow.record import csv_cell

    columns = [key.name for key in keys_of(Slot) or ()]
    rows = plain(evening, EVENING_WORDS)["slots"]
    table = pd.DataFrame(rows, columns=columns).map(csv_cell)
    return str(table.to_csv(index=False, lineterminator="\n"))


def hours_csv(evening: Evening) -> str:
    """One row an hour in local time: verdict, margin, what holds it, and each limit's margin."""
    from spraywindow.record import csv_cell

    hours = evening.hours_ahead.drop(columns="go")
    hours.index = pd.Index(plain(list(hours.index)), name="time")
    numbers = hours.select_dtypes("number").columns
    hours = hours.assign(**{name: hours[name].map(number) for name in numbers})
    return str(hours.rename(columns=csv_cell).map(csv_cell).to_csv(lineterminator="\n"))
