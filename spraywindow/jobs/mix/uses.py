"""What each block has had, and the rounds ahead of it: the rest of one begun, then whole ones.

Had: of the application record, of `[copper]`, of the site file's days. An entry of the record
counts with the product that it holds, on the ground and the blocks that
it names. Where it holds no amount, and for the site file's days, today's mix for the share of
the round stands in; `[copper] used` stands in before that.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from spraywindow.handbook import Use
from spraywindow.jobs.mix.sprays import Sprays, ground_m2
from spraywindow.program import MaterialRounds, Program
from spraywindow.record import Application, share_of_blocks
from spraywindow.record import Application as Recorded
from spraywindow.site import MixFields, Site

THE_METAL = "copper"
"""Name under which `[copper] used` is added up at a site that mixes no copper."""


@dataclass(frozen=True)
class Done:
    """All uses known, and what to know of how they are counted."""

    uses: tuple[Use, ...]
    notes: tuple[str, ...] = ()


def uses_done(site: Site, entries: Sequence[Application], today: dt.date, sprays: Sprays) -> Done:
    """Give what every block has had up to a local day.

    Parameters
    ----------
    site : Site
        Rounds of its file count on days that the record does not hold for the material.
    entries : sequence of Application
        All that the record holds of the site, of earlier years too.
    today : datetime.date
        Local date; what lies after it does not count.
    sprays : mapping
        What one round of each material takes today.
    """
    past = [entry for entry in entries if entry.day <= today]
    pairs = [(entry, use) for entry in past for use in recorded_uses(site, entry, sprays)]
    told = _told(site, today)
    measured = {(use.day, use.block) for entry, use in pairs
                if use.copper_kg_per_unit and amount_of(site, entry) is not None}  # fmt: skip
    told_at = {(use.day, use.block) for use in told} - measured
    held = {(entry.day, entry.material) for entry in past}
    filed = [row for row in _days_filed(site, today) if row[:2] not in held]
    fallen_back = [
        *(use for entry, use in pairs if amount_of(site, entry) is None),
        *(use for day, name, share in filed
          for use in _as_today(site, day, name, dict.fromkeys(_names(site), share), sprays)),
    ]  # fmt: skip
    guesses = [
        use for use in fallen_back
        if not (use.copper_kg_per_unit and (use.day, use.block) in told_at)
    ]  # fmt: skip
    exact = [use for entry, use in pairs if amount_of(site, entry) is not None]
    uses = [*exact, *(use for use in told if (use.day, use.block) in told_at), *guesses]
    return Done(
        tuple(sorted(uses, key=lambda use: (use.day, use.material, use.block))),
        (*_guess_notes(guesses), *_record_notes(site, past)),
    )


def recorded_uses(site: Site, entry: Application, sprays: Sprays) -> list[Use]:
    """What one entry of the record brought to each block.

    Without an area, the product is shared out as the trees take spray; with one, evenly. A part
    of a round lies on some of the trees, nobody knows which: it is averaged over their blocks.
    """
    shares = shares_of(site, entry)
    amount = amount_of(site, entry)
    if amount is None:
        return _as_today(site, entry.day, entry.material, shares, sprays)
    grounds = {block.name: ground_m2(block) for block in site.blocks if block.name in shares}
    ground = area = sum(grounds.values())
    weights: Mapping[str, float] = grounds
    if entry.area_m2 is not None:
        area = entry.area_m2 if min(shares.values()) == 1 else max(entry.area_m2, ground)
    elif entry.material in sprays:
        weights = {s.block: s.amount for s in sprays[entry.material] if s.block in shares}
    copper = site.mix.get(entry.material, MixFields()).copper_share
    return [
        Use(
            day=entry.day,
            block=name,
            material=entry.material,
            amount=amount * weights[name] / sum(weights.values()),
            area_m2=area * grounds[name] / ground,
            copper_kg_per_unit=copper or 0.0,
            share=share,
            base="L" if entry.product_kg is None else "kg",
        )
        for name, share in shares.items()
    ]


def amount_of(site: Site, entry: Application) -> float | None:
    """Product that an entry holds, in what its mix counts [L or kg]; None without such a one."""
    if entry.material in site.mix:
        return entry.product_l if site.mix[entry.material].base == "L" else entry.product_kg
    return entry.product_l if entry.product_kg is None else entry.product_kg


def shares_of(site: Site, entry: Application) -> dict[str, float]:
    """What part of its round an entry brought to each block.

    The entry's share is of the site's round: three quarters of it, on a block that makes up
    three quarters of the round, are the whole of that block. Blocks that the site file does
    not name may be any of its trees.
    """
    names = _names(site)
    here = [name for name in names if name in entry.blocks]
    if len(here) < len(set(entry.blocks)) or not here:
        here = names
    share = entry.share / share_of_blocks(site, here, entry.material, entry.day)
    return dict.fromkeys(here, min(1.0, round(share, 6)))


def _names(site: Site) -> list[str]:
    return [block.name for block in site.blocks]


def _told(site: Site, today: dt.date) -> list[Use]:
    """`[copper] used`, as the product that the site uses now: the first copper it names."""
    coppers = filter(site.is_copper, (*site.program.materials, *site.mix))
    name = next(coppers, THE_METAL)
    fields = site.mix.get(name, MixFields())
    share = fields.copper_share or 1.0  # without it the metal itself is the product
    base = fields.base if fields.copper_share else "kg"
    return [
        Use(used.day, block.name, name, used.copper * area / 10_000 / share, area, share,
            base=base)
        for used in site.copper.used
        if used.day <= today
        for block in site.blocks
        if used.block in (None, block.name)
        for area in [ground_m2(block)]
    ]  # fmt: skip


def _days_filed(site: Site, today: dt.date) -> list[tuple[dt.date, str, float]]:
    """Local day, material and share of every round that the site file calls done."""
    rows = [
        (day, entry.material, share)
        for entry in site.program.entries
        for day, share in (*((day, 1.0) for day in entry.done), *entry.partly_done)
    ]
    rows += [(day, name, 1.0) for name, days in site.other_sprays.items() for day in days]
    return [row for row in rows if row[0] <= today]


def _as_today(
    site: Site, day: dt.date, material: str, shares: Mapping[str, float], sprays: Sprays
) -> list[Use]:
    """A round as today's mix would take it; of unknown amount where there is no rate."""
    if material in sprays:
        return [
            spray.use(day, material, shares[spray.block])
            for spray in sprays[material]
            if spray.block in shares
        ]
    fields = site.mix.get(material, MixFields())
    return [
        Use(day, block.name, material, None, ground_m2(block), fields.copper_share or 0.0,
            share=shares[block.name], base=fields.base)
        for block in site.blocks
        if block.name in shares
    ]  # fmt: skip


def _guess_notes(guesses: Iterable[Use]) -> list[str]:
    guesses = list(guesses)
    rounds = {
        known: Counter(name for _, name in {(use.day, use.material) for use in guesses
                                            if (use.amount is not None) is known})
        for known in (True, False)
    }  # fmt: skip
    notes = []
    for known, words in (
        (True, "No amount is recorded, counted as today's mix would take"),
        (False, "Not added up, neither an amount nor a rate is given"),
    ):
        named = [f"{name} on {n} day{'s' * (n > 1)}" for name, n in sorted(rounds[known].items())]
        if named:
            notes.append(f"{words}: {', '.join(named)}")
    return notes


def _record_notes(site: Site, past: Sequence[Application]) -> list[str]:
    """What the record holds in another way than the site file reads it."""
    notes = []
    other = sorted({
        entry.material for entry in past if amount_of(site, entry) is None
        and (entry.product_l, entry.product_kg) != (None, None)
    })  # fmt: skip
    notes += [
        f"{name} is recorded by {'weight' if site.mix[name].base == 'L' else 'volume'} and mixed "
        f"by {'volume' if site.mix[name].base == 'L' else 'weight'}: such amounts are not used"
        for name in other
    ]
    strange = sorted({name for entry in past for name in entry.blocks} - set(_names(site)))
    if strange:
        notes.append(f"Recorded on {', '.join(strange)}, not in the site file: counted on all")
    products = sorted({
        (entry.material, entry.product)
        for entry in past
        for fields in [site.mix.get(entry.material, MixFields())]
        if fields.copper and fields.product and amount_of(site, entry) is not None
        and entry.product.casefold() != fields.product.casefold()
    })  # fmt: skip
    notes += [
        f"The copper in {product} is counted as that of [mix.{name}], {site.mix[name].copper}"
        for name, product in products
    ]
    if any(entry.area_m2 is None and amount_of(site, entry) is not None for entry in past):
        notes.append("Where no area is recorded, it is that of the site file's blocks")
    return notes


HAD_SHARE = 0.99
"""A share from which on a block has had its round: shares are typed in whole percents."""


@dataclass(frozen=True)
class RoundsAhead:
    """What each block still gets of a material: block to share, for each round.

    `next` is the round to make next, `owed` all that the season still wants, `next` first where
    it is one of them. `share` is what is left of a round begun, of the whole site's; 1 where
    the next round is a whole one. `had` names blocks that have had their part of one begun.
    """

    next: Mapping[str, float]
    owed: tuple[Mapping[str, float], ...]
    share: float = 1.0
    had: frozenset[str] = frozenset()


def rounds_ahead(
    site: Site,
    season: Program,
    material: str,
    recorded: Sequence[Recorded],
    blocks: Sequence[str],
    chosen: Collection[str] | None = None,
) -> RoundsAhead:
    """Give the rounds of a material that are still to make.

    Parameters
    ----------
    site : Site
    season : Program
        As of this season.
    material : str
    recorded : sequence of MaterialRounds
        The site's record; where it names blocks, they have had their part.
    blocks : sequence of str
        Blocks that may have the material.
    chosen : collection of str, optional
        Those of the next round; all by default.

    Notes
    -----
    The rest of a round begun goes to what those blocks have not had yet, by trees. Where all of
    them have had theirs, the rest is of trees that may not have it any more: the next round is
    a whole one.
    """
    whole = dict.fromkeys(blocks, 1.0)
    entry = next((entry for entry in season.entries if entry.material == material), None)
    owed = entry.visits_owed if entry else 0
    if entry is None or not entry.days_unfinished:
        return RoundsAhead(whole, (whole,) * owed)
    had = _had(site, entry, recorded)
    trees = {block.name: block.trees for block in site.blocks if block.name in blocks}
    here = [name for name in blocks if chosen is None or name in chosen]
    left = {name: 1.0 - had.get(name, 0.0) for name in here if had.get(name, 0.0) < HAD_SHARE}
    if not left:
        return RoundsAhead(whole, (whole,) * (owed - 1))
    share = entry.rounds_in(1)
    room = sum(trees[name] * part for name, part in left.items())
    fits = min(1.0, share * sum(trees.values()) / room)
    rest = {name: round(part * fits, 6) for name, part in left.items()}
    wanted = (rest, *(whole,) * (owed - 1)) if owed else ()
    return RoundsAhead(rest, wanted, share, frozenset(here) - frozenset(left))


def _had(site: Site, entry: MaterialRounds, recorded: Sequence[Recorded]) -> Mapping[str, float]:
    """What part of the round begun each block has had, as far as the record names blocks."""
    had: dict[str, float] = defaultdict(float)
    for each in recorded:
        if each.material != entry.material or each.day not in entry.days_unfinished:
            continue
        if each.blocks or each.failed_blocks:
            for name, share in shares_of(site, each).items():
                had[name] += share
        if each.failed_share and (each.blocks or each.failed_blocks):
            where = {"share": each.failed_share, "blocks": each.failed_blocks or each.blocks}
            for name, share in shares_of(site, each.model_copy(update=where)).items():
                had[name] -= share
    return had
