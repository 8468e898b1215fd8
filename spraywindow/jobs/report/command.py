"""``spraywindow report``: one page for one site, to look at on a phone or on paper."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from spraywindow.call import (
    DEMO_NOTE,
    ColumnsOption,
    JsonOption,
    NowOption,
    RecordOption,
    SiteOption,
    WeatherOption,
    note,
    say,
    the_now,
    the_site,
    the_weather,
    with_record,
    write_new,
)


def report(
    site: SiteOption = None,
    weather: WeatherOption = None,
    columns: ColumnsOption = None,
    now: NowOption = None,
    winters: Annotated[
        Path | None,
        typer.Option("--winters", help="Hourly record of past winters, for the season's picture."),
    ] = None,
    winters_columns: Annotated[
        Path | None,
        typer.Option("--winters-columns", help="Column map (TOML) for --winters."),
    ] = None,
    record: RecordOption = None,
    service: Annotated[
        str | None, typer.Option("--service", help="nws, metnorway or openmeteo.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="The page; default: the site's name, here.")
    ] = None,
    json: JsonOption = False,
) -> None:
    """Write a page with the answer, the week, the program and the season; print its name."""
    from spraywindow.jobs.report.page import PAGE_MARK, page_html
    from spraywindow.jobs.season import prospect
    from spraywindow.jobs.slots import tonight

    demo = site is None
    the = the_site(site)
    at = the_now(now, the, demo=demo and weather is None)
    the, _ = with_record(the, site, record, at)
    table = the_weather(the, weather, columns, at, demo=demo, service=service)
    evenings = tonight(the, table, at)
    past = None
    if winters is not None:
        from spraywindow.sources.files import read_weather

        past = read_weather(winters, columns=winters_columns)
    elif demo and weather is None:
        from spraywindow.sources.demo import demo_winters

        past = demo_winters()
    answer = None if past is None else prospect(the, past, at, forecast=table)
    page = page_html(evenings, table, answer, note="Invented demo orchard." if demo else "")
    path = out or Path(f"{file_name(the.name)}.html")
    write_new(path, page, over=PAGE_MARK)
    if demo:
        note(DEMO_NOTE)
    if json:
        from spraywindow.jobs.slots import EVENING_WORDS
        from spraywindow.show import plain, to_json

        answers = [plain(each, EVENING_WORDS) for each in evenings]
        say(to_json({"page": path, "answers": answers}))
    else:
        say(path)


def file_name(name: str) -> str:
    """A site's name as a file name: letters, digits and hyphens of any script."""
    kept = "".join(letter if letter.isalnum() else " " for letter in name.lower())
    return "-".join(kept.split())[:80] or "site"
