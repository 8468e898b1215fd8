"""How many days a program takes, and whether five weeks would hold it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spraywindow.season.coming import KNOWN_MORNINGS, as_it_comes, follow, rounds_of
from spraywindow.season.maxima import all_made
from spraywindow.season.nearness import Nearness
from spraywindow.season.past import Season
from spraywindow.season.program import Program
from spraywindow.season.share import Share
from spraywindow.season.states import program_states
from spraywindow.weather.interval import Array

FIVE_WEEKS_D = 35
"""All that eight rounds are said to get in a mild winter [days]; P."""


@dataclass(frozen=True)
class Span:
    """Days that the rounds owed take as it comes.

    Attributes
    ----------
    median_days : float
        From the first round to the last, both counted: middle of the winters that finish; NaN
        without one.
    finished : int
        Those winters.
    in_five_weeks : Share
        Winters in which all rounds fit within `FIVE_WEEKS_D` of day 0.
    """

    median_days: float
    finished: int
    in_five_weeks: Share


def span_days(made: NDArray[np.bool_]) -> Array:
    """Days from the first round to the last, both counted, per winter; NaN without a round.

    `made` is [day, material, winter].
    """
    worked = np.asarray(made.any(axis=1))
    first, behind = worked.argmax(axis=0), worked[::-1].argmax(axis=0)
    return np.where(worked.any(axis=0), len(worked) - behind - first, np.nan)


def program_span(season: Season, program: Program) -> Span:
    """Follow a program through the winters of a season, as it comes, and in five weeks of it."""

    def made(days: int, near: Nearness | None) -> NDArray[np.bool_]:
        chances = season.foreseen[:days]
        states = program_states(program, len(chances), max(len(season.labels), 1))
        last = np.minimum(season.ending.turned_out, days - 1.0)
        coming = as_it_comes(
            chances, last, season.ending.then[:days], states, KNOWN_MORNINGS, near=near
        )
        return rounds_of(states, follow(coming, np.zeros(1, dtype=np.int64))[0][:, 0])

    every = made(len(season.foreseen), season.near)
    done = all_made(program, every.sum(axis=0))
    spans = span_days(every)[done]
    # who has but five weeks waits for no better stage
    short = all_made(program, made(FIVE_WEEKS_D, None).sum(axis=0))
    return Span(
        float(np.median(spans)) if spans.size else float("nan"),
        int(done.sum()),
        Share.of(short),
    )
