"""What a site's blocks have had, with a job and with the rest of the program, against limits.

Also whether an application that is recorded takes its blocks over what label and region allow.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

from spraywindow.handbook import LimitUse, SeasonTotal, Use, UseLimit, limits_used, season_totals
from spraywindow.jobs.mix.sprays import Sprays, sprays_of
from spraywindow.jobs.mix.uses import Done, amount_of, recorded_uses, uses_done
from spraywindow.program import MaterialRounds
from spraywindow.record import Application
from spraywindow.site import MixFields, Site, season_start

DIFFERENT_SHARE = 0.10
"""Copper of a round in the program and in the mix that differ by more are told of; P."""


@dataclass(frozen=True)
class LimitRow:
    """A block against one limit: so far, with this job, and with the whole program.

    `base` is what an amount per hectare counts: litres of product, or kilograms; "" for rounds.
    """

    json_keys: ClassVar = (
        "block", "limit=limit.name", "years=limit.years", "since=limit.since", "counts", "most",
        "so_far", "with_job", "with_program", "over~",
    )  # fmt: skip

    limit: UseLimit
    block: str
    counts: str
    base: str
    most: float
    so_far: float
    with_job: float
    with_program: float

    @property
    def over(self) -> str:
        """When it is passed first: "already", "with this job", "with the program", or ""."""
        for used, when in (
            (self.so_far, "already"),
            (self.with_job, "with this job"),
            (self.with_program, "with the whole program"),
        ):
            if used > self.most * (1 + 1e-9):
                return when
        return ""


@dataclass(frozen=True)
class Totals:
    """The season so far by block and material, and every limit."""

    season: tuple[SeasonTotal, ...]
    limits: tuple[LimitRow, ...]
    warnings: tuple[str, ...]
    notes: tuple[str, ...]


def mix_totals(
    site: Site,
    today: dt.date,
    sprays: Sprays,
    job: Sequence[Use],
    rest: Mapping[str, Sequence[Mapping[str, float]]],
    done: Done,
    season_maximum: float | None = None,
) -> Totals:
    """Add up what is done, the job and the rest of the program.

    Parameters
    ----------
    site : Site
    today : datetime.date
        Local date.
    sprays : mapping
        Material to one round of it on each block.
    job : sequence of Use
        The job at hand, one material.
    rest : mapping
        Material to the rounds that the season still wants after the job: block to share, each.
    done : Done
        All uses known, of earlier years too: each limit counts those in its own period.
    season_maximum : float, optional
        The program's most metallic copper of a season [kg/ha].
    """
    material = job[0].material
    entries = {entry.material: entry for entry in site.program.entries}
    planned = _planned(entries, today, rest, sprays)
    copper = any(use.copper_kg_per_unit for use in job)
    limits = [*label_limits(site, material), *(copper_limits(site) if copper else ())]
    start = season_start(today, site)
    if copper and season_maximum is not None:
        limits.append(UseLimit("program", copper_kg_per_ha=season_maximum, since=start))
    ahead = sorted({use.day for use in (*job, *planned)})
    rows = _rows(
        limits_used(done.uses, limits, today, until=today),
        limits_used([*done.uses, *job], limits, today, until=today),
        [limits_used([*done.uses, *job, *planned], limits, today, until=day) for day in ahead],
        {use.block for use in job},
    )
    return Totals(
        season=season_totals(done.uses, start, today),
        limits=rows,
        warnings=tuple(_program_differs(entries.get(material), job)),
        notes=(*done.notes, *_notes(site, material, sprays, done)),
    )


def label_limits(site: Site, material: str) -> list[UseLimit]:
    """What the label of a material's product allows in any twelve months."""
    fields = site.mix.get(material, MixFields())
    most = fields.copper_per_year, fields.product_most, fields.rounds_per_year
    return [] if most == (None, None, None) else [UseLimit("label", 1, material, *most)]


def copper_limits(site: Site) -> list[UseLimit]:
    """What region or scheme allow of the copper of all products together."""
    return [each.limit for each in site.copper.limits]


def _planned(
    entries: Mapping[str, MaterialRounds],
    today: dt.date,
    rest: Mapping[str, Sequence[Mapping[str, float]]],
    sprays: Sprays,
) -> list[Use]:
    """Rounds that the program still wants after this job, as soon as their gaps allow."""
    return [
        spray.use(today + dt.timedelta(days=entries[name].least_days * number), name,
                  shares[spray.block], planned=True)
        for name, rounds in rest.items()
        if name in entries
        for number, shares in enumerate(rounds, start=1)
        for spray in sprays.get(name, ())
        if spray.block in shares
    ]  # fmt: skip


def _rows(
    so_far: Sequence[LimitUse],
    with_job: Sequence[LimitUse],
    with_program: Sequence[Sequence[LimitUse]],
    blocks: set[str],
) -> tuple[LimitRow, ...]:
    before = {_key(use): use.used for use in so_far}
    most = {_key(use): use.used for use in with_job}
    for each in with_program:  # the fullest period counts, wherever it ends
        for use in each:
            most[_key(use)] = max(use.used, most.get(_key(use), 0.0))
    return tuple(
        LimitRow(use.limit, use.block, use.counts, use.base, use.most,
                 before.get(_key(use), 0.0), use.used, most[_key(use)])
        for use in with_job
        if use.block in blocks
    )  # fmt: skip


def _key(use: LimitUse) -> tuple[UseLimit, str, str]:
    return use.limit, use.block, use.counts


def _program_differs(entry: MaterialRounds | None, job: Sequence[Use]) -> list[str]:
    counted = entry.metallic_copper_per_round_kg_ha if entry else 0.0
    most = max((use.copper_kg_per_ha / use.share for use in job), default=0.0)
    if not counted or not most or abs(most / counted - 1) <= DIFFERENT_SHARE:
        return []
    return [
        f"the program counts {counted:.3g} kg copper per ha a round, this mix brings {most:.3g}: "
        "correct copper_per_round_kg_ha"
    ]


def _notes(site: Site, material: str, sprays: Sprays, done: Done) -> list[str]:
    notes = []
    without = [name for name in site.program.materials if name not in sprays]
    if without:
        notes.append(f"The program's rounds of {', '.join(without)} are not added up: no rate")
    coppers = [
        name
        for name in dict.fromkeys((material, *(use.material for use in done.uses)))
        if site.is_copper(name)
    ]
    notes += [
        f'Copper of {name} is not added up: add copper = "50 %" to [mix."{name}"]'
        for name in coppers
        if site.mix.get(name, MixFields()).copper is None
    ]
    if material in coppers and not site.copper.limits:
        notes.append("No regional limit of copper is given: [[copper.limits]]")
    return notes


@dataclass(frozen=True)
class Passed:
    """A limit that a block is over, and the last day of its period."""

    use: LimitUse
    until: dt.date


@dataclass(frozen=True)
class LimitCheck:
    """What an entry leads to: limits that are passed, and lines on what was not held to them."""

    passed: tuple[Passed, ...]
    notes: tuple[str, ...]


def over_limits(
    site: Site, entries: Sequence[Application], entry: Application, today: dt.date
) -> LimitCheck:
    """Hold one entry, with all others and the site file's rounds, against the limits.

    Parameters
    ----------
    site : Site
        `[mix.NAME]` and `[copper]` hold the limits.
    entries : sequence of Application
        All of the site's record that hold, `entry` among them.
    entry : Application
        The application asked about.
    today : datetime.date
        Local date.

    Notes
    -----
    Every period of a limit's length with the entry in it counts, as far as it is known today:
    an entry made late may take a later round over. What is found is told, and changes nothing.
    """
    if entry not in entries:  # of another site: its limits are not known here
        return LimitCheck((), ())
    others = (*site.other_sprays, *(each.material for each in entries))
    sprays = sprays_of(site, today, others)
    own = recorded_uses(site, entry, sprays)
    copper = any(use.copper_kg_per_unit for use in own)
    limits = [*label_limits(site, entry.material), *(copper_limits(site) if copper else ())]
    uses = uses_done(site, entries, today, sprays).uses
    blocks = {use.block for use in own}
    worst: dict[tuple[UseLimit, str, str], Passed] = {}
    for until in sorted({use.day for use in uses if use.day >= entry.day}):
        bearing = [limit for limit in limits if limit.before(until) < entry.day]
        for used in limits_used(uses, bearing, today, until=until):
            key = used.limit, used.block, used.counts
            least = worst[key].use.used if key in worst else used.most
            if used.over and used.block in blocks and used.used > least:
                worst[key] = Passed(used, until)
    return LimitCheck(tuple(worst.values()), tuple(_over_notes(site, entry, limits, own)))


def _over_notes(
    site: Site, entry: Application, limits: Sequence[UseLimit], own: Sequence[Use]
) -> list[str]:
    fields = site.mix.get(entry.material, MixFields())
    if site.is_copper(entry.material) and fields.copper is None and site.copper.limits:
        return [f'its copper is not counted: add copper = "50 %" to [mix."{entry.material}"]']
    bearing = [
        each for each in limits if (each.copper_kg_per_ha, each.amount_per_ha) != (None,) * 2
    ]
    if not bearing or amount_of(site, entry) is not None:
        return []
    if any(use.amount is None for use in own):
        names = ", ".join(each.name for each in bearing)
        return [f"no amount that could be held against the limits: {names}"]
    return ["no amount is entered: against the limits it counts as today's mix would take"]
