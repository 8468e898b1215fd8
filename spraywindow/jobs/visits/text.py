"""The day's visits and the client book as text that fits 80 columns."""

from __future__ import annotations

import pandas as pd

from spraywindow.days import day_words
from spraywindow.jobs.visits.answer import Visits
from spraywindow.jobs.visits.book import Book
from spraywindow.jobs.visits.json import (
    book_cautions,
    left_out_reasons,
    route_words,
    rule_words,
    urgency_words,
    visit_cautions,
)
from spraywindow.show import clock, paragraph, source_line, table_text
from spraywindow.winters import Share


def visits_text(visits: Visits, now: pd.Timestamp, driving: str) -> str:
    """The plan of the day: the round, why each, who is left out, how urgent all are."""
    local = now.tz_convert(visits.sites[0].place.timezone)
    when = "today" if visits.day == local.date() else "tomorrow"
    stops = visits.route.stops
    every = len(visits.sites) + len(visits.unread)
    count = f"{len(stops)} of {every} sites" if stops else "no site"
    head = f"{when[:1].upper()}{when[1:]}, {day_words(visits.day)}: {count}"
    if stops:
        head += f", {visits.route.drive_min:.0f} min of driving"
    parts = [paragraph(head + ".")]
    if stops:
        parts.append(_round_text(visits))
    if left_out := left_out_reasons(visits):
        parts.append("\n".join(paragraph(f"Left out, {name}: {why}.") for name, why in left_out))
    parts.append(_urgency_text(visits))
    sources = dict.fromkeys(
        source_line(choice.evening.source) for several in visits.choices for choice in several
    )
    foot = [paragraph(f"Round: {route_words(visits)}.")] if stops else []
    foot += [paragraph(f"Driving: {driving}."), *map(paragraph, sources)]
    parts.append("\n".join(foot))
    parts.append("\n".join(paragraph(f"! {line}") for line in visit_cautions(visits)))
    return "\n\n".join(parts)


def _round_text(visits: Visits) -> str:
    rows, why = [], []
    for order, stop in enumerate(visits.route.stops, start=1):
        choice, slot = visits.chosen(stop.job)
        leave, arrive, start, end = (
            clock(visits.at(minutes, stop.job.site).round("min"))
            for minutes in (stop.leave_min, stop.arrive_min, stop.start_min, stop.end_min)
        )
        rows.append([
            str(order), leave, f"{stop.drive_min:.0f} min", arrive, f"{start}-{end}",
            choice.material, f"{clock(slot.start)}-{clock(slot.end)}",
            visits.sites[stop.job.site].name,
        ])  # fmt: skip
        why.append(paragraph(
            f"{order}. {visits.sites[stop.job.site].name}: {urgency_words(choice)}; "
            f"{100 * slot.chance:.0f} % that the hours hold."
        ))  # fmt: skip
    head = ["", "leave", "drive", "there", "spray", "material", "good hours", "site"]
    return table_text(head, rows, right=(2,)) + "\n\n" + "\n".join(why)


def _urgency_text(visits: Visits) -> str:
    rows = [
        [
            choice.material,
            choice.answer.verdict,
            str(choice.urgency.owed),
            str(choice.urgency.known),
            f"{choice.urgency.later_days * choice.urgency.usual_share:.0f}",
            day_words(choice.urgency.last_day) + " *" * choice.urgency.assumed,
            f"{choice.urgency.value:.2f}",
            choice.evening.site.name,
        ]
        for several in visits.choices
        for choice in several
    ]
    rows.sort(key=lambda row: -float(row[6]))
    if not rows:
        return "Every program is done."
    head = ["material", "answer", "owed", "known", "later", "last day", "urgency", "site"]
    note = (
        "Urgency: rounds owed over usable mornings left, those known this week and those "
        "expected later, to the day before the usual first flower. The round with the most "
        "urgency goes, and of equal ones that with the least driving."
    )
    if any(choice.urgency.assumed for several in visits.choices for choice in several):
        note += (
            " * assumed, mild winters: write usual_first_flower in the site file; `season` says "
            "when these trees flower."
        )
    table = table_text(head, rows, right=(2, 3, 4, 6))
    return f"How urgent, the most first\n{table}\n{paragraph(note)}"


def book_text(book: Book, promise: float) -> str:
    """Who can be promised what, and who would be dropped first."""
    winters = f"{len(book.winters)} past winters, {book.winters[0]} to {book.winters[-1]}"
    tenths = f"{10 * promise:g} winters of 10"
    kept = sum(each.shared.share >= promise for each in book.promises)
    drop = f"; drop first: {book.drops[0][0]}" if book.drops else ""
    first = f"{kept} of {len(book.promises)} sites can be promised the whole program{drop}."
    parts = [paragraph(f"{first} With one crew, in {tenths}, by {winters}.")]
    rows = []
    for each in book.promises:
        rounds = ", ".join(
            f"{name} {sure} of {owed}"
            for name, sure, owed in zip(
                each.client.materials, each.sure, each.client.owed, strict=True
            )
            if owed
        )
        rows.append([
            each.client.name[:24], rounds or "nothing owed", _share(each.alone),
            _share(each.shared),
        ])  # fmt: skip
    head = ["site", "each material by itself", "all, alone", "all, with all"]
    parts.append(table_text(head, rows, right=(2, 3)))
    parts.append(_drops_text(book, promise, tenths))
    foot = [paragraph(f"each material by itself: rounds made in {tenths}. all: winters in which "
                      "the whole program fits, the crew serving only that site, or all of the "
                      "book; in brackets the 95 % interval.")]  # fmt: skip
    foot.append(paragraph(f"Rule: {rule_words(book)}"))
    foot += [
        paragraph(f"Winter {label} is left out: {why}.") for label, why in book.left_out.items()
    ]
    parts.append("\n".join(foot))
    cautions = [paragraph(f"! {line}") for line in book_cautions(book)]
    return "\n\n".join([*parts, *(["\n".join(cautions)] if cautions else [])])


def _share(share: Share) -> str:
    return (
        f"{100 * share.share:.0f} % ({100 * share.low:.0f}-{100 * share.high:.0f})"
        if share.n
        else "unknown"
    )


def _drops_text(book: Book, promise: float, tenths: str) -> str:
    hopeless = [each.client.name for each in book.promises if each.alone.share < promise]
    lines = []
    if hopeless:
        lines.append(paragraph(
            f"Not the whole program in {tenths}, even with the crew to itself: "
            f"{', '.join(hopeless)}."
        ))  # fmt: skip
    if not book.drops:
        if len(hopeless) < len(book.promises):
            whom = "all others" if hopeless else "all"
            lines.append(paragraph(f"The crew can serve {whom} in {tenths}: nobody to drop."))
        return "\n".join(lines)
    for number, (name, left) in enumerate(book.drops):
        first = "Dropped first" if number == 0 else "Then"
        rest = ", ".join(f"{other} {100 * share.share:.0f} %" for other, share in left.items())
        lines.append(paragraph(f"{first}: {name}; that leaves {rest}."))
    return "\n".join(lines)
