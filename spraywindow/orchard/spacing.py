"""What has been sprayed already, and from which day on the next spray may follow it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import replace

from spraywindow.errors import InputError, describe, one_line
from spraywindow.orchard.block_states import season_start
from spraywindow.orchard.site import Site
from spraywindow.orchard.site_materials import days_apart
from spraywindow.orchard.verdicts import Finding
from spraywindow.orchard.wording import day_words
from spraywindow.spray.material import Material


def in_season(site: Site, today: dt.date) -> Site:
    """The site with its program as of this season: rounds of earlier winters are over.

    Their gaps are over as well; rounds after today are left in, to be refused.
    """
    start = season_start(today, site)
    entries = tuple(
        replace(
            entry,
            done=tuple(day for day in entry.done if day >= start),
            partly_done=tuple(row for row in entry.partly_done if row[0] >= start),
        )
        for entry in site.program.entries
    )
    copy = site.model_copy()
    copy.__dict__["program"] = replace(site.program, entries=entries)
    return copy


def sprays_done(site: Site) -> Iterator[tuple[str, str, dt.date]]:
    """Every spray of the site file: where it stands, its name, its local day."""
    for entry in site.program.entries:
        for day in entry.days_done:
            yield "program.rounds", entry.material, day
    for name, days in site.other_sprays.items():
        for day in days:
            yield "other_sprays", name, day


def _holding(site: Site, material: Material) -> Iterator[tuple[str, dt.date]]:
    """Name and local day of every spray to which the next one keeps its gap."""
    for entry in site.program.entries:
        yield from ((entry.material, day) for day in entry.days_holding(material.name))
    for name, days in site.other_sprays.items():
        yield from ((name, day) for day in days)


def refuse_future(site: Site, today: dt.date) -> None:
    """Raise `InputError` where the site file calls a spray done that lies after today."""
    problems = [
        describe("done on a day to come", where=f"site file, {where}, {name}", got=str(day),
                 expected=f"{today}, the day of the answer, or before")
        for where, name, day in sprays_done(site)
        if day > today
    ]  # fmt: skip
    if problems:
        raise InputError(one_line(problems))


def wanted_days(site: Site, material: Material, done: str) -> int:
    """Least days from a spray that is done to one of the material."""
    program = site.program
    known = site.materials.get(done)
    label = days_apart(material, known or done)
    if done == material.name:
        entries = {entry.material: entry.least_days for entry in program.entries}
        return entries.get(done, material.least_days)
    if {done, material.name} <= set(program.materials):
        return max(program.days_between(material.name, done), label)
    return max(program.between, label)


def spacing_finding(site: Site, material: Material, day: dt.date) -> Finding:
    """Judge a day by the sprays before it; the one that holds it longest gives the reason."""
    holding = [
        (done + dt.timedelta(days=apart), name, done, apart)
        for name, done in _holding(site, material)
        if 0 <= (day - done).days < (apart := wanted_days(site, material, name))
    ]
    if not holding:
        return Finding("go")
    free, name, done, apart = max(holding)
    gap = "between rounds" if name == material.name else "apart"
    words = f"{name} went on {day_words(done)}: {apart} days {gap}, so from {day_words(free)} on"
    return Finding("no-go", words)


def next_day(site: Site, material: Material, day: dt.date) -> dt.date:
    """The first day from `day` on that the sprays before it leave free."""
    free = [
        done + dt.timedelta(days=wanted_days(site, material, name))
        for name, done in _holding(site, material)
        if done <= day
    ]
    return max([day, *free])
