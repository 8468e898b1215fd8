"""``spraywindow report``: one page for one site, to look at on a phone or on paper."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from spraywindow.call import (
    Call,
    ColumnsOption,
    JsonOption,
    NowOption,
    PastColumnsOption,
    PastOption,
    RecordOption,
    SitesArgument,
    SitesOption,
    Unanswered,
    WeatherOption,
    answers_of,
    each_site,
    named_sites,
    note,
    say_each,
)

if TYPE_CHECKING:
    from spraywindow.jobs.slots import Evening


def report(
    files: SitesArgument = None,
    sites: SitesOption = None,
    weather: WeatherOption = None,
    columns: ColumnsOption = None,
    now: NowOption = None,
    winters: PastOption = None,
    winters_columns: PastColumnsOption = None,
    record: RecordOption = None,
    service: Annotated[
        str | None,
        typer.Option(
            "--service", help="nws, metnorway or openmeteo; two: nws,metnorway goes by the worse."
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", help="The page, or a folder for pages; default: by the site's name, here."
        ),
    ] = None,
    sheet: Annotated[bool, typer.Option("--sheet", help="Only the sheet for the client.")] = False,
    json: JsonOption = False,
) -> None:
    """Write a page for the client, and the full report behind it; print its name.

    Printed, its first sheet is one page. Several sites get a page each; their JSON is a list. Of a
    folder of site files, those that cannot be answered are told, the others get their pages, and
    the exit code is 2.
    """
    from spraywindow.errors import InputError
    from spraywindow.jobs.report.page import PAGE_MARK
    from spraywindow.jobs.slots import EVENING_WORDS, keep_advised
    from spraywindow.show import check_ours, plain, to_json, write_new

    named = named_sites(files, sites)
    calls = [
        Call(file, weather, columns, now, record, service,
             winters_file=winters, winters_columns=winters_columns)
        for file in named.files
    ]  # fmt: skip
    into = out if out is not None and out.is_dir() else Path()
    page = out if into is not out else None
    if page is not None and (len(calls) > 1 or named.folder):
        raise InputError(
            "--out of several sites",
            cure="name a folder that is there: every site gets its page in it",
        )
    make = partial(_page, sheet_alone=sheet)
    unanswered: tuple[Unanswered, ...] = ()
    if named.folder:
        each = each_site(calls, make)
        each.refuse_none()
        answered, unanswered = each.answered, each.unanswered
    else:
        answered = tuple(zip(calls, answers_of(calls, make), strict=True))
    paths = [
        page or into / f"{file_name(evenings[0].site.name)}.html" for _, (evenings, _) in answered
    ]
    twice = next((path for path in paths if paths.count(path) > 1), None)
    if twice is not None:
        raise InputError(f"two sites have the page {twice}", cure="give each site its own name")
    for path in paths:  # all or none
        check_ours(path, PAGE_MARK)
    texts = []
    for path, (call, (evenings, content)) in zip(paths, answered, strict=True):
        write_new(path, content, over=PAGE_MARK)
        keep_advised(call, evenings[0], call.weather)
        call.remark()
        answers = [plain(each, EVENING_WORDS) for each in evenings]
        texts.append(to_json({"page": path, "answers": answers}) if json else str(path))
    if json:
        texts += map(to_json, unanswered)
    for missing in unanswered:
        note(str(missing))
    say_each(texts, json=json, between="\n", of_list=named.folder)
    if unanswered:
        raise typer.Exit(2)


def _page(call: Call, *, sheet_alone: bool) -> tuple[list[Evening], str]:
    """The evening of each material of the program, planned first, and the page that shows them."""
    from spraywindow.jobs.report.page import page_html
    from spraywindow.jobs.season import prospect
    from spraywindow.jobs.slots import tonight

    past = call.told_winters
    site = call.with_doubts(call.site, call.weather, *(() if past is None else (past,)))
    tried = None if sheet_alone else ()
    answer = None
    if past is not None:
        answer = prospect(site, past, call.now, forecast=call.weather, what_if=tried)
        site = replace(site, flowers=answer.flowers)
    evenings = tonight(site, call.weather, call.now, winters=past)
    note = "Invented demo orchard." if call.demo else ""
    return evenings, page_html(
        evenings, call.weather, answer, note=note, rows=call.rows, sheet_alone=sheet_alone
    )


def file_name(name: str) -> str:
    """A site's name as a file name: letters, digits and hyphens of any script."""
    kept = "".join(letter if letter.isalnum() else " " for letter in name.lower())
    return "-".join(kept.split())[:80] or "site"
