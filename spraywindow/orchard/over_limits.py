"""Whether an application that is recorded takes its blocks over what label and region allow."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from spraywindow.orchard.mix_done import amount_of, recorded_uses, uses_done
from spraywindow.orchard.mix_spray import sprays_of
from spraywindow.orchard.mix_totals import copper_limits, label_limits
from spraywindow.orchard.mix_use import Use, UseLimit
from spraywindow.orchard.record_fields import Entry
from spraywindow.orchard.season_totals import LimitUse, limits_used
from spraywindow.orchard.site import Site
from spraywindow.orchard.site_mixing import MixFields


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


def over_limits(site: Site, entries: Sequence[Entry], entry: Entry, today: dt.date) -> LimitCheck:
    """Hold one entry, with all others and the site file's rounds, against the limits.

    Parameters
    ----------
    site : Site
        `[mix.NAME]` and `[copper]` hold the limits.
    entries : sequence of Entry
        All of the site's record that hold, `entry` among them.
    entry : Entry
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
    return LimitCheck(tuple(worst.values()), tuple(_notes(site, entry, limits, own)))


def _notes(site: Site, entry: Entry, limits: Sequence[UseLimit], own: Sequence[Use]) -> list[str]:
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
