"""``spraywindow visits``: one morning, many sites; and the client book before the season."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from spraywindow.call import (
    DEMO_NOTE,
    Call,
    ColumnsOption,
    JsonOption,
    NowOption,
    PastColumnsOption,
    PastOption,
    SitesArgument,
    SitesOption,
    asked_together,
    name_in,
    named_sites,
    note,
    progress,
    say,
)

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd

    from spraywindow.site import Site


@dataclass
class Unread:
    """Name and reason of the sites that cannot be read."""

    rows: list[tuple[str, str]] = field(default_factory=list)

    @contextmanager
    def name(self, site: str) -> Iterator[None]:
        """Note an error that a user can cause, of a site, and go on."""
        from spraywindow.errors import SprayWindowError

        try:
            yield
        except SprayWindowError as error:
            self.rows.append((site, str(error)))

    def refuse(self) -> NoReturn:
        """Raise `InputError` with every site's reason."""
        from spraywindow.errors import InputError, one_line

        raise InputError(one_line([f"{name}: {why}" for name, why in self.rows]))


def listed_sites(
    places: Sequence[Path | None],
    weather: Sequence[Path] | None,
    columns: Path | None,
    now: str | None,
    unread: Unread,
) -> list[Call]:
    """A call for each site file, or for the demo, with its weather file: one for all, or one each.

    Raises
    ------
    InputError
        If no site file can be read, the weather files do not match, or sites cannot be planned
        together: of one name, or on both sides of the equator.
    """
    from spraywindow.errors import InputError

    files: list[Path | None] = list(weather) if weather else [None]
    if len(files) not in (1, len(places)):
        raise InputError(
            "weather files and sites do not match",
            where="--weather",
            expected=f"1 or {len(places)}",
            got=len(files),
        )
    listed: list[Call] = []
    for path, file in zip(places, files if len(files) > 1 else files * len(places), strict=True):
        with unread.name(name_in(path)):
            call = Call(path, file, columns, now, first=listed[0] if listed else None)
            _ = call.file_site
            listed.append(call)
    if not listed:
        unread.refuse()
    names = [call.file_site.name for call in listed]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError(f"two site files are of {twice[0]!r}", cure="give each site its own name")
    if len({call.file_site.place.latitude >= 0 for call in listed}) > 1:
        raise InputError("sites on both sides of the equator", cure="plan them apart")
    return listed


def with_weather(
    listed: Sequence[Call], unread: Unread, *, records: bool = False
) -> tuple[list[Site], list[pd.DataFrame]]:
    """The sites and a weather table each: of a file, or what each site's service says.

    Parameters
    ----------
    records : bool
        Whether to add what the sites' records say is done.

    Raises
    ------
    InputError
        If the file of all sites, or every site's own, cannot be read.
    """
    from spraywindow.sources.grids import field_tables, is_field

    shared, sites, tables = None, [], []
    fields: dict[str, pd.DataFrame] = {}
    file = listed[0].weather_file
    if file is not None and len({call.weather_file for call in listed}) == 1:
        # read once; an error of it is told once
        if is_field(file):
            places = {call.file_site.name: call.file_site.place for call in listed}
            fields = field_tables(file, places, listed[0].columns)
        else:
            shared = listed[0].weather
    with asked_together(listed) as asked:
        for call in asked:
            with unread.name(call.file_site.name):
                site = call.site if records else call.bare_site
                if call.file_site.name in fields:
                    table = fields[call.file_site.name]
                else:
                    table = call.weather if shared is None else shared
                sites.append(call.with_doubts(site, table) if records else site)
                tables.append(table)
                for line in site.seen:
                    call.tell(f"{site.name}: {line}.")
    if not sites:
        unread.refuse()
    return sites, tables


def visits(
    files: SitesArgument = None,
    more: SitesOption = None,
    weather: Annotated[
        list[Path] | None,
        typer.Option(help="Weather file: one for all sites, or one each in their order."),
    ] = None,
    columns: ColumnsOption = None,
    home: Annotated[
        str | None, typer.Option(help='Where the day begins and ends: "37.80, 21.40".')
    ] = None,
    leave: Annotated[
        str | None, typer.Option(help='Earliest leaving, "07:00", local time of the first site.')
    ] = None,
    speed: Annotated[str, typer.Option(help="Mean speed between sites.")] = "50 km/h",
    road: Annotated[
        float, typer.Option(help="How much longer roads are than the straight line.")
    ] = 1.3,
    minutes: Annotated[
        Path | None,
        typer.Option(help='Table of driving minutes (CSV: from,to,minutes; home is "home").'),
    ] = None,
    usual: Annotated[
        str | None,
        typer.Option(help='Share of later mornings that are usable, "25 %".'),
    ] = None,
    book: Annotated[
        bool, typer.Option("--book", help="The client book: past winters, who to promise what.")
    ] = False,
    visits_a_day: Annotated[
        int, typer.Option(min=1, max=20, help="Sites that one crew serves on a good day.")
    ] = 2,
    now: NowOption = None,
    winters: PastOption = None,
    winters_columns: PastColumnsOption = None,
    json: JsonOption = False,
) -> None:
    """Say which sites to visit tomorrow, in which order, with what; or whom to promise what.

    The book takes the order of the sites for their priority.
    """
    from spraywindow.errors import InputError
    from spraywindow.site import with_flowers

    sites = named_sites(files, more).files
    if sites == (None,):
        note(DEMO_NOTE)
    unread = Unread()
    if book and winters is not None:
        if weather:
            raise InputError("--weather beside --winters", cure="the book takes past winters alone")
        weather, columns = [winters], winters_columns
    listed = listed_sites(sites, weather, columns, now, unread)
    at = listed[0].now
    if book:
        if not weather:  # the site files may name theirs
            listed = [_with_past(call) for call in listed]
        _say_book(listed, unread, visits_a_day, json=json)
        return
    from spraywindow.jobs.slots import keep_advised
    from spraywindow.jobs.visits.answer import plan_visits
    from spraywindow.jobs.visits.text import VISITS_WORDS, visits_text
    from spraywindow.show import to_json
    from spraywindow.units import quantity

    share = _share(usual)
    the, tables = with_weather(listed, unread, records=True)
    calls = {call.file_site.name: call for call in listed}
    pasts = [None if winters else calls[site.name].told_winters for site in the]
    if winters is not None:
        from spraywindow.sources.files import read_weather

        pasts = [read_weather(winters, columns=winters_columns)] * len(the)
    the = [
        site
        if past is None or (calls[site.name].demo and not winters)
        else with_flowers(site, past, at, ahead)
        for site, past, ahead in zip(the, pasts, tables, strict=True)
    ]
    matrix, told = driving_of(
        the, home, quantity(speed, "km/h", where="--speed"), road, minutes, others=bool(unread.rows)
    )
    plan = plan_visits(
        the,
        tables,
        at,
        matrix,
        home=None if home is None else len(the),
        leave_h=_clock(leave),
        usual_share=share,
        visits_a_day=visits_a_day,
        winters=pasts,
        unread=tuple(unread.rows),
        driving=told,
    )
    weather_of = dict(zip((site.name for site in the), tables, strict=True))
    for stop in plan.stops:
        going = stop.choice.evening
        keep_advised(calls[going.site.name], going, weather_of[going.site.name])
    say(to_json(plan, VISITS_WORDS) if json else visits_text(plan))


def _with_past(call: Call) -> Call:
    """The call with the past winters that its site file names as its weather."""
    from spraywindow.errors import InputError

    file, columns = call.past_files
    if file is None and not call.demo:
        raise InputError(
            f"the book needs past winters of {call.file_site.name}",
            cure="give --winters FILE of many winters, or name it in the site file as winters",
        )
    return replace(call, weather_file=file, columns=columns)


def _share(text: str | None) -> float | None:
    from spraywindow.errors import InputError
    from spraywindow.units import quantity

    if text is None:
        return None
    expected = '0 to 100 %, such as "25 %"'
    try:
        share = quantity(text, "fraction")
    except InputError as error:
        raise InputError("not a share", where="--usual", expected=expected, got=text) from error
    if not 0 <= share <= 1:
        raise InputError("out of range", where="--usual", expected=expected, got=text)
    return share


def driving_of(
    sites: Sequence[Site],
    home: str | None,
    speed_kmh: float,
    road: float,
    table: Path | None,
    *,
    others: bool,
) -> tuple[np.ndarray, str]:
    """Minutes between all places, home last, and in words where they come from.

    `others`: the table may name places beside these.
    """
    import numpy as np

    from spraywindow.jobs.visits.driving import driving_minutes, with_minutes_table

    points = [(site.place.latitude, site.place.longitude) for site in sites]
    names = [site.name for site in sites]
    if home is not None:
        points.append(_point(home))
        names.append("home")
    place = np.array(points, dtype=float)
    out = driving_minutes(place[:, 0], place[:, 1], speed_kmh=speed_kmh, road_factor=road)
    told = f"{road:g} times the straight line at {speed_kmh:g} km/h"
    if table is not None:
        out, left = with_minutes_table(out, names, table, others=others)
        told = f"from {table}" + (f"; {left} pairs not in it: {told}" if left else "")
    if home is None:
        told += "; no --home given, so the way to the first site and back is not counted"
    return out, told


def _point(text: str) -> tuple[float, float]:
    from spraywindow.errors import InputError

    try:
        latitude, longitude = (float(part) for part in text.split(","))
    except ValueError:
        latitude = longitude = float("nan")
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        raise InputError(
            "not a point", where="--home", expected='"latitude, longitude" in degrees', got=text
        )
    return latitude, longitude


def _clock(text: str | None) -> float | None:
    from datetime import time

    from spraywindow.errors import InputError

    if text is None:
        return None
    try:
        found = time.fromisoformat(text if len(text) > 4 else f"0{text}")
    except ValueError as error:
        raise InputError(
            "not a clock time", where="--leave", expected='"07:00"', got=text
        ) from error
    return found.hour + found.minute / 60


def _say_book(listed: Sequence[Call], unread: Unread, visits_a_day: int, *, json: bool) -> None:
    """Print the client book; every site must be there, since each bears on what all can have."""
    from spraywindow.jobs.visits.answer import served_share
    from spraywindow.jobs.visits.book import client_of, make_book
    from spraywindow.jobs.visits.text import BOOK_WORDS, book_text
    from spraywindow.show import to_json

    if listed[0].demo_weather:
        from spraywindow.sources.demo import demo_winters

        sites, tables = [listed[0].bare_site], [demo_winters()]
    else:
        sites, tables = with_weather(listed, unread)
    with progress("replaying past winters"):
        clients, served = [], served_share(visits_a_day, len(sites))
        for site, table in zip(sites, tables, strict=True):
            with unread.name(site.name):
                today = listed[0].now.tz_convert(site.place.timezone).date()
                clients.append(client_of(site, table, today, served))
        if unread.rows:
            unread.refuse()
        made = make_book(clients, visits_a_day=visits_a_day)
    say(to_json(made, BOOK_WORDS) if json else book_text(made))
