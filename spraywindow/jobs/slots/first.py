"""The evenings of a program decided together, which stands first, and how urgent each is.

Urgency is what is owed over what the season still holds.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

import pandas as pd

from spraywindow.jobs.slots.answer import DayAnswer, Evening, default_material, evening_of_each
from spraywindow.jobs.slots.decision import beyond_at_large, beyond_winters, decide
from spraywindow.program import Beyond, usual_share_of
from spraywindow.site import Site, last_day_of, main_flowering, spacing_finding
from spraywindow.spray import Material, Slot, hardest, working_day


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
    """Slots of the planned rounds, in order of time: those of the decision's own path.

    Parameters
    ----------
    evenings : sequence of Evening
        From `tonight`, the one that the decision is about first.

    Returns
    -------
    list of Slot
        At most one a material and day: the day's likeliest.
    """
    decision = evenings[0].first.decision
    slots = {
        (slot.start.date(), each.material.name): slot
        for each in evenings
        for slot in reversed(each.slots)  # the likeliest last, so that it stays
    }
    steps = [(step.date, step.material) for step in (decision.plan if decision else ())]
    return [slots[step] for step in steps if step in slots]


def tonight(
    site: Site,
    weather: pd.DataFrame,
    now: pd.Timestamp,
    material: str | None = None,
    *,
    winters: pd.DataFrame | None = None,
) -> list[Evening]:
    """The evening of every material of the program, decided, the one to go out with first.

    Parameters
    ----------
    site, weather, now
        As for `evening`.
    material : str, optional
        Stands first, also one outside the program, and is decided on alone. Default: the one that
        the decision is about, else the next due.
    winters : DataFrame, optional
        Hourly record of past winters; without it the mornings beyond the forecast are taken as
        they are at large.
    """
    due = material or default_material(site, now.tz_convert(site.place.timezone).date())
    names = dict.fromkeys([due, *site.program.materials])
    evenings = evening_of_each(site, weather, now, names)
    if winters is None:
        beyond = beyond_at_large(site, now)
    else:
        beyond = beyond_winters(site, winters, now, weather)
    whole = decide(evenings, beyond, only=material)
    aim = () if whole.wait_for is None else (whole.wait_for.material,)
    about = whole.materials or aim
    lead = next((each for each in evenings if each.material.name in about), evenings[0])
    lead = evenings[0] if material else lead
    rest = [each for each in evenings if each is not lead]
    return [
        _decided(lead, evenings, beyond, material),
        *(_decided(each, evenings, beyond, each.material.name) for each in rest),
    ]


def _decided(
    evening: Evening, evenings: Sequence[Evening], beyond: Beyond, only: str | None
) -> Evening:
    """An evening with what is decided for its first answer, and for tomorrow."""

    def with_decision(answer: DayAnswer) -> DayAnswer:
        return replace(answer, decision=decide(evenings, beyond, day=answer.date, only=only))

    today = None if evening.today is None else with_decision(evening.today)
    return replace(evening, today=today, tomorrow=with_decision(evening.tomorrow))
