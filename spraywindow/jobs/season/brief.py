"""The season in a few plain sentences, for whoever pays for it: at most ten lines."""

from __future__ import annotations

from collections.abc import Sequence

from spraywindow.days import day_words
from spraywindow.jobs.season.answer import NextRound, SeasonAnswer
from spraywindow.jobs.season.what_if import best_two
from spraywindow.show import paragraph
from spraywindow.winters import FEWEST_FOR_START, WEEK_D, SeasonOutlook

NO_START = f"No latest start is given: it takes {FEWEST_FOR_START} winters."
MOST_LINES = 10
NAMED = 3
"""Winters that are told by name."""


def brief_lines(prospect: SeasonAnswer) -> list[str]:
    """Whether it fits, when to start, what helps, how sure, what is next, where it failed.

    Before it that the season is over, where it is. With a round owed and a winter to count. Where
    long names take too many lines, what is next and what helps give way, which others tell.
    """
    outlook, site = prospect.outlook, prospect.site
    asked = _fits(prospect)
    fits = f"{site.name}{_whose(prospect)}: {asked}"
    if prospect.ended:
        fits = f"{over_words(prospect)} {asked[:1].upper()}{asked[1:]}"
    following, helps = _next(prospect.upcoming), _helps(outlook)
    lines = [fits, _start(outlook), helps, _sure(outlook), following, _failed(outlook)]
    for spare in (following, helps):
        if sum(len(paragraph(line).splitlines()) for line in lines) > MOST_LINES:
            lines.remove(spare)
    return [line for line in lines if line]


def over_words(prospect: SeasonAnswer) -> str:
    """That the season is over, and when the next one begins."""
    first = prospect.outlook.season.first
    return (
        f"{prospect.site.name}{_whose(prospect)}: this season is over; the next one begins about "
        f"{day_words(first)} {first.year}."
    )


def _whose(prospect: SeasonAnswer) -> str:
    return f", {prospect.groups[0].names}" if len(prospect.site.blocks) > 1 else ""


def _fits(prospect: SeasonAnswer) -> str:
    outlook = prospect.outlook
    day, n = day_words(outlook.season.first), outlook.finish_coming.n
    begins = f"from tomorrow, {day}" if prospect.begun else f"from leaf fall, {day}"
    fit, dry = (
        round(share.share * n) for share in (outlook.finish_coming, outlook.finish_coming_effective)
    )
    rounds = "does the round" if outlook.owed == 1 else f"do the {outlook.owed} rounds"
    return (
        f"{rounds} left fit {begins}? In {fit} of {n} past winters, by each "
        f"evening's advice; in {dry} of {n} every round also stayed dry as long as wanted "
        f"({outlook.effective_coming.mean():.1f} good ones a winter)."
    )


def _start(outlook: SeasonOutlook) -> str:
    """When to start at the latest, and what a week's wait costs."""
    n, shares = outlook.finish_coming.n, outlook.start_shares
    if n < FEWEST_FOR_START:
        return NO_START
    sure, enough = (outlook.latest_start[per_cent] for per_cent in (90, 80))
    if sure and enough:
        said = f"Start by {day_words(sure)} to make it in 9 winters of 10"
        said += f", by {day_words(enough)} in 8 of 10" if sure != enough else ""
    elif enough:
        said = f"Start by {day_words(enough)} to make it in 8 winters of 10; no start does in 9"
    else:
        said = "No start makes it in 8 winters of 10"
    if len(shares) > WEEK_D and shares[0] > 0:
        lost = round(n * float(shares[0] - shares[WEEK_D]))
        said += f". A week's wait loses {f'about {lost}' if lost > 0 else 'none'} of {n} winters"
    return f"{said}."


def _helps(outlook: SeasonOutlook) -> str:
    if not outlook.what_if:
        return ""
    best = best_two(outlook)
    if not best:
        return f"What would help: of {len(outlook.what_if)} changes tried, none does for sure."
    each = best[0]
    return (
        f"What helps most: {each.name} ({each.price.partition(':')[0]}): "
        f"{each.effective_gained:+.1f} good rounds a winter."
    )


def _sure(outlook: SeasonOutlook) -> str:
    share, season = outlook.finish_coming, outlook.season
    said = (
        f"How sure: {share.n} winters leave open anything from {100 * share.low:.0f} to "
        f"{100 * share.high:.0f} % in the long run"
    )
    every, wet = len(season.left_out), len(season.rain_missing)
    if wet:
        low, high = (100 * bound for bound in outlook.bounds)
        said += f"; {wet} more, left out for missing rain, would make it {low:.0f} to {high:.0f} %"
    if every > wet:
        said += f"; {every - wet} more could not be counted"
    return f"{said}."


def _next(upcoming: Sequence[NextRound]) -> str:
    """The next morning of each material, those of one day together."""
    days: dict[str, list[str]] = {}
    for each in upcoming:
        if each.owed and not (each.allowed and not each.morning and each.known_until is None):
            days.setdefault(morning_words(each), []).append(each.material)
    said = "; ".join(f"{' and '.join(names)} {day}" for day, names in days.items())
    return f"Next fit morning: {said}; `spraywindow slots` tells more." if said else ""


def morning_words(each: NextRound) -> str:
    """The first usable morning that the forecast tells, or why there is none."""
    if each.morning:
        return day_words(each.morning)
    if each.allowed is None:
        return "not this season"
    return f"none known up to {day_words(each.known_until)}" if each.known_until else "not known"


def _failed(outlook: SeasonOutlook) -> str:
    """Which winters fell short, the worst first, and of what."""
    rows = [row for row in outlook.winters if row.finished.as_it_comes is False]
    if not rows:
        return "Where it failed: in none of these winters was a round missing."
    rows.sort(key=lambda row: row.rounds.as_it_comes or 0)
    named = ", ".join(
        f"{row.winter} ({row.rounds.as_it_comes} of {outlook.owed})" for row in rows[:NAMED]
    )
    more = f" and {len(rows) - NAMED} winters more" * (len(rows) > NAMED)
    lost = max(outlook.short.items(), key=lambda item: item[1])[0]
    return f"Where it failed: {named}{more}; mostly a round of {lost} was missing."
