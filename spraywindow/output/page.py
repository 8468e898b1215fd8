"""One page for one site: a self-contained HTML file that needs no network and no script."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from spraywindow.errors import InputError, describe
from spraywindow.orchard.evening import Evening
from spraywindow.orchard.planned import planned_slots
from spraywindow.orchard.prospect import Prospect
from spraywindow.output.leaf_curl import copper_left, copper_words, curl_spells, curl_words
from spraywindow.output.page_rows import (
    caution_lines,
    day_rows,
    entry_row,
    season_parts,
    slot_rows,
    source_rows,
    verdict,
)
from spraywindow.output.plot_season import SEASON_LEGEND, draw_season, season_words
from spraywindow.output.plot_week import draw_week, split_week, week_legend, week_words
from spraywindow.output.plots import NARROW_PX, WIDE_PX, look
from spraywindow.output.svg import inline_svg
from spraywindow.output.week import week_weather
from spraywindow.output.words import day_words

PAGE_MARK = ("<!DOCTYPE html>", '<meta name="generator" content="spraywindow">')
"""By which a page of ours is known: how it begins, and what it holds."""
NARROW_DAYS = (2, 4)
"""Whole days after today with which the parts of the week on a phone end, but for the last."""


@dataclass(frozen=True)
class Picture:
    """A picture for wide screens and paper, and what stands in for it on a phone."""

    wide: str
    narrow: tuple[str, ...]


def page_html(
    evenings: Sequence[Evening],
    weather: pd.DataFrame,
    prospect: Prospect | None = None,
    *,
    note: str = "",
) -> str:
    """Write the page.

    Parameters
    ----------
    evenings : sequence of Evening
        One for every material of the program, the one next due first.
    weather : DataFrame
        The table that they were made from.
    prospect : Prospect, optional
        The feasibility report, where past winters are known.
    note : str
        Stands under the heading: that it is the demo, say.

    Raises
    ------
    InputError
        If jinja2 or matplotlib is not installed.
    """
    try:
        from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
        from markupsafe import Markup
    except ImportError as error:
        raise InputError(
            describe("the page needs jinja2", cure="in the checkout: pip install '.[plots]'")
        ) from error
    first = evenings[0]
    site, now = first.site, first.now
    environment = Environment(
        loader=PackageLoader("spraywindow.output", "templates"),
        autoescape=select_autoescape(["html"]),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["svg"] = Markup  # our own pictures, escaped where they were made
    planned = planned_slots(evenings)
    with_winters = prospect is not None and prospect.outlook.season.labels
    return environment.get_template("page.html").render(
        site=site,
        note=note,
        made=f"{day_words(now.date())} {now.year}, {now:%H:%M}",
        verdicts=[verdict(each, evenings, planned) for each in evenings],
        week=week_picture(weather, evenings),
        legend=week_legend(first),
        season_legend=SEASON_LEGEND,
        slots=[row for evening in evenings for row in slot_rows(evening, planned)],
        names=[evening.material.name for evening in evenings],
        days=day_rows(evenings),
        job_h=f"{site.job_h:g}",
        program=[
            entry_row(entry, owed, planned)
            for entry, owed in zip(site.program.entries, site.program.visits_allowed, strict=True)
        ],
        between=site.program.between,
        program_notes=site.program.notes(),
        season={"picture": season_picture(prospect), **season_parts(prospect)}
        if prospect is not None and with_winters
        else None,
        curl=curl_words(curl_spells(weather, site, now), site.units),
        copper=copper_words(copper_left(weather, site, now), site),
        cautions=caution_lines(evenings),
        source=source_rows(first),
    )


def week_picture(weather: pd.DataFrame, evenings: Sequence[Evening]) -> Picture:
    """Draw the week for the page: whole on a wide screen, in parts on a phone."""
    site, now = evenings[0].site, evenings[0].now
    week = week_weather(weather, site, now)
    title = f"The coming week's weather and slots, {site.name}"
    words = week_words(evenings)
    with look("week"):
        wide = inline_svg(draw_week(week, evenings, width_px=WIDE_PX), "week", title, words)
    narrow = []
    for number, part in enumerate(split_week(week, NARROW_DAYS), start=1):
        with look(f"week{number}"):
            figure = draw_week(part, evenings, width_px=NARROW_PX, whole=week)
            narrow.append(inline_svg(figure, f"week-{number}", f"{title}, part {number}", words))
    return Picture(wide, tuple(narrow))


def season_picture(prospect: Prospect) -> Picture:
    """Draw the season for the page, for the group with the most trees."""
    outlook = prospect.outlook
    title = f"The season in past winters, {prospect.site.name}"
    words = season_words(outlook)
    svgs = []
    for identity, width in (("season", WIDE_PX), ("season-narrow", NARROW_PX)):
        with look(identity):
            svgs.append(inline_svg(draw_season(outlook, width_px=width), identity, title, words))
    return Picture(svgs[0], (svgs[1],))
