"""The feasibility report as text: verdict first, numbers after, reasons last."""

from __future__ import annotations

import datetime as dt

import numpy as np

from spraywindow.orchard.prospect import Prospect
from spraywindow.output.ends_text import ends_text
from spraywindow.output.next_text import next_text
from spraywindow.output.notices import FEW_WINTERS, LABEL, Words
from spraywindow.output.season_curl_text import curl_text
from spraywindow.output.text import paragraph, table_text
from spraywindow.output.words import day_words, limit_words, source_line
from spraywindow.season.outlook import FEWEST_FOR_START, Outlook
from spraywindow.season.share import Share, mean_known
from spraywindow.season.span import FIVE_WEEKS_D
from spraywindow.season.stages import stage_words

MOST_LIMITS = 6
WINTER_TO_WINTER = (
    "One forecast stands in front of every winter: the interval is winter-to-winter only."
)


def share_words(share: Share, label: str = "") -> str:
    """A share with its 95 % interval and n, as "11 of 12 winters (92 %, 65-99 %)".

    Whoever has not said so yet gives a `label` to stand before the interval.
    """
    if share.n == 0:
        return "no winter to count"
    hits = round(share.share * share.n)
    return (
        f"{hits} of {share.n} winters ({100 * share.share:.0f} %, {label}"
        f"{100 * share.low:.0f}-{100 * share.high:.0f} %)"
    )


def season_text(prospect: Prospect) -> str:
    """The whole report."""
    outlook = prospect.outlook
    parts = [_verdict(prospect), _program(prospect), *next_text(prospect.upcoming)]
    if outlook.season.labels:
        parts += [_weeks(outlook), _starts(outlook)]
    parts.append(_winters(outlook))
    if outlook.season.labels:
        parts.append(_reasons(outlook))
        parts += curl_text(outlook)
    return "\n\n".join([*parts, _foot(prospect)])


def _verdict(prospect: Prospect) -> str:
    outlook, site = prospect.outlook, prospect.site
    first = outlook.season.first
    lines = []
    if prospect.ended:
        lines.append(f"{site.name}: this season is over; the next one begins about "
                     f"{day_words(first)} {first.year}.")  # fmt: skip
    if outlook.owed == 0:
        lines.append(f"{site.name}: the program is done, no round is owed.")
        return "\n".join(paragraph(line) for line in lines)
    if not outlook.season.labels:
        lines.append(
            f"{site.name}: no winter of the record can be counted, so nothing can be said of the "
            f"{outlook.owed} rounds owed; the winters and why they are left out stand below."
        )
        return "\n".join(paragraph(line) for line in lines)
    begins = "from tomorrow" if prospect.begun else f"from leaf fall, {day_words(first)}"
    lines.append(
        f"{site.name}: the {outlook.owed} rounds owed fit {begins} in "
        f"{share_words(outlook.finish_coming, '95 % interval ')} as it comes; with hindsight in "
        f"{share_words(outlook.finish_hindsight)}."
    )
    if outlook.season.left_out:
        lines.append(_left_out_words(outlook))
    lines.append(_latest_words(outlook))
    lines += cautions(outlook)
    return "\n".join(paragraph(line) for line in lines)


def cautions(outlook: Outlook) -> list[str]:
    """How the shares are to be read."""
    said = []
    if outlook.spliced and outlook.finish_coming.n:
        said.append(WINTER_TO_WINTER)
    if 0 < outlook.finish_coming.n < FEWEST_FOR_START:
        said.append(FEW_WINTERS)
    return said


SEASON_WORDS: Words = {(Prospect, "cautions"): lambda prospect, _: cautions(prospect.outlook)}
"""What the JSON says in words."""


def _left_out_words(outlook: Outlook) -> str:
    """How many winters are left out; those of missing rain bound the share."""
    every, wet = len(outlook.season.left_out), len(outlook.season.rain_missing)
    said = f"Winters left out: {every}"
    if not wet:
        return f"{said}; why stands below."
    whose = "" if wet == every else f"{wet} of them "
    low, high = (f"{100 * bound:.0f}" for bound in outlook.bounds)
    return (
        f"{said}, {whose}for missing rain, probably wetter ones: had these failed, or finished, "
        f"the share would be {low} to {high} %."
    )


def _latest_words(outlook: Outlook) -> str:
    if outlook.finish_coming.n < FEWEST_FOR_START:
        return f"No latest start is given: it takes {FEWEST_FOR_START} winters."
    parts = [
        f"{day_words(day)} to finish in {per_cent} % of winters"
        if day
        else f"no start reaches {per_cent} % of winters"
        for per_cent, day in outlook.latest_start.items()
    ]
    return f"Start by: {'; '.join(parts)} (n = {outlook.finish_coming.n})."


def _program(prospect: Prospect) -> str:
    rows = [
        [
            each.entry.material,
            str(each.entry.rounds),
            f"{each.entry.rounds_done:g}",
            str(each.owed),
            f"{each.entry.least_days} d",
            f"{np.median(prospect.outlook.usable[number]):.0f}"
            if prospect.outlook.season.labels
            else "unknown",
            f"{prospect.outlook.short[each.entry.material]:.1f}"
            if prospect.outlook.season.labels
            else "unknown",
        ]
        for number, each in enumerate(prospect.rounds)
    ]
    head = ["material", "rounds", "done", "owed", "apart", "usable mornings", "rounds short"]
    text = table_text(head, rows, right=(1, 2, 3, 4, 5, 6))
    text += "\n" + paragraph(
        "Usable mornings: of the middle winter, as `slots` would call them the evening before "
        "(frost with a forecast's uncertainty); hindsight goes by the record. Rounds short: mean "
        "per winter, as it comes."
    )
    lost = max(prospect.outlook.short.items(), key=lambda item: item[1], default=("", 0.0))
    if lost[1] > 0:
        text += "\n" + paragraph(f"Lost first: a round of {lost[0]}.")
    if prospect.outlook.owed and prospect.outlook.season.labels:
        text += "\n" + paragraph(_span_words(prospect))
    return f"Program, least {prospect.program.between} d between materials\n{text}"


def _span_words(prospect: Prospect) -> str:
    """How many days the rounds owed take, and whether five weeks would hold them."""
    span = prospect.span
    took = (
        f"From the first round to the last it takes {span.median_days:.0f} days (middle of "
        f"{span.finished} winters that finish). "
        if span.finished
        else ""
    )
    return (
        f"{took}If the season closed after {FIVE_WEEKS_D} days, all {prospect.outlook.owed} would "
        f"fit in {share_words(span.in_five_weeks)}."
    )


def _weeks(outlook: Outlook) -> str:
    rows = []
    for week, row in enumerate(outlook.weekly):
        if np.isnan(row).all():
            continue
        begin = outlook.season.first + dt.timedelta(days=7 * week)
        cells = [_spread(row[column]) for column in range(len(outlook.season.materials))]
        rows.append([day_words(begin), *cells])
    head = ["week from", *(material.name for material in outlook.season.materials)]
    return "Usable mornings a week: mean of the winters (10-90 %)\n" + table_text(
        head, rows, right=tuple(range(1, len(head)))
    )


def _spread(values: np.ndarray) -> str:
    known = values[~np.isnan(values)]
    if not known.size:
        return "-"
    low, high = np.quantile(known, [0.1, 0.9], method="inverted_cdf")
    return f"{mean_known(values):.1f} ({low:.0f}-{high:.0f})"


def _starts(outlook: Outlook) -> str:
    rows, before = [], None
    for day in range(0, len(outlook.start_shares), 7):
        share = float(outlook.start_shares[day])
        cost = "" if before is None else f"{100 * (share - before):+.0f}"
        rows.append(
            [day_words(outlook.season.first + dt.timedelta(days=day)), f"{100 * share:.0f} %", cost]
        )
        if share == 0.0:
            break
        before = share
    return (
        f"Share of {outlook.finish_coming.n} winters that finish, by first day of work\n"
        + table_text(["start", "finish", "the week's delay costs"], rows, right=(1, 2))
    )


def _winters(outlook: Outlook) -> str:
    names = [material.name for material in outlook.season.materials]
    rows = [
        [
            row.winter,
            *map(str, row.usable_mornings.values()),
            str(row.rounds.hindsight),
            str(row.rounds.as_it_comes),
            "",
        ]
        if row.usable
        else [row.winter, *[""] * (len(names) + 2), f"left out: {row.why_not}"]
        for row in outlook.winters
    ]
    head = ["winter", *names, "hindsight", "as it comes", ""]
    return f"Usable mornings and rounds made of {outlook.owed}, winter by winter\n" + table_text(
        head, rows, right=tuple(range(1, len(head) - 1))
    )


def _reasons(outlook: Outlook) -> str:
    by_name = {material.name: material for material in outlook.season.materials}
    rows = [
        [
            f"{cost.material}: without '{limit_words(cost.limit, by_name[cost.material])}'",
            f"+{cost.days:.1f}",
            "",
        ]
        for cost in outlook.limits[:MOST_LIMITS]
    ]
    text = "What stops the mornings: usable mornings a winter gained\n" + table_text(
        ["limit", "mornings", ""], rows, right=(1,)
    )
    longest = max(outlook.season.materials, key=lambda material: material.dry_spell_h)
    rows = [
        [
            ease.name,
            f"{ease.usable_mornings[longest.name]:.1f}",
            f"{100 * ease.finish.share:.0f} % of {ease.finish.n}",
        ]
        for ease in (*outlook.dry_spells, *outlook.eased)
    ]
    return (
        f"{text}\n\nIf other than {longest.dry_spell_h:g} h were wanted after {longest.name}\n"
        + table_text(["change", "mornings", "finish"], rows, right=(1, 2))
    )


def _foot(prospect: Prospect) -> str:
    first = prospect.groups[0]
    lines = [f"For {first.names}: flowers by {first.need_name}. {ends_text(first.outlook)}"]
    lines += [
        f"For {group.names} ({group.need_name}): all rounds fit in "
        f"{share_words(group.outlook.finish_coming)}. {ends_text(group.outlook)}"
        for group in prospect.groups[1:]
    ]
    lines += [
        f"Not for {block.name}: {stage_words(block.stage or 0)} seen on {block.observed}."
        for block in prospect.in_flower
    ]
    lines += [f"Note: {note}." for note in prospect.all_notes]
    lines += [f"! {LABEL}", *prospect.source_notes, source_line(prospect.source)]
    return "\n".join(map(paragraph, lines))
