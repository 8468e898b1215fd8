"""The season of several sites in one table: a row a site."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from spraywindow.call import Unanswered
from spraywindow.days import day_words
from spraywindow.jobs.season.answer import SeasonAnswer
from spraywindow.show import FEW_WINTERS, LABEL, paragraph, source_line, table_text
from spraywindow.winters import FEWEST_FOR_START


@dataclass(frozen=True)
class SiteRow:
    """What the table says of a site, in words; `notes` stand below it."""

    site: str
    owed: str
    finish: str
    starts: dict[int, str]
    notes: tuple[str, ...]
    source: str


def site_row(found: SeasonAnswer) -> SiteRow:
    """The row of a report: of the blocks with the most trees, as it comes."""
    outlook, name = found.outlook, found.site.name
    share, notes = outlook.finish_coming, []
    if found.ended:
        first = outlook.season.first
        notes.append(f"{name}: this season is over; the row is of the next one, from "
                     f"{day_words(first)} {first.year}.")  # fmt: skip
    finish = f"{round(share.share * share.n)} of {share.n} ({100 * share.share:.0f} %)"
    few = share.n < FEWEST_FOR_START
    if few:
        notes.append(f"{name}: {FEW_WINTERS}")
    return SiteRow(
        name,
        str(outlook.owed) if outlook.owed else "none",
        "done" if not outlook.owed else finish if share.n else "no winter",
        {
            per_cent: "" if not outlook.owed else "unknown" if few else _day(day)
            for per_cent, day in outlook.latest_start.items()
        },
        tuple(notes),
        source_line(found.source),
    )


def _day(day: dt.date | None) -> str:
    return "never" if day is None else day_words(day)


def sites_table(rows: Sequence[SiteRow], unanswered: Sequence[Unanswered] = ()) -> str:
    """The table and what it goes by; fits 80 columns."""
    shares = list(dict.fromkeys(per_cent for row in rows for per_cent in row.starts))
    head = [
        "rounds\nleft", "winters that\nfinish all",
        *(f"start by,\nfor {per_cent} %" for per_cent in shares), "site",
    ]  # fmt: skip
    cells = [
        [row.owed, row.finish, *(row.starts.get(per_cent, "") for per_cent in shares), row.site]
        for row in rows
    ]
    parts = ["The season, site by site\n" + table_text(head, cells, right=(0, 1))]
    if unanswered:
        parts.append("\n".join(paragraph(str(each)) for each in unanswered))
    notes = [
        "Start by: the latest start that finishes in so many of the winters. For the blocks "
        "with the most trees of each site; past winters as they came, each evening "
        "by its forecast. By itself, `spraywindow season` and a site's name say why."
    ]
    notes += [line for row in rows for line in row.notes]
    foot = [*dict.fromkeys(row.source for row in rows), f"! {LABEL}"]
    return "\n\n".join([*parts, "\n".join(map(paragraph, notes)), "\n".join(map(paragraph, foot))])
