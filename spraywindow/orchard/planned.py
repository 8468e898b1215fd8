"""Which of the coming week's slots the program would use, and which material it names first."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from spraywindow.orchard.evening import Evening
from spraywindow.orchard.urgency import urgency
from spraywindow.season.planner import plan_rounds
from spraywindow.spray.slots import Slot


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
    for evening in evenings:
        for slot in evening.slots:  # the likeliest first
            day = pd.Timestamp(slot.start.date())
            best.setdefault((day, evening.material.name), slot)
    if not best:
        return []
    program = evenings[0].site.program
    days = pd.date_range(min(day for day, _ in best), max(day for day, _ in best))
    chances = pd.DataFrame(np.nan, index=days, columns=list(program.materials))
    for (day, name), slot in best.items():
        if name in chances.columns:
            chances.loc[day, name] = slot.chance
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
