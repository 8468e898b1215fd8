"""``spraywindow tonight``: every site's answer, one page and one calendar, for a timer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from spraywindow.call import (
    Call,
    ColumnsOption,
    NowOption,
    PastColumnsOption,
    PastOption,
    SitesArgument,
    SitesOption,
    Unanswered,
    WeatherOption,
    apart,
    check_free,
    each_site,
    named_sites,
    parse_now,
    say,
)

if TYPE_CHECKING:
    import pandas as pd

    from spraywindow.jobs.slots import Evening
    from spraywindow.jobs.visits import Visits
    from spraywindow.site import Site

SPEED_KMH, ROAD_FACTOR = 50.0, 1.3
"""Of the way between sites, as `visits` takes it where nothing is said."""


def tonight(
    files: SitesArgument = None,
    sites: SitesOption = None,
    weather: WeatherOption = None,
    columns: ColumnsOption = None,
    now: NowOption = None,
    winters: PastOption = None,
    winters_columns: PastColumnsOption = None,
    service: Annotated[
        str | None, typer.Option("--service", help="nws, metnorway or openmeteo.")
    ] = None,
    home: Annotated[
        str | None, typer.Option(help='Where the day begins and ends: "37.80, 21.40".')
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Also write one page of all; an older one goes.")
    ] = None,
    ics: Annotated[
        Path | None,
        typer.Option(
            "--ics", help="Also write one calendar of all, with alarms; an older one is updated."
        ),
    ] = None,
) -> None:
    """Answer every site once: the table, the order of visits, one page, one calendar.

    A line for cron, each evening at 18:30, and the same for a systemd timer:

    \b
    30 18 * * * cd /path/to/mine && spraywindow tonight sites/ --out page.html --ics calendar.ics
    OnCalendar=*-*-* 18:30

    Exit codes: 0 where every site is answered, whatever the answer; 2 where one is not. Then the
    page says so at its top, the calendar marks what it held of that site as not confirmed, and
    the others are answered. With 2 and no table nothing was written.
    """
    from spraywindow.jobs.report import PAGE_MARK, sites_html
    from spraywindow.jobs.slots import CALENDAR_MARK, keep_advised, sites_text, updated_calendar
    from spraywindow.show import check_ours, paragraph, write_new

    check_free(out, ics)
    if out is not None:
        check_ours(out, PAGE_MARK)
    if ics is not None:
        check_ours(ics, CALENDAR_MARK)
    calls = [
        Call(file, weather, columns, now, None, service,
             winters_file=winters, winters_columns=winters_columns)
        for file in named_sites(files, sites).files
    ]  # fmt: skip
    at, calls = _at_one_time(calls, now)
    each = each_site(calls, _answer)
    every = [answer.evenings for _, answer in each.answered]
    plan, why_not = _plan([answer for _, answer in each.answered], at, home)
    leaving = _leaving(plan)
    if every:
        at = every[0][0].now
    # both are made before either is written
    page = None if out is None else sites_html(every, at, each.unanswered, _route(plan, why_not))
    calendar = (
        None
        if ics is None
        else updated_calendar(
            ics, every, at, name="Spray hours", leaving=leaving, of_folder=True
        )
    )  # fmt: skip
    if out is not None and page is not None:
        write_new(out, page, over=PAGE_MARK)
    if ics is not None and calendar is not None:
        write_new(ics, calendar, over=CALENDAR_MARK)
    for call, answer in each.answered:
        keep_advised(call, answer.evenings[0], answer.weather)
        call.remark()
    say("\n\n".join([
        _head(len(calls), each.unanswered),
        sites_text(every, each.unanswered)
        if every
        else "\n".join(paragraph(str(missing)) for missing in each.unanswered),
        *_round_parts(plan, why_not),
        *(["\n".join(f"Written: {path}" for path in (out, ics) if path)] if out or ics else []),
    ]))  # fmt: skip
    if each.unanswered:
        raise typer.Exit(2)


@dataclass(frozen=True)
class Answer:
    """What one site is told, and what it was made from."""

    evenings: list[Evening]
    site: Site
    weather: pd.DataFrame
    winters: pd.DataFrame | None


def _answer(call: Call) -> Answer:
    from spraywindow.jobs.slots import evenings_of

    evenings = evenings_of(call)
    site = call.with_doubts(call.with_winters(call.site), call.weather)
    return Answer(evenings, site, call.weather, call.told_winters)


def _at_one_time(calls: list[Call], now: str | None) -> tuple[pd.Timestamp, list[Call]]:
    """The time of the answer, by the clock of the first site that can be read, and of all calls."""
    import pandas as pd

    readable = apart(calls).answered
    if not readable:
        at = pd.Timestamp.now(tz="UTC") if now is None else parse_now(now, "UTC")
        return at, calls
    first = readable[0][0]
    return first.now.tz_convert(first.file_site.place.timezone), [
        replace(call, first=first) for call in calls
    ]


def _plan(
    answers: Sequence[Answer], now: pd.Timestamp, home: str | None
) -> tuple[Visits | None, str]:
    """The order of visits where several sites are worth going to; else why there is none."""
    from spraywindow.errors import SprayWindowError
    from spraywindow.jobs.slots import GOES, advice_word
    from spraywindow.jobs.visits import driving_of, plan_visits

    worth = sum(advice_word(each.evenings[0]) in GOES for each in answers)
    if worth < 2:
        return None, ""
    the = [each.site for each in answers]
    if len({site.place.latitude >= 0 for site in the}) > 1:
        return None, "sites on both sides of the equator are planned apart"
    minutes, told = driving_of(the, home, SPEED_KMH, ROAD_FACTOR, None, others=False)
    try:
        plan = plan_visits(
            the, [each.weather for each in answers], now, minutes,
            home=None if home is None else len(the),
            winters=[each.winters for each in answers], driving=told,
        )  # fmt: skip
    except SprayWindowError as error:
        return None, str(error)
    return plan, ""


def _leaving(plan: Visits | None) -> Mapping[tuple[str, str], pd.Timestamp]:
    stops = () if plan is None else plan.stops
    return {(stop.choice.evening.site.name, stop.choice.material): stop.leave for stop in stops}


def _round_parts(plan: Visits | None, why_not: str) -> list[str]:
    from spraywindow.jobs.visits import round_text
    from spraywindow.show import paragraph

    if why_not:
        return [paragraph(f"No order of visits: {why_not}.")]
    if plan is None or not plan.stops:
        return []
    return [f"In which order\n{round_text(plan)}\n{paragraph(f'Driving: {plan.driving}.')}"]


def _route(plan: Visits | None, why_not: str) -> list[str]:
    """The order of visits for the page, a line each."""
    from spraywindow.show import clock, hours_words

    if why_not:
        return [f"No order of visits: {why_not}."]
    return [
        f"{stop.choice.evening.site.name}: leave {clock(stop.leave)}, {stop.choice.material} "
        f"{hours_words(stop.start, stop.end)} ({stop.drive_min:.0f} min of driving)"
        for stop in (() if plan is None else plan.stops)
    ]


def _head(count: int, unanswered: Sequence[Unanswered]) -> str:
    """How many sites have an answer."""
    sites = "1 site" if count == 1 else f"{count} sites"
    if not unanswered:
        return f"{sites}, all answered."
    return f"{len(unanswered)} of {sites} NOT answered; unknown is not go."
