"""What the maxima of a season leave: the label's, and that of metallic copper together."""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from spraywindow.program.program import Program


def visits_allowed(program: Program) -> tuple[int, ...]:
    """Visits still to make with each material within all maxima: the most, by priority.

    Of equal ways to share the metallic copper out, the one that serves earlier materials first.
    """
    owed = [entry.visits_owed for entry in program.entries]
    if copper_fits(program, owed):
        return tuple(owed)
    weights = priorities(program)
    copper = [bool(entry.metallic_copper_per_round_kg_ha) for entry in program.entries]
    *some, last = np.flatnonzero(copper).tolist()
    best = [0 if holds else visits for visits, holds in zip(owed, copper, strict=True)]
    best_worth = -1
    for counts in product(*(range(owed[number], -1, -1) for number in some)):
        visits = list(owed)
        for number, count in zip(some, counts, strict=True):
            visits[number] = count
        while visits[last] and not copper_fits(program, visits):
            visits[last] -= 1
        worth = int(weights @ visits)
        if worth > best_worth and copper_fits(program, visits):
            best, best_worth = visits, worth
    return tuple(best)


def all_made(program: Program, visits: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    """Tell whether visits made [material, ...] are the most that the maxima allow, by priority."""
    weights = priorities(program)
    made = np.tensordot(weights, np.asarray(visits), axes=1)
    return np.asarray(made >= weights @ np.array(program.visits_allowed))


def copper_fits(program: Program, visits: list[int]) -> bool:
    """Tell whether further visits, one number a material, keep the maximum of metallic copper."""
    return program.metallic_copper_kg_ha(visits) <= program.copper_allowed_kg_ha + 1e-9


def beyond_maxima(program: Program) -> tuple[str, ...]:
    """What is done beyond the maxima of a season, a sentence each."""
    lines = []
    for entry in program.entries:
        most, used = entry.season_maximum, entry.rounds_done * (entry.product_per_round or 0.0)
        if most is not None and entry.rounds_done > most:
            lines.append(
                f"{entry.material}: {entry.rounds_done:g} rounds are recorded, over the season "
                f"maximum of {most}"
            )
        if entry.product_maximum is not None and used > entry.product_maximum * (1 + 1e-9):
            lines.append(
                f"{entry.material}: {used:g} of product is recorded, over the season maximum of "
                f"{entry.product_maximum:g}"
            )
    copper, most_copper = program.metallic_copper_kg_ha(), program.metallic_copper_maximum_kg_ha
    if most_copper is not None and copper > most_copper + 1e-9:
        lines.append(
            f"metallic copper: {copper:.3g} kg/ha is recorded, over the season maximum of "
            f"{most_copper:g} kg/ha"
        )
    return tuple(lines)


def priorities(program: Program) -> npt.NDArray[np.int64]:
    """Priorities in hundredths, one a material."""
    return np.array([round(entry.priority * 100) for entry in program.entries], dtype=np.int64)
