"""The day's visits and the client book as text that fits 80 columns."""

from __future__ import annotations

from spraywindow.days import day_words
from spraywindow.jobs.slots import (
    chance_words,
    doubt_words,
    forecasts_line,
    reason,
    rounds_words,
    wait_words,
    weaker_words,
)
from spraywindow.jobs.visits.answer import Choice, LeftOut, PlannedStop, Visits, served_share
from spraywindow.jobs.visits.book import Book
from spraywindow.show import (
    FEW_WINTERS,
    LABEL,
    SPRAYING,
    Words,
    clock,
    hours_words,
    paragraph,
    source_line,
    table_text,
)
from spraywindow.winters import Share

FEW = 10
RULE = (
    "Past winters as they came, without hindsight: each evening goes by a week's forecast with "
    "errors of the usual size and, beyond it, by what the other winters offered. The crew serves "
    "up to {visits} a day, where skipping costs the most first; equal ones in the order of the "
    "book. {share}A round that is washed off is owed again. Driving and unfinished rounds are left "
    "out."
)


def visits_text(visits: Visits) -> str:
    """The plan of the day: the round, why each, who is left out, how urgent all are."""
    when = "today" if visits.day == visits.now.date() else "tomorrow"
    stops = visits.stops
    every = len(visits.sites) + len(visits.unread)
    count = f"{len(stops)} of {every} sites" if stops else "no site"
    head = f"{when[:1].upper()}{when[1:]}, {day_words(visits.day)}: {count}"
    if stops:
        head += f", {visits.route.drive_min:.0f} min of driving"
    parts = [paragraph(head + ".")]
    if stops:
        parts.append(round_text(visits))
    if left_out := visits.all_left_out:
        parts.append("\n".join(
            paragraph(f"Left out, {each.site}: {left_out_reason(each)}.") for each in left_out
        ))  # fmt: skip
    if doubts := [
        paragraph(f"{site.name}, {doubt_words(doubt, site.units)}.")
        for site in visits.sites
        for doubt in site.in_doubt
    ]:
        parts.append("\n".join(doubts))
    parts.append(_prizes_text(visits))
    sources = dict.fromkeys(source_line(choice.evening.source) for choice in visits.every_choice)
    foot = [paragraph(f"Round: {route_words(visits)}.")] if stops else []
    visited = dict.fromkeys(stop.choice.evening.site.name for stop in stops)
    foot += [
        paragraph(f"{site.name}: {note}.")
        for site in visits.sites
        if site.name in visited
        for note in site.notes
    ]
    told = dict.fromkeys(forecasts_line(stop.choice.evening) for stop in stops)
    foot += [paragraph(f"{line}.") for line in told if line]
    foot += [paragraph(f"Driving: {visits.driving}."), *map(paragraph, sources)]
    parts.append("\n".join(foot))
    parts.append("\n".join(paragraph(f"! {line}") for line in visit_cautions(visits)))
    return "\n\n".join(parts)


def round_text(visits: Visits) -> str:
    """The stops in order, and why each."""
    rows, why = [], []
    for stop in visits.stops:
        choice, slot = stop.choice, stop.slot
        site = choice.evening.site.name
        rows.append([
            str(stop.order), clock(stop.leave), f"{stop.drive_min:.0f} min", clock(stop.arrive),
            hours_words(stop.start, stop.end), choice.material,
            hours_words(slot.start, slot.end), site,
        ])  # fmt: skip
        why.append(paragraph(
            f"{stop.order}. {site}: {prize_words(choice)}; "
            f"{chance_words(slot)}{weaker_words(choice.evening, slot)}."
        ))  # fmt: skip
    head = ["", "leave", "drive", "there", "spray", "material", "good hours", "site"]
    return table_text(head, rows, right=(2,)) + "\n\n" + "\n".join(why)


def _prizes_text(visits: Visits) -> str:
    rows = [
        [
            choice.material,
            choice.decision.word,
            str(choice.urgency.owed),
            str(choice.urgency.known),
            f"{choice.urgency.later_days * choice.urgency.usual_share:.0f}",
            day_words(choice.urgency.last_day) + " *" * choice.urgency.assumed,
            f"{choice.prize:.2f}",
            choice.evening.site.name,
        ]
        for choice in visits.every_choice
    ]
    rows.sort(key=lambda row: -float(row[6]))
    if not rows:
        return "Every program is done."
    head = ["material", "advice", "owed", "known", "later", "last day", "skipping\ncosts", "site"]
    note = (
        "What skipping costs is in rounds: what going on the day is worth more than waiting, by "
        "the chances of the week and, beyond it, by "
        f"{' and '.join(dict.fromkeys(c.decision.basis for c in visits.every_choice))}. The round "
        "that is worth most in all goes, and of equal ones that with the least driving."
    )
    if visits.crew_share < 1:
        note += (
            " The sites share the crew: a later morning counts for each with "
            f"{100 * visits.crew_share:.0f} %."
        )
    if any(choice.urgency.assumed for choice in visits.every_choice):
        note += " * assumed, mild winters: write usual_first_flower in the site file."
    table = table_text(head, rows, right=(2, 3, 4, 6))
    return f"What skipping costs, the most first\n{table}\n{paragraph(note)}"


def prize_words(choice: Choice) -> str:
    """Why a site is visited: what skipping costs, what is owed, and the mornings left for it."""
    urgency = choice.urgency
    rounds = "1 round" if urgency.owed == 1 else f"{urgency.owed} rounds"
    mornings = "1 usable morning" if urgency.known == 1 else f"{urgency.known} usable mornings"
    later = urgency.later_days * urgency.usual_share
    return (
        f"skipping costs {rounds_words(choice.prize)}; {rounds} owed, {mornings} known, about "
        f"{later:.0f} more to be expected"
    )


def left_out_reason(left: LeftOut) -> str:
    """Why a site is left out: the route's reason, else the weather's answer by material."""
    return left.why or "; ".join(
        f"{choice.material}: wait, {wait_words(choice.decision)}"
        if choice.decision.advice == "wait"
        else f"{choice.material} {choice.answer.verdict}: {reason(choice.answer, choice.evening)}"
        for choice in left.choices
    )


def route_words(visits: Visits) -> str:
    """How good the round is, and how it was found."""
    route = visits.route
    if route.proven:
        return "exact, no round is better"
    many = len({choice.site for choice in visits.every_choice if choice.slots})
    return f"near the best, not proven, as {many} sites have open hours"


def visit_cautions(visits: Visits) -> list[str]:
    """The cautions of the materials taken, and the usual ones, each once."""
    taken = [line for stop in visits.stops for line in stop.choice.evening.material.cautions]
    return list(dict.fromkeys([*taken, *SPRAYING, LABEL]))


VISITS_WORDS: Words = {
    (PlannedStop, "reason"): lambda stop, _: prize_words(stop.choice),
    (LeftOut, "reason"): lambda left, _: left_out_reason(left),
    (Choice, "reason"): lambda choice, _: reason(choice.answer, choice.evening),
    (Visits, "cautions"): lambda visits, _: visit_cautions(visits),
}
"""What the JSON of the visits says in words."""


def rule_words(book: Book) -> str:
    """The rule of the replay, in a sentence."""
    many = book.visits_a_day
    share = served_share(many, len(book.promises))
    counts = f"Each counts on the crew on {100 * share:.0f} % of its later mornings. "
    return RULE.format(
        visits=f"{many} sites" if many > 1 else "one site", share=counts if share < 1 else ""
    )


def book_cautions(book: Book) -> list[str]:
    """What to mind about the shares."""
    return [FEW_WINTERS] if len(book.winters) < FEW else []


BOOK_WORDS: Words = {
    (Book, "rule"): lambda book, _: rule_words(book),
    (Book, "cautions"): lambda book, _: book_cautions(book),
}
"""What the JSON of the book says in words."""


def book_text(book: Book) -> str:
    """Who can be promised what, and who would be dropped first."""
    promise = book.promise
    winters = f"{len(book.winters)} past winters, {book.winters[0]} to {book.winters[-1]}"
    tenths = f"{10 * promise:g} winters of 10"
    kept = sum(each.shared.share >= promise for each in book.promises)
    drop = f"; drop first: {book.drops[0].site}" if book.drops else ""
    first = f"{kept} of {len(book.promises)} sites can be promised the whole program{drop}."
    parts = [paragraph(f"{first} With one crew, in {tenths}, by {winters}.")]
    rows = []
    for each in book.promises:
        rounds = ", ".join(
            f"{its.material} {its.promised} of {its.owed}" for its in each.materials if its.owed
        )
        rows.append([
            each.client.name[:24], rounds or "nothing owed", _share(each.alone),
            _share(each.shared),
        ])  # fmt: skip
    head = ["site", "each material by itself", "all, alone", "all, with all"]
    parts.append(table_text(head, rows, right=(2, 3)))
    parts.append(_drops_text(book, tenths))
    foot = [paragraph(f"each material by itself: rounds made in {tenths}. all: winters in which "
                      "the whole program fits, the crew serving only that site, or all of the "
                      "book; in brackets: in the long run, 19 times in 20.")]  # fmt: skip
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


def _drops_text(book: Book, tenths: str) -> str:
    hopeless = [each.client.name for each in book.promises if each.alone.share < book.promise]
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
    for number, drop in enumerate(book.drops):
        first = "Dropped first" if number == 0 else "Then"
        rest = ", ".join(f"{each.site} {100 * each.share.share:.0f} %" for each in drop.leaves)
        lines.append(paragraph(f"{first}: {drop.site}; that leaves {rest}."))
    return "\n".join(lines)
