"""What has been sprayed already, and from which day on the next spray may follow it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from spraywindow.days import day_words
from spraywindow.errors import InputError, describe, one_line
from spraywindow.reasons import NearDay, Reason
from spraywindow.site.blocks import season_start
from spraywindow.site.materials import days_apart
from spraywindow.site.site import Site
from spraywindow.spray import Finding, Material, general_material


def in_season(site: Site, today: dt.date) -> Site:
    """The site with its program as of this season: rounds of earlier winters are over.

    Their gaps are over as well; rounds after today are left in, to be refused. Sprays outside
    the program bar its materials.
    """
    program = site.program.done_within(season_start(today, site))
    entries = tuple(
        replace(entry, barred=tuple(_barred(site, site.material(entry.material))))
        for entry in program.entries
    )
    return replace(site, program=replace(program, entries=entries))


def sprays_done(site: Site) -> Iterator[tuple[str, str, dt.date]]:
    """Every spray of the site file: where it stands, its name, its local day."""
    for entry in site.program.entries:
        for day in entry.days_done:
            yield "program.rounds", entry.material, day
    for name, days in site.other_sprays.items():
        for day in days:
            yield "other_sprays", name, day


@dataclass(frozen=True)
class _Gap:
    """The gap after a spray: of which material, on which local day, how many days."""

    name: str
    done: dt.date
    days: int

    @property
    def free(self) -> dt.date:
        """The first day after it."""
        return self.done + dt.timedelta(days=self.days)


def _gaps(site: Site, material: Material) -> Iterator[_Gap]:
    """The gap after every spray to which the next one of a material keeps it."""
    for entry in site.program.entries:
        apart = wanted_days(site, material, entry.material)
        yield from (_Gap(entry.material, day, apart) for day in entry.days_holding(material.name))
    yield from _other_gaps(site, material)


def _other_gaps(site: Site, material: Material) -> Iterator[_Gap]:
    for name, days in site.other_sprays.items():
        apart = wanted_days(site, material, name)
        yield from (_Gap(name, day, apart) for day in days)


def _barred(site: Site, material: Material) -> Iterator[tuple[dt.date, dt.date]]:
    """First and last day of the gaps after sprays outside the program."""
    one = dt.timedelta(days=1)
    yield from ((gap.done, gap.free - one) for gap in _other_gaps(site, material) if gap.days)


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
    holding = [gap for gap in _gaps(site, material) if gap.done <= day < gap.free]
    if not holding:
        return Finding("go")
    longest = max(holding, key=lambda gap: (gap.free, gap.name, gap.done))
    kind = "between rounds" if longest.name == material.name else "apart"
    told = longest.name, NearDay(longest.done), str(longest.days), kind, NearDay(longest.free)
    return Finding("no-go", Reason("{} went on {}: {} days {}, so from {} on", told))


def next_day(
    site: Site, material: Material, day: dt.date, *, done_to: dt.date | None = None
) -> dt.date:
    """The first day from `day` on that the sprays before it, or up to `done_to`, leave free."""
    last = done_to or day
    return max([day, *(gap.free for gap in _gaps(site, material) if gap.done <= last)])


def short_gaps(
    site: Site, name: str, day: dt.date, sprays: Iterable[tuple[str, dt.date]]
) -> list[str]:
    """Say which sprays of other materials stand closer to one of `name` on `day` than they may.

    Parameters
    ----------
    site : Site
        Its file's sprays count too.
    name : str
    day : date
        Local.
    sprays : iterable of tuple
        Material and local day of what the record holds.
    """
    lines = []
    done = {(other, date) for _, other, date in sprays_done(site)} | set(sprays)
    for other, date in sorted(done, key=lambda spray: (spray[1], spray[0])):
        mixed = date == day and any({name, other} <= set(m) for m in site.program.tank_mixes)
        if other == name or mixed:
            continue
        (first, before), (second, after) = sorted([(date, other), (day, name)])
        wanted = wanted_days(site, site.materials.get(after) or general_material(after), before)
        days = (second - first).days
        if days < wanted:
            apart = "1 day" if days == 1 else f"{days} days"
            lines.append(
                f"{after} on {day_words(second)}, {before} on {day_words(first)}: {apart} apart, "
                f"{wanted} asked for"
            )
    return lines
