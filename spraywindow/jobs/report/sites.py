"""One page of several sites: who has no answer, the order of visits, the week, a part a site."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from spraywindow.call import Unanswered
from spraywindow.days import day_words
from spraywindow.jobs.report.page import caution_lines
from spraywindow.jobs.slots import (
    Evening,
    blocks_line,
    day_lines,
    decision_line,
    doubt_lines,
    headline,
    site_days,
    untold_lines,
    week_of,
)
from spraywindow.show import LABEL, source_line


def sites_html(
    every: Sequence[Sequence[Evening]],
    now: pd.Timestamp,
    unanswered: Sequence[Unanswered] = (),
    route: Sequence[str] = (),
) -> str:
    """Write the page.

    Parameters
    ----------
    every : sequence of sequence of Evening
        Of each site that is answered one for every material, the one that goes first before.
    now : Timestamp
        In the time of the first site.
    unanswered : sequence of Unanswered
        They stand at the top: nobody may take them for sites where nothing goes.
    route : sequence of str
        The order of visits, a line each.
    """
    # jinja2 is loaded only where a page is made: a cold start counts
    from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

    environment = Environment(
        loader=PackageLoader("spraywindow.jobs.report", "templates"),
        autoescape=select_autoescape(["html"]),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    days = week_of(every) if every else []
    return environment.get_template("sites.html").render(
        made=f"{day_words(now.date())} {now.year}, {now:%H:%M}",
        count=len(every) + len(unanswered),
        unanswered=unanswered,
        route=route,
        days=[day_words(day).replace(" ", "\u00a0") for day in days],
        sites=[
            {
                "name": evenings[0].site.name,
                "cells": [
                    day_lines(cell, None if number == 0 else evenings[0].material.name)
                    for number, cell in enumerate(site_days(evenings, days))
                ],
                "lines": _lines(evenings),
            }
            for evenings in every
        ],
        cautions=list(dict.fromkeys(
            line for evenings in every for line in caution_lines(evenings)
        )) or [LABEL],
    )  # fmt: skip


def _lines(evenings: Sequence[Evening]) -> list[str]:
    first = evenings[0]
    lines = [f"{headline(each)}." for each in evenings]
    if told := decision_line(first):
        lines.append(f"{told}.")
    lines += [f"{line}." for line in (*doubt_lines(first.site), *untold_lines(first))]
    lines += [f"{blocks_line(first.blocks)}.", *(f"Note: {note}." for note in first.notes)]
    return [line[:1].upper() + line[1:] for line in (*lines, source_line(first.source))]
