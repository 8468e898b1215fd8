"""Which of the coming week's slots the program would use: the exact plan on what is known."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from spraywindow.orchard.evening import Evening
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
        likeliest slots.
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
    plan = plan_rounds(chances, program)
    return [best[day, name] for day, name in zip(plan["date"], plan["material"], strict=True)]
