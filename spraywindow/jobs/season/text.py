"""The feasibility report as text: plain sentences first; numbers, then reasons on demand."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np

from spraywindow.days import day_words
from spraywindow.jobs.season.answer import NextRound, SeasonAnswer
from spraywindow.jobs.season.brief import NAMED, NO_START, brief_lines, morning_words, over_words
from spraywindow.jobs.season.what_if import what_if_text
from spraywindow.jobs.slots import doubt_lines, limit_words
from spraywindow.show import (
    FEW_WINTERS,
    FULL,
    LABEL,
    Words,
    paragraph,
    source_line,
    table_text,
)
from spraywindow.trees import stage_words
from spraywindow.winters import FEWEST_FOR_START, FIVE_WEEKS_D, SeasonOutlook, Share, mean_known

RANGE_HOLDS = (
    "Between such dates in brackets the first flower came in 6 to 9 years of 10, where that is on "
    "record."
)
"""What the dates in brackets are worth: meant for 8 of 10 years, they held 0.66 to 0.92 of those
at Kyoto and Washington that fitted nothing, by a usual date of the last 1 to 30 years
(tests/trees/test_flowering.py; the model is that of notebooks/fit_flowering.py)."""


def ends_text(outlook: SeasonOutlook) -> str:
    """Sentences, as "Last usable day about: oil 4 Mar (25 Feb to 12 Mar)."

    Before it the first flower.
    """
    if not outlook.season.labels:
        return "Without a winter, no last usable day is known."
    words = [
        f"{name} {_words(end.last)} ({_words(end.low)} to {_words(end.high)})"
        for name, end in outlook.ends.items()
    ]
    flowers = outlook.season.flowering
    first = (
        f"First flower about {_words(flowers.day)} ({_words(flowers.low)} to "
        f"{_words(flowers.high)}{', assumed' * flowers.assumed}); the model errs by about "
        f"{flowers.error_days:g} d. "
        if flowers
        else ""
    )
    return f"{first}Last usable day about: {', '.join(words)}."


def _words(day: dt.date | None) -> str:
    return f"{day.day} {day:%b}" if day else "not known"


def next_text(upcoming: Sequence[NextRound]) -> list[str]:
    """The section, or nothing where no round is owed."""
    rows = [
        [
            each.material,
            str(each.owed),
            day_words(each.allowed) if each.allowed else "not this season",
            morning_words(each),
        ]
        for each in upcoming
        if each.owed
    ]
    if not rows:
        return []
    head = ["material", "owed", "allowed from", "first usable morning known"]
    return ["What is next (`spraywindow slots` has the last word)\n" + table_text(head, rows, (1,))]


def curl_text(outlook: SeasonOutlook) -> list[str]:
    """The section, or nothing for a program without copper."""
    curl = outlook.curl
    if curl is None:
        return []
    n = curl.winters_with_risk
    if n == 0:
        return ["Leaf-curl weather and copper: no winter had weather for infection."]
    rows = [
        [str(number), _share(curl.by_rounds[number - 1]), _share(curl.worth[number - 1])]
        for number in range(1, len(curl.by_rounds) + 1)
    ]
    left, at_most = curl.left, "at most " if curl.left.unknown_h else ""
    if left.share:
        rows.insert(0, ["none", _share(curl.bare), "-"])
    text = (
        "Leaf-curl weather and copper: share of the infection risk from bud swell on,\n"
        "mean (least-most)\n"
    )
    head = ["covered where so many are wanted", "lost without this round"]
    text += table_text(["more rounds" if left.share else "rounds", *head], rows, right=(0, 1, 2))
    covered, best = curl.covered_as_it_comes, curl.covered_by_rounds
    if left.share:
        why = f" (rain is unknown in {left.unknown_h} h since)" if left.unknown_h else ""
        text += "\n" + paragraph(
            f"Of a fresh deposit, {at_most}{100 * left.share:.0f} % is on the wood on "
            f"{day_words(outlook.season.first)} from the rounds done{why}; every figure counts it."
        )
    text += "\n" + paragraph(
        f"The rounds made as it comes cover {at_most}{100 * covered:.0f} % (mean of {n} winters "
        "with risk)."
    )
    enough = next((k for k, mean in enumerate(best, start=1) if mean >= 0.9 * best[-1]), len(best))
    if enough < len(best):
        text += "\n" + paragraph(
            f"As it comes, {enough} of {len(best)} rounds reach nine tenths of the cover of all."
        )
    return [text]


def _share(values: np.ndarray) -> str:
    known = values[~np.isnan(values)]
    if not known.size:
        return "-"
    low, high = known.min(), known.max()
    mean = np.clip(known.mean(), low, high)  # a sum of equal shares may round beyond them
    return f"{100 * mean:.0f} % ({100 * low:.0f}-{100 * high:.0f})"


MOST_LIMITS = 6
WINTER_TO_WINTER = (
    "One forecast stands in front of every winter: the range is that of the winters only."
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


def season_text(prospect: SeasonAnswer, *, full: bool = False) -> str:
    """What it comes to in at most ten lines, and how to read them; in full, the tables as well."""
    outlook = prospect.outlook
    parts = [_opening(prospect)]
    counted = outlook.owed and outlook.season.labels
    if not full:
        said = [*cautions(outlook), FULL] if counted else [FULL]
        foot = "\n".join([*map(paragraph, said), _foot(prospect)])
        return "\n\n".join([*parts, foot])
    if counted:
        parts.append(_verdict(prospect))
    parts += [_program(prospect), *next_text(prospect.upcoming)]
    if outlook.season.labels:
        parts += [_weeks(outlook), _starts(outlook)]
    parts.append(_winters(outlook))
    if outlook.season.labels:
        parts.append(_reasons(outlook))
        parts += what_if_text(outlook)
        parts += curl_text(outlook)
    return "\n\n".join([*parts, _foot(prospect)])


def _opening(prospect: SeasonAnswer) -> str:
    """What it comes to, in at most ten lines; or why nothing can be said."""
    outlook, site = prospect.outlook, prospect.site
    counted = outlook.owed and outlook.season.labels
    lines = [over_words(prospect)] if prospect.ended and not counted else []
    if outlook.owed == 0:
        lines.append(f"{site.name}: the program is done, no round is owed.")
    elif not outlook.season.labels:
        lines.append(
            f"{site.name}: no winter of the record can be counted, so nothing can be said of the "
            f"{outlook.owed} rounds owed; why they are left out: {_reasons_left_out(outlook)}."
        )
    else:
        lines += brief_lines(prospect)
    return "\n".join(paragraph(line) for line in lines)


def _reasons_left_out(outlook: SeasonOutlook) -> str:
    why = [f"{label} {why}" for label, why in outlook.season.left_out.items()]
    more = len(why) - NAMED
    return "; ".join([*why[:NAMED], *([f"and {more} more (--full)"] if more > 0 else [])])


def _verdict(prospect: SeasonAnswer) -> str:
    outlook, site, lines = prospect.outlook, prospect.site, []
    first = outlook.season.first
    begins = "from tomorrow" if prospect.begun else f"from leaf fall, {day_words(first)}"
    whose = f", {prospect.groups[0].names}" if len(site.blocks) > 1 else ""
    lines.append(
        f"{site.name}{whose}: the {outlook.owed} rounds owed fit {begins} in "
        f"{share_words(outlook.finish_coming, 'in the long run ')} as it comes; with hindsight in "
        f"{share_words(outlook.finish_hindsight)}. The dry hours wanted followed "
        f"{outlook.effective_coming.mean():.1f} of them a winter, and all of them in "
        f"{share_words(outlook.finish_coming_effective)}; with hindsight "
        f"{outlook.effective_hindsight.mean():.1f}, and all of them in "
        f"{share_words(outlook.finish_hindsight_effective)}."
    )
    if outlook.season.left_out:
        lines.append(_left_out_words(outlook))
    lines.append(_latest_words(outlook))
    lines += cautions(outlook)
    lines.append(READING)
    return "\n".join(paragraph(line) for line in lines)


def cautions(outlook: SeasonOutlook) -> list[str]:
    """How the shares are to be read."""
    said = []
    if outlook.spliced and outlook.finish_coming.n:
        said.append(WINTER_TO_WINTER)
    if 0 < outlook.finish_coming.n < FEWEST_FOR_START:
        said.append(FEW_WINTERS)
    return said


READING = (
    "As it comes: each evening's advice is followed, by forecasts with errors of the usual size, "
    "with chances that the other winters bear out, and what is washed off is owed again. With "
    "hindsight: as who knew the whole winter beforehand would have done. In the long run: what so "
    "few winters leave open, 19 times in 20."
)

SEASON_WORDS: Words = {(SeasonAnswer, "cautions"): lambda prospect, _: cautions(prospect.outlook)}
"""What the JSON says in words."""


def _left_out_words(outlook: SeasonOutlook) -> str:
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


def _latest_words(outlook: SeasonOutlook) -> str:
    if outlook.finish_coming.n < FEWEST_FOR_START:
        return NO_START
    parts = [
        f"{day_words(day)} to finish in {per_cent} % of winters"
        if day
        else f"no start reaches {per_cent} % of winters"
        for per_cent, day in outlook.latest_start.items()
    ]
    error = outlook.season.ending.error_days
    return (
        f"Start by: {'; '.join(parts)} (by {outlook.finish_coming.n} winters; flowers {error:g} d "
        "sooner or later than modelled are in it)."
    )


def _program(prospect: SeasonAnswer) -> str:
    rows = [
        [
            each.entry.material,
            str(each.entry.rounds),
            f"{round(each.entry.rounds_done, 2):g}",
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
        "(frost with a forecast's uncertainty). Rounds short: mean per winter, as it comes."
    )
    lost = max(prospect.outlook.short.items(), key=lambda item: item[1], default=("", 0.0))
    if lost[1] > 0:
        text += "\n" + paragraph(f"Lost first: a round of {lost[0]}.")
    if prospect.outlook.owed and prospect.outlook.season.labels:
        text += "\n" + paragraph(_span_words(prospect))
    return f"Program, least {prospect.program.between} d between materials\n{text}"


def _span_words(prospect: SeasonAnswer) -> str:
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


def _weeks(outlook: SeasonOutlook) -> str:
    rows = []
    for week, row in enumerate(outlook.weekly):
        if np.isnan(row).all():
            continue
        begin = outlook.season.first + dt.timedelta(days=7 * week)
        cells = [_spread(row[column]) for column in range(len(outlook.season.materials))]
        rows.append([day_words(begin), *cells])
    head = ["week from", *(material.name for material in outlook.season.materials)]
    return "Usable mornings a week: mean of the winters (least-most)\n" + table_text(
        head, rows, right=tuple(range(1, len(head)))
    )


def _spread(values: np.ndarray) -> str:
    known = values[~np.isnan(values)]
    if not known.size:
        return "-"
    low, high = known.min(), known.max()
    return f"{mean_known(values):.1f} ({low:.0f}-{high:.0f})"


def _starts(outlook: SeasonOutlook) -> str:
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


def _winters(outlook: SeasonOutlook) -> str:
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


def _reasons(outlook: SeasonOutlook) -> str:
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


def _foot(prospect: SeasonAnswer) -> str:
    first = prospect.groups[0]
    lines = [f"For {first.names}: flowers by {first.need_name}. {ends_text(first.outlook)}"]
    lines += [
        f"For {group.names} ({group.need_name}): all rounds fit in "
        f"{share_words(group.outlook.finish_coming)}. {ends_text(group.outlook)}"
        for group in prospect.groups[1:]
    ]
    lines += [RANGE_HOLDS] * any(each.outlook.season.labels for each in prospect.groups)
    lines += [
        f"Not for {block.name}: {stage_words(block.stage or 0)} seen on {block.observed}."
        for block in prospect.in_flower
    ]
    lines += [f"{line}." for line in doubt_lines(prospect.site)]
    lines += [f"Note: {note}." for note in prospect.all_notes]
    lines += [f"! {LABEL}", *prospect.source_notes, source_line(prospect.source)]
    return "\n".join(map(paragraph, lines))
