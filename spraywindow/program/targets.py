"""Where rounds belong: how near each day lies to the stage that a material's rounds are meant for.

How fast that fades is common practice, no source. It never costs a round: the planner counts
rounds first.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spraywindow.program.program import Program
from spraywindow.spray import Material
from spraywindow.trees import STAGE_SHARES, StageDays, parse_stage
from spraywindow.weather import Array

LEAF_FALL_CODES = (93, 95, 97)
REACH_D = 30.0
"""So many days from its stage, a day is of no more use than any other [d]; P."""


@dataclass(frozen=True, eq=False)
class Nearness:
    """How near days are to where rounds belong, 0 to 1.

    Attributes
    ----------
    days : int
        Length of the calendars.
    aims : tuple of array [target, winter]
        Per material, the days aimed at as each winter turned out.
    aims_forecast : tuple of array [target, evening, winter]
        The same as forecast on each evening.
    """

    days: int
    aims: tuple[Array, ...]
    aims_forecast: tuple[Array, ...]

    @property
    def actual(self) -> Array:
        """By the stages as they turned out, [day, material, winter]: for hindsight."""
        return np.stack([_near(np.arange(float(self.days)), aims) for aims in self.aims], axis=1)

    def ahead(self, evening: int, last: int) -> Array:
        """Days `evening` up to, not including, `last` as seen on that evening, likewise."""
        days = np.arange(float(evening), last)
        return np.stack([_near(days, aims[:, evening]) for aims in self.aims_forecast], axis=1)


def nearness(
    program: Program,
    materials: Sequence[Material],
    first: dt.date,
    leaf_fall: dt.date,
    stages: StageDays,
    days: int,
) -> Nearness:
    """Put each material's targets on the calendars.

    Parameters
    ----------
    program : Program
        An entry's `target` (stages in words or code, or dates) goes over the material's.
    materials : sequence of Material
        In the order of the program.
    first : date
        Day 0 in the season meant.
    leaf_fall : date
        Of the season meant.
    stages : StageDays
        Of the winters; a stage that the bloom model does not know aims at nothing.
    days : int
        Length of the calendars.
    """
    evenings, _, winters = stages.forecast.shape
    aims, aims_forecast = [], []
    for entry, material in zip(program.entries, materials, strict=True):
        rows, rows_forecast = [], []
        for target in entry.target or material.targets:
            code = None if isinstance(target, dt.date) else parse_stage(target).bbch
            if code in STAGE_SHARES:
                place = list(STAGE_SHARES).index(code)
                rows.append(stages.actual[place])
                rows_forecast.append(stages.forecast[:, place])
            elif code is None or code in LEAF_FALL_CODES:
                meant = target if isinstance(target, dt.date) else leaf_fall
                rows.append(np.full(winters, float((meant - first).days)))
                rows_forecast.append(np.broadcast_to(rows[-1], (evenings, winters)))
        aims.append(np.array(rows).reshape(len(rows), winters))
        aims_forecast.append(np.array(rows_forecast).reshape(len(rows_forecast), evenings, winters))
    return Nearness(days, tuple(aims), tuple(aims_forecast))


def _near(days: Array, aims: Array) -> Array:
    """Nearness of days to the nearest of their aims [target, winter], array [day, winter]."""
    off = np.abs(days[:, None, None] - aims)
    near = np.clip(1.0 - np.where(np.isfinite(off), off, np.inf) / REACH_D, 0.0, 1.0)
    return np.asarray(near.max(axis=1, initial=0.0))
