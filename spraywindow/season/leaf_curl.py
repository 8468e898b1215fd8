"""What copper earns against peach leaf curl: how much of each winter's risk the rounds cover.

Every hour of a season counts alike: how susceptible buds are before they burst has no published
figure (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spraywindow.season.copper_cover import best_rounds, covered_share, round_worth
from spraywindow.season.infection import LEAF_CURL, infection_risk, spread_rain, wet_from_store
from spraywindow.season.mornings import best_jobs
from spraywindow.season.past import Season
from spraywindow.weather.interval import Array

MOST_ROUNDS = 5


@dataclass(frozen=True, eq=False)
class CurlCover:
    """Cover of the winters used.

    Attributes
    ----------
    risk : array [winter]
        Sum of the severities of the season's infection spells (lower bound).
    coming : array [winter]
        Share of it covered by the rounds made as it comes; NaN without risk.
    best : array [number of rounds, winter]
        Share that the best 1, 2, ... rounds of hindsight cover; NaN without risk.
    worth : array [round, winter]
        Share that would be lost without the first, second ... round made as it comes.
    """

    risk: Array
    coming: Array
    best: Array
    worth: Array


def curl_cover(season: Season, which: int, made: NDArray[np.bool_]) -> CurlCover:
    """Measure what copper rounds would have covered in every winter used.

    Parameters
    ----------
    season : Season
    which : int
        Number of the copper among the season's materials.
    made : bool array [day, winter]
        Copper rounds made as it comes.
    """
    conditions, used = season.block.conditions, list(season.used)
    water, columns = conditions.water, conditions.columns
    rain = columns["rain_mm"][:, used]
    if "rain_total_mm" in columns:
        rain = spread_rain(
            rain, columns["rain_total_mm"][:, used], columns["rain_total_h"][:, used]
        )
    wet = wet_from_store(water.low[:-1, used], water.high[:-1, used])
    # up to the first day on which copper may no longer be sprayed
    day = season.block.day[:, used]
    inside = (day >= 0) & (day <= season.ending.turned_out[which])
    risk = np.where(inside, infection_risk(LEAF_CURL, wet, columns["temp_c"][:, used], rain)[0], 0)
    _, rows = best_jobs(season.block, season.scores[which], season.need_h, season.access)
    rows = rows[:, used]
    usable = season.usable[:, which]
    hours = np.arange(len(rain))[:, None]
    done = np.zeros(rain.shape, dtype=bool)
    on, winter = np.nonzero(made & (rows >= 0))
    done[rows[on, winter], winter] = True
    known_rain = np.nan_to_num(rain)
    coming, _ = covered_share((risk, risk), known_rain, done)
    winters = len(used)
    best = np.full((MOST_ROUNDS, winters), np.nan)
    worth = np.full((MOST_ROUNDS, winters), np.nan)
    for column in range(winters):
        days = np.flatnonzero(usable[:, column])
        if len(days):
            found = best_rounds(
                risk[:, column], known_rain[:, column], rows[days, column], days, MOST_ROUNDS,
                least_days=season.materials[which].least_days,
            )  # fmt: skip
            shares = [share for share, _ in found]
            best[: len(shares), column] = shares
            if shares:  # more rounds than there is room for add nothing
                best[len(shares) :, column] = shares[-1]
        own = hours[done[:, column], 0]
        earned = round_worth(risk[:, column], known_rain[:, column], own)[:MOST_ROUNDS]
        worth[: len(earned), column] = earned
    return CurlCover(risk.sum(axis=0), coming, best, worth)
