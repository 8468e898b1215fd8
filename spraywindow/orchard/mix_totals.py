"""The season's rounds of a site added up against label and regional limits.

The site file knows the days of the rounds done, not what each took: they count as today's mix
would take, except where `[copper]` says how much it was.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from spraywindow.errors import InputError, describe
from spraywindow.orchard.block_states import season_start
from spraywindow.orchard.season_totals import (
    LimitUse,
    SeasonTotal,
    Use,
    UseLimit,
    limits_used,
    season_totals,
)
from spraywindow.orchard.site import Site
from spraywindow.orchard.site_mixing import MixFields
from spraywindow.orchard.site_year import known_blocks
from spraywindow.season.entry import Entry

COPPER_USED = "copper"
"""Material under which `[copper] used` is added up."""
DIFFERENT_SHARE = 0.10
"""Copper of a round in the program and in the mix that differ by more are told of; P."""


@dataclass(frozen=True)
class Spray:
    """One round of a material on a block: product [L or kg], ground [m2], its copper [kg]."""

    block: str
    amount: float
    area_m2: float
    copper_kg_per_unit: float
    open: bool

    def use(self, day: dt.date, material: str, share: float = 1.0, *, planned: bool = False) -> Use:
        """The use of a round, or of a share of one."""
        return Use(day, self.block, material, self.amount * share, self.area_m2,
                   self.copper_kg_per_unit, planned)  # fmt: skip


Sprays = Mapping[str, Sequence[Spray]]
"""Material to one round of it on each block."""


@dataclass(frozen=True)
class LimitRow:
    """A block against one limit: so far, with this job, and with the whole program.

    `base` is what an amount per hectare counts: litres of product, or kilograms.
    """

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
    material: str,
    sprays: Sprays,
    job_blocks: set[str],
) -> Totals:
    """Add the season up.

    Parameters
    ----------
    site : Site
    today : datetime.date
        Local date.
    material : str
        Of the job at hand.
    sprays : mapping
        Material to one round of it on each block; materials without a known rate are absent.
    job_blocks : set of str
        Blocks that the job is for.

    Raises
    ------
    InputError
        If a round or a use lies in the future, or its block is unknown.
    """
    entries = {entry.material: entry for entry in site.program.entries}
    known_blocks(
        {use.block for use in site.copper.used if use.block is not None},
        {block.name for block in site.blocks},
        "copper.used",
    )
    done = [*_told(site, sprays), *_done(site, entries, today, sprays)]
    here = [spray for spray in sprays[material] if spray.block in job_blocks]
    job = [spray.use(today, material, planned=True) for spray in here]
    rest = _rest(entries, today, material, sprays)
    limits = _limits(site, material, any(use.copper_kg_per_unit for use in job))
    rows = _rows(
        limits_used(done, limits, today, until=today),
        limits_used([*done, *job], limits, today),
        limits_used([*done, *job, *rest], limits, today),
        [spray.block for spray in here],
        site.mix.get(material, MixFields()).base,
    )
    return Totals(
        season=season_totals(done, season_start(today, site), today),
        limits=rows,
        warnings=tuple(_program_differs(entries.get(material), here)),
        notes=_notes(site, material, sprays, bool(done)),
    )


def _told(site: Site, sprays: Sprays) -> list[Use]:
    first = next(iter(sprays.values()))
    areas = {spray.block: spray.area_m2 for spray in first}
    shares = {spray.block: spray.copper_kg_per_unit for spray in sprays.get(COPPER_USED, ())}
    uses = []
    for used in site.copper.used:
        for block, area in areas.items():
            if used.block in (None, block):
                share = shares.get(block) or 1.0  # without it the metal itself is the product
                amount = used.copper * area / 10_000 / share
                uses.append(Use(used.day, block, COPPER_USED, amount, area, share))
    return uses


def _done(site: Site, entries: Mapping[str, Entry], today: dt.date, sprays: Sprays) -> list[Use]:
    """Rounds done, as today's mix would take; copper that `[copper]` tells counts only there."""
    told = {(used.day, block.name) for used in site.copper.used for block in site.blocks
            if used.block in (None, block.name)}  # fmt: skip
    uses = []
    for name, entry in entries.items():
        shares = [*((day, 1.0) for day in entry.done), *entry.partly_done]
        late = [day for day, _ in shares if day > today]
        if late:
            raise InputError(describe("a date in the future", where=f"rounds of {name} done",
                                      expected=f"at most {today}", got=str(min(late))))  # fmt: skip
        uses += [
            spray.use(day, name, share)
            for day, share in shares
            for spray in sprays.get(name, ())
            if not (spray.copper_kg_per_unit and (day, spray.block) in told)
        ]
    return uses


def _rest(entries: Mapping[str, Entry], today: dt.date, material: str, sprays: Sprays) -> list[Use]:
    """Rounds that the program still wants after this job, as soon as their gaps allow."""
    return [
        spray.use(today + dt.timedelta(days=entry.least_days * visit), name, planned=True)
        for name, entry in entries.items()
        for visit in range(1, entry.visits_owed + (name != material))
        for spray in sprays.get(name, ())
        if spray.open
    ]


def _limits(site: Site, material: str, copper: bool) -> list[UseLimit]:
    fields = site.mix.get(material, MixFields())
    most = fields.copper_per_year, fields.product_most, fields.rounds_per_year
    limits = []
    if most != (None, None, None):
        limits.append(UseLimit("label", 1, material, *most))
    if copper:
        limits += [each.limit for each in site.copper.limits]
        maximum = site.program.metallic_copper_maximum_kg_ha
        if maximum is not None:
            limits.append(UseLimit("program", copper_kg_per_ha=maximum))
    return limits


def _rows(
    so_far: Sequence[LimitUse],
    with_job: Sequence[LimitUse],
    with_program: Sequence[LimitUse],
    blocks: Sequence[str],
    base: str,
) -> tuple[LimitRow, ...]:
    before = {(use.limit.name, use.block, use.counts): use.used for use in so_far}
    after = {(use.limit.name, use.block, use.counts): use.used for use in with_program}
    return tuple(
        LimitRow(use.limit, use.block, use.counts, "kg" if "copper" in use.counts[:9] else base,
                 use.most, before.get(key, 0.0), use.used, max(use.used, after.get(key, 0.0)))
        for use in with_job
        if use.block in blocks
        for key in [(use.limit.name, use.block, use.counts)]
    )  # fmt: skip


def _program_differs(entry: Entry | None, here: Sequence[Spray]) -> list[str]:
    counted = entry.metallic_copper_per_round_kg_ha if entry else 0.0
    mixed = [spray.amount * spray.copper_kg_per_unit / (spray.area_m2 / 10_000) for spray in here]
    most = max(mixed, default=0.0)
    if not counted or not most or abs(most / counted - 1) <= DIFFERENT_SHARE:
        return []
    return [
        f"the program counts {counted:.3g} kg copper per ha a round, this mix brings {most:.3g}: "
        "correct copper_per_round_kg_ha"
    ]


def _notes(site: Site, material: str, sprays: Sprays, done: bool) -> tuple[str, ...]:
    notes = []
    if done:
        notes.append("Rounds done are counted as today's mix would take, on every block")
    without = [name for name in site.program.materials if name not in sprays]
    if without:
        notes.append(f"Not added up, no rate is given: {', '.join(without)}")
    based = site.material_fields[material].based_on if material in site.material_fields else None
    if "copper" in (material, based):
        if site.mix.get(material, MixFields()).copper is None:
            notes.append(f'Copper is not added up: add copper = "50 %" to [mix."{material}"]')
        if not site.copper.limits:
            notes.append("No regional limit of copper is given: [[copper.limits]]")
    return tuple(notes)
