"""What came after a round: rain within 24, 48 and 72 h, frost and heat; no rule defines them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spraywindow.season.past import Season
from spraywindow.weather.interval import Array, forward_highest, forward_lowest
from spraywindow.weather.rain import MEASURABLE_MM

AFTER_H = (24, 48, 72)
HEAT_C = 32.2
"""Heat that burns fresh oil [degC] (UC IPM: above 90 degF)."""


@dataclass(frozen=True, eq=False)
class Outcomes:
    """What came after each round, arrays [day, material, winter]; False without a round.

    Attributes
    ----------
    rain : mapping of int to bool array
        Hours to whether measurable rain surely fell within them.
    unknown : mapping of int to bool array
        Hours to whether that is not known.
    frost : bool array
        Freezing within 24 h.
    heat : bool array
        `HEAT_C` within 48 h.
    """

    rain: Mapping[int, NDArray[np.bool_]]
    unknown: Mapping[int, NDArray[np.bool_]]
    frost: NDArray[np.bool_]
    heat: NDArray[np.bool_]

    def share_spoiled(self, hours: int, made: NDArray[np.bool_]) -> float:
        """Share of the rounds with known weather after which it rained; NaN without any."""
        known = int((made & ~self.unknown[hours]).sum())
        return float(self.rain[hours].sum() / known) if known else float("nan")


def outcomes_after(season: Season, made: NDArray[np.bool_], start: NDArray[np.int64]) -> Outcomes:
    """Look what came after the rounds of a rule.

    Parameters
    ----------
    season : Season
    made : bool array [day, material, winter]
    start : int array [day, material, winter]
        Row of the block at which a round begins.
    """
    conditions, used = season.block.conditions, list(season.used)
    rounds, winters = start.shape[0] * start.shape[1], start.shape[2]

    def at(rows: Array) -> Array:
        """Values at the rounds' rows; of other days, of row 0."""
        columns = rows[:, used]
        picked = np.take_along_axis(
            columns[:, None, :],
            np.maximum(start, 0).reshape(rounds, 1, winters),
            axis=0,
        )
        return picked.reshape(start.shape)

    temp = conditions.temp
    rain, unknown = {}, {}
    for hours in AFTER_H:
        total = conditions.rain.ahead(hours)
        rain[hours] = made & (at(total.low) >= MEASURABLE_MM)
        unknown[hours] = made & ~rain[hours] & (at(total.high) >= MEASURABLE_MM)
    return Outcomes(
        rain,
        unknown,
        frost=made & (at(forward_lowest(temp, 24).high) <= 0.0),
        heat=made & (at(forward_highest(temp, 48).low) >= HEAT_C),
    )
