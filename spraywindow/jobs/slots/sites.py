"""The coming week of several sites in one table: a row a site, a column a day."""

from __future__ import annotations

import datetime as dt
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest

import pandas as pd

from spraywindow.call import Unanswered
from spraywindow.days import day_words
from spraywindow.jobs.slots.answer import DayAnswer, Evening, beyond
from spraywindow.jobs.slots.first import planned_slots
from spraywindow.jobs.slots.words import advice_word, doubt_lines, headline
from spraywindow.show import GAP, LABEL, WIDTH, hours_words, paragraph, source_line, table_text
from spraywindow.spray import Slot

WEEK_D = 7
SITE_WIDTH = 16
"""Letters of the column of sites, so that a week fits 80."""
DAY_WIDTH = 7
MOST_WHY = 200
"""Letters of the reason of a site without an answer; the JSON and the CSV have all of it."""
GOES = ("spray", "either", "go")


@dataclass(frozen=True)
class SiteDay:
    """What a site is told of one day: a word, and the hours of a material where it goes."""

    site: str
    date: dt.date
    material: str
    word: str
    slot: Slot | None = None


def site_days(evenings: Sequence[Evening], days: Sequence[dt.date]) -> list[SiteDay]:
    """A site's days: the first by its advice, the others by a planned round, else by what goes.

    Where nothing goes, a material that may go makes the day unknown.
    """
    lead = evenings[0]
    planned = {slot.start.date(): slot for slot in reversed(planned_slots(evenings))}
    out = []
    for day in days:
        if day < lead.first.date:  # over, by this site's clock
            out.append(SiteDay(lead.site.name, day, lead.material.name, "-"))
            continue
        if day == lead.first.date:
            word = advice_word(lead)
            slot = lead.first.slot if word in GOES else None
            out.append(SiteDay(lead.site.name, day, lead.material.name, word, slot))
            continue
        answers = {each.material.name: _answer(each, day).verdict for each in evenings}
        ranked = sorted(answers, key=lambda name: ("go", "unknown", "no-go").index(answers[name]))
        slot = planned.get(day)
        name = ranked[0] if slot is None else slot.material
        evening = next(each for each in evenings if each.material.name == name)
        slot = _answer(evening, day).slot if answers[name] == "go" else None
        out.append(SiteDay(lead.site.name, day, name, answers[name], slot))
    return out


def _answer(evening: Evening, day: dt.date) -> DayAnswer:
    return next((each for each in evening.answers if each.date == day), beyond(day))


def week_of(every: Sequence[Sequence[Evening]]) -> list[dt.date]:
    """The days of the table: a week from the first one that any site has an answer for."""
    first = min(evenings[0].first.date for evenings in every)
    return [first + dt.timedelta(days=number) for number in range(WEEK_D)]


def sites_text(every: Sequence[Sequence[Evening]], unanswered: Sequence[Unanswered] = ()) -> str:
    """The table, what to look at first, sources and the label; fits 80 columns."""
    days = week_of(every)
    rows: list[list[str]] = []
    for evenings in every:
        cells = site_days(evenings, days)
        usual = evenings[0].material.name
        left = [
            *textwrap.wrap(evenings[0].site.name, SITE_WIDTH),
            *textwrap.wrap(usual, SITE_WIDTH),
        ]
        lines = [left, *(day_lines(cell, usual) for cell in cells)]
        depth = max(map(len, lines))
        rows += [[line[n] if n < len(line) else "" for line in lines] for n in range(depth)]
    head = ["site,\nmaterial", *(day_words(day).replace(" ", "\n", 1) for day in days)]
    table = table_text(head, rows)
    for each in unanswered:
        width = max(len(row[0]) for row in rows)
        table += "\n" + "\n".join(_unanswered_lines(each, width))
    notes = [
        "The first day's word weighs going against waiting (spray, wait, either), the others say "
        "what the weather allows, of the material under the site's name where none is named. Hours "
        "on each site's clock; `spraywindow slots NAME` says why of each day."
    ]
    notes += [
        f"{evenings[0].site.name}: {headline(evenings[0])}."
        for evenings in every
        if advice_word(evenings[0]) not in ("spray", "either")
    ]
    notes += [
        f"{evenings[0].site.name}: {line}."
        for evenings in every
        for line in doubt_lines(evenings[0].site)
    ]
    foot = [*dict.fromkeys(source_line(evenings[0].source) for evenings in every), f"! {LABEL}"]
    return "\n\n".join([table, "\n".join(map(paragraph, notes)), "\n".join(map(paragraph, foot))])


def day_lines(cell: SiteDay, usual: str | None) -> list[str]:
    """What stands in a cell: word, hours, and a material other than the site's usual one."""
    hours = [] if cell.slot is None else short_hours(cell.slot)
    other = cell.word != "no-go" and cell.material != usual
    return [cell.word, *hours, *(textwrap.wrap(cell.material, DAY_WIDTH) if other else [])]


def short_hours(slot: Slot) -> list[str]:
    """Hours for a narrow column: "10-13", and on two lines where they are not whole."""
    words = hours_words(slot.start, slot.end)
    if all(time.minute == 0 for time in (slot.start, slot.end)):
        return [words.replace(":00", "")]
    begins, ends = words.split("-")
    return [f"{begins}-", ends]


def _unanswered_lines(each: Unanswered, width: int) -> list[str]:
    why = textwrap.shorten(f"not answered: {each.why}", MOST_WHY, placeholder=" ...")
    left, right = textwrap.wrap(each.site, width), textwrap.wrap(why, WIDTH - width - GAP)
    lines = zip_longest(left, right, fillvalue="")
    return [f"{name:{width}}{'':{GAP}}{text}".rstrip() for name, text in lines]


def sites_csv(every: Sequence[Sequence[Evening]], unanswered: Sequence[Unanswered] = ()) -> str:
    """One row a site and day; of a site without an answer one row that says why."""
    from spraywindow.record import csv_cell

    days = week_of(every)
    rows = [
        [
            cell.site, cell.date.isoformat(), cell.material, cell.word,
            *(("", "", "") if (slot := cell.slot) is None else
              (slot.start.isoformat(), slot.end.isoformat(), _figure(slot.chance))),
            "",
        ]
        for evenings in every
        for cell in site_days(evenings, days)
    ]  # fmt: skip
    rows += [[each.site, "", "", "unanswered", "", "", "", each.why] for each in unanswered]
    names = ["site", "date", "material", "word", "start", "end", "chance", "why"]
    table = pd.DataFrame(rows, columns=names).map(csv_cell)
    return str(table.to_csv(index=False, lineterminator="\n"))


def _figure(chance: float | None) -> str:
    return "" if chance is None else f"{chance:.3f}"
