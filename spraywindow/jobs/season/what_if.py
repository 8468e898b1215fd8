"""Which changes of a site or a program are tried, what each takes, and what they gave in words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from spraywindow.show import paragraph, table_text
from spraywindow.site import Site, changed_site
from spraywindow.winters import DRY_SPELLS_H, Change, SeasonOutlook, Share, Way, WhatIf

MOST_TRIED = 10
LEAST_GAIN = 0.05
"""Effective rounds a winter from which a change is worth naming; P."""
EARLIEST_H = -4
"""Most that a site's wood dries sooner than modelled, as a site file may have it [h]."""
LABEL_DAYS = "a label that allows rounds so close together: defer to it"
PRICES = {
    "access": "work on those days",
    "access.from": "work from that hour on",
    "access.until": "work up to that hour",
    "crew.job": "so fast a crew and sprayer: people, guns, a larger tank",
    "place.dew_off": "only for trees whose wood dries so early: the sunny block",
    "dry_spell": "a label that allows so short a dry spell: defer to it",
    "rounds": "another program: what is asked for changes, not the weather",
    "apart": LABEL_DAYS,
    "between": LABEL_DAYS,
    "tank_mixes": "labels that all allow the mix: defer to them",
}
"""What a change takes, by its key: nobody shall think that it is free."""


def asked_changes(site: Site, texts: Sequence[str]) -> list[Change]:
    """Read the changes that are asked for.

    Parameters
    ----------
    site : Site
        With the program and the materials of the season meant.
    texts : sequence of str
        As `changed_site` takes them.

    Raises
    ------
    InputError
        For the first that is no change, or cannot be used.
    """
    return [_change(site, " ".join(text.split())) for text in texts]


def usual_changes(site: Site, asked: Sequence[Change]) -> list[Change]:
    """The changes that are tried without asking, the likeliest to help first; none asked for."""
    known = [(change.program, change.way) for change in asked]
    found = [_change(site, text) for text in _usual(site)]
    return [each for each in found if (each.program, each.way) not in known][:MOST_TRIED]


def _change(site: Site, text: str) -> Change:
    key = text.partition("=")[0].strip().removeprefix("program.")
    head = "dry_spell" if key.endswith("dry_spell") else key
    price = PRICES.get(head) or PRICES.get(head.partition(".")[0], "a site that is so")
    new = changed_site(site, text)
    return Change(text, price, new.program, way_of(new))


def way_of(site: Site) -> Way:
    """How a season is worked at a site."""
    materials = tuple(site.material(name) for name in site.program.materials)
    return Way(site.setting, materials, site.access, math.ceil(site.job_h))


def _usual(site: Site) -> Iterator[str]:
    """What may help, as it would be typed."""
    access, program = site.access, site.program
    materials = [site.material(name) for name in program.materials]
    if len(access.weekdays) < 7:
        yield "access = 7 days"
    if access.start_h is not None and access.start_h >= 1:
        yield f"access.from = {_clock(access.start_h - 1)}"
    if access.end_h is not None and access.end_h <= 23:
        yield f"access.until = {_clock(access.end_h + 1)}"
    if (job_h := math.ceil(site.job_h)) > 1:
        yield f"crew.job = {job_h - 1} h"
    longest = max(material.dry_spell_h for material in materials)
    if shorter := [hours for hours in DRY_SPELLS_H if hours < longest]:
        yield f"dry_spell = {shorter[-1]:g} h"
    if site.setting.dew_off_h >= EARLIEST_H + 1:
        yield f"place.dew_off = {site.setting.dew_off_h - 1:g} h"
    if len(materials) > 1:
        if program.between > 1:
            yield f"between = {_days(program.between - 1)}"
        pair = program.materials[:2]
        if not program.is_mix(pair) and program.days_between(*pair) == program.between:
            yield f"tank_mixes = {' + '.join(pair)}"
    owed = dict(zip(program.materials, program.visits_allowed, strict=True))
    for entry in program.entries:
        if owed[entry.material] > 1 and entry.least_days > 1:
            yield f"apart.{entry.material} = {_days(-(-entry.least_days // 2))}"
    most = max(program.entries, key=lambda entry: owed[entry.material])
    if owed[most.material] > 1:
        yield f"rounds.{most.material} = {most.rounds - 1}"


def _clock(hour: float) -> str:
    minutes = round(60 * hour)
    return f"{minutes // 60}:{minutes % 60:02}"


def _days(days: int) -> str:
    return f"{days} day{'s' * (days != 1)}"


def best_two(outlook: SeasonOutlook) -> list[WhatIf]:
    """The two changes that give most effective rounds, of equal ones most rounds; fewer if few do.

    None that gives less than its standard error, and no program that asks for other rounds: it
    gives no morning.
    """
    helping = [
        each
        for each in outlook.what_if
        if each.effective_gained >= max(LEAST_GAIN, each.effective_error)
        and not each.name.startswith("rounds.")
    ]
    return sorted(
        helping, key=lambda each: (-round(each.effective_gained, 6), -each.rounds_gained)
    )[:2]


def what_if_words(outlook: SeasonOutlook) -> list[str]:
    """The changes that help most, a sentence each; nothing where no change was tried."""
    if not outlook.what_if:
        return []
    best = [_best_words(each, outlook, first=number == 0)
            for number, each in enumerate(best_two(outlook))]  # fmt: skip
    return best or ["No change that was tried surely gives more effective rounds."]


def what_if_text(outlook: SeasonOutlook) -> list[str]:
    """The section; nothing where no change was tried."""
    every = outlook.what_if
    if not every or not outlook.season.labels:
        return []
    n = len(outlook.season.labels)
    lines = what_if_words(outlook)
    now = outlook.rounds_coming.mean(), outlook.effective_coming.mean()
    rows = [["as it is", *_figures(outlook.owed, *now, "", outlook.finish_coming)]]
    rows += [
        [each.name, *_figures(each.owed, each.rounds, each.effective, _gain(each), each.finish)]
        for each in every
    ]
    head = ["change", "owed", "rounds", "effective", "gained", "all made"]
    note = (
        f"Of {n} winters as they come, by the same policy. Effective: followed by the dry hours "
        "that are wanted now, whatever is changed; gained: effective rounds more, and the standard "
        "error of that. The best of so many look a little better than they are. Ask for others "
        "with --what-if."
    )
    prices: dict[str, list[str]] = {}
    for each in every:
        prices.setdefault(each.price, []).append(each.name.partition(" =")[0])
    takes = [f"{', '.join(dict.fromkeys(names))}: {price}." for price, names in prices.items()]
    lines = [table_text(head, rows, right=(1, 2, 3, 4, 5)), *map(paragraph, [*lines, note, *takes])]
    return ["\n".join(["What if: rounds a winter", *lines])]


def _figures(owed: int, rounds: float, effective: float, gain: str, finish: Share) -> list[str]:
    share = f"{100 * finish.share:.0f} %"
    return [str(owed), f"{rounds:.1f}", f"{effective:.1f}", gain, share]


def _gain(each: WhatIf) -> str:
    gain = f"{each.effective_gained:+.1f}"
    return gain if math.isnan(each.effective_error) else f"{gain} ({each.effective_error:.1f})"


def _best_words(each: WhatIf, outlook: SeasonOutlook, *, first: bool) -> str:
    n = each.finish.n
    then, now = (round(share.share * n) for share in (each.finish, outlook.finish_coming))
    error = (
        "" if math.isnan(each.effective_error) else f" (standard error {each.effective_error:.1f})"
    )
    return (
        f"{'Most' if first else 'Then'}: {each.name} gives {each.effective_gained:.1f} effective "
        f"rounds a winter more{error}, and makes all rounds in {then} of {n} winters instead of "
        f"{now}. It takes: {each.price}."
    )
