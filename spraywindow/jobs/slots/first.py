"""Which of the week's slots the program would use, which material first, and how urgent it is.

Urgency is what is owed over what the season still holds.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from spraywindow.jobs.slots.answer import Evening, default_material, evening
from spraywindow.program import plan_rounds
from spraywindow.site import Site, last_day_of, main_flowering, spacing_finding
from spraywindow.spray import Material, Slot, hardest, working_day

USUAL_SHARE, USUAL_SHARE_SHORT = 0.25, 0.5
"""Share of mornings beyond the forecast that are expected to be usable, for materials that want
days of dry weather afterwards (oil), and for those that want up to `SHORT_SPELL_H` (copper); P."""
SHORT_SPELL_H = 24


@dataclass(frozen=True)
class Urgency:
    """How few chances a material still has at a site.

    Attributes
    ----------
    owed : int
        Visits owed.
    known : int
        Usable mornings known, from the day of the visit on.
    later_days : int
        Working days from the last one that is answered to the last usable one, without those that
        sprays done keep closed.
    last_day : date
        The material's last usable day, before the first flower.
    usual_share : float
        Of the later days that are expected to be usable.
    assumed : bool
        The last day goes by no date that anybody gave or saw.
    """

    owed: int
    known: int
    later_days: int
    last_day: dt.date
    usual_share: float
    assumed: bool = False

    @property
    def chances(self) -> float:
        """Usable mornings that the season still holds, known and expected."""
        return self.known + self.later_days * self.usual_share

    @property
    def value(self) -> float:
        """Rounds owed for each of them; 0 when nothing is owed."""
        return self.owed / max(self.chances, 1.0)


def usual_share_of(material: Material) -> float:
    """Share of later mornings that are expected to be usable for a material [0-1]."""
    return USUAL_SHARE_SHORT if material.dry_spell_h <= SHORT_SPELL_H else USUAL_SHARE


def urgency(evening: Evening, day: dt.date, share: float | None = None) -> Urgency | None:
    """How urgent the material of an evening is from a day on; None where no visit is owed.

    Parameters
    ----------
    evening : Evening
    day : date
        Local day of the visit.
    share : float, optional
        Of the later mornings that are expected to be usable [0-1]; default `usual_share_of`.
    """
    site, material = evening.site, evening.material
    program = site.program
    owed = dict(zip(program.materials, program.visits_allowed, strict=True)).get(material.name)
    if not owed:
        return None
    flowers = main_flowering(site, evening.now.date())
    last = last_day_of(material, flowers)
    ahead = [each for each in evening.answers if each.date >= day]
    known_to = max([day, *(each.date for each in ahead if each.verdict != "unknown")])
    return Urgency(
        owed,
        sum(each.verdict == "go" and each.date <= last for each in ahead),
        sum(_open(site, material, day) for day in _days_after(known_to, last)),
        last,
        share if share is not None else usual_share_of(material),
        flowers.assumed,
    )


def _days_after(day: dt.date, last: dt.date) -> list[dt.date]:
    return [day + dt.timedelta(days=number) for number in range(1, (last - day).days + 1)]


def _open(site: Site, material: Material, day: dt.date) -> bool:
    """Whether a day that no forecast tells yet could be used, for all that is known now."""
    held = hardest([working_day(day, site.access), spacing_finding(site, material, day)])
    return held.verdict == "go"


def planned_slots(evenings: Sequence[Evening]) -> list[Slot]:
    """Slots of the planned rounds, in order of time.

    Parameters
    ----------
    evenings : sequence of Evening
        One for every material of the site's program.

    Returns
    -------
    list of Slot
        At most one a material and day: the day's likeliest. Most rounds come first, then the
        more urgent materials (rounds owed for each chance left), then the likeliest slots.
    """
    best: dict[tuple[pd.Timestamp, str], Slot] = {}
    for each in evenings:
        for slot in each.slots:  # the likeliest first
            day = pd.Timestamp(slot.start.date())
            best.setdefault((day, each.material.name), slot)
    if not best:
        return []
    program = evenings[0].site.program
    days = pd.date_range(min(day for day, _ in best), max(day for day, _ in best))
    chances = pd.DataFrame(np.nan, index=days, columns=list(program.materials))
    for (day, name), slot in best.items():
        if name in chances.columns:
            chances.loc[day, name] = slot.chance or 0.0  # without a figure: last
    first = min(days).date()
    urgent = {each.material.name: urgency(each, first) for each in evenings}
    values = {name: 0.0 if found is None else found.value for name, found in urgent.items()}
    most = max(values.values()) or 1.0
    near = {name: values.get(name, 0.0) / most for name in program.materials}
    plan = plan_rounds(chances, program, nearness=pd.DataFrame(near, index=days))
    return [best[day, name] for day, name in zip(plan["date"], plan["material"], strict=True)]


def planned_first(evenings: Sequence[Evening]) -> list[Evening]:
    """The evenings with the one first that the plan would go out with, else as they stand."""
    planned = planned_slots(evenings)
    lead = next((e for e in evenings if e.first.slot is not None and e.first.slot in planned), None)
    return list(evenings) if lead is None else [lead, *(e for e in evenings if e is not lead)]


def tonight(
    site: Site, weather: pd.DataFrame, now: pd.Timestamp, material: str | None = None
) -> list[Evening]:
    """The evening of every material of the program, the one to go out with first.

    Parameters
    ----------
    site, weather, now
        As for `evening`.
    material : str, optional
        Stands first, also one outside the program. Default: the one that the plan would go out
        with, else the next due.
    """
    due = material or default_material(site, now.tz_convert(site.place.timezone).date())
    names = dict.fromkeys([due, *site.program.materials])
    evenings = [evening(site, weather, now, name) for name in names]
    return evenings if material else planned_first(evenings)
