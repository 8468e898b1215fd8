"""What copper earns against peach leaf curl: how much of each winter's risk the rounds cover.

Every hour of a season counts alike: how susceptible buds are before they burst has no published
figure (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from spraywindow.weather import LEAF_CURL, Array, infection_risk, spread_rain, wet_from_store
from spraywindow.winters.copper import CopperLeft, best_rounds, covered_share, round_worth
from spraywindow.winters.past import PastWinters, within
from spraywindow.winters.share import mean_known

MOST_ROUNDS = 5
NOTHING_LEFT = CopperLeft()


@dataclass(frozen=True, eq=False)
class CurlCover:
    """Cover of the winters used.

    Attributes
    ----------
    left : CopperLeft
        What is on the wood on day 0; it counts in all that follows.
    risk : array [winter]
        Sum of the severities of the season's infection spells (lower bound).
    bare : array [winter]
        Share of it covered without any further round; NaN without risk.
    coming : array [winter]
        Share of it covered by the rounds made as it comes; NaN without risk.
    best : array [number of rounds, winter]
        Share that the best 1, 2, ... rounds of hindsight cover; NaN without risk. They keep the
        program's least days.
    worth : array [round, winter]
        Share that would be lost without the first, second ... round made as it comes.
    """

    json_keys: ClassVar = (
        "winters_with_risk", "copper_on_wood=left.share", "rain_unknown_h=left.unknown_h",
        "covered_without_rounds", "covered_as_it_comes", "covered_by_best_rounds",
        "worth_of_round",
    )  # fmt: skip

    left: CopperLeft
    risk: Array
    bare: Array
    coming: Array
    best: Array
    worth: Array

    @property
    def winters_with_risk(self) -> int:
        """Winters that had weather for infection; the means are of these."""
        return int(np.isfinite(self.coming).sum())

    @property
    def covered_without_rounds(self) -> float:
        """Mean of `bare`; NaN without risk, as all that follow."""
        return mean_known(self.bare)

    @property
    def covered_as_it_comes(self) -> float:
        """Mean of `coming`."""
        return mean_known(self.coming)

    @property
    def covered_by_best_rounds(self) -> tuple[float, ...]:
        """Means of `best`, by number of rounds from 1 on."""
        return tuple(map(mean_known, self.best))

    @property
    def worth_of_round(self) -> tuple[float, ...]:
        """Means of `worth`, by round."""
        return tuple(map(mean_known, self.worth))


def curl_cover(
    season: PastWinters,
    which: int,
    made: NDArray[np.bool_],
    *,
    least_days: int,
    left: CopperLeft = NOTHING_LEFT,
) -> CurlCover:
    """Measure what copper rounds would have covered in every winter used.

    Parameters
    ----------
    season : PastWinters
    which : int
        Number of the copper among the season's materials.
    made : bool array [day, winter]
        Copper rounds made as it comes.
    least_days : int
        Least days between rounds, of the program.
    left : CopperLeft
        What is on the wood on day 0.
    """
    conditions, used = season.block.conditions, list(season.used)
    water, columns = conditions.balance_water, conditions.columns
    rain = columns["rain_mm"][:, used]
    if "rain_total_mm" in columns:
        rain = spread_rain(
            rain, columns["rain_total_mm"][:, used], columns["rain_total_h"][:, used]
        )
    wet = wet_from_store(water.low[:-1, used], water.high[:-1, used])
    # up to the first day on which copper may no longer be sprayed
    day = season.block.day[:, used]
    inside = (day >= 0) & (day <= season.ending.actual[which])
    risk = np.where(inside, infection_risk(LEAF_CURL, wet, columns["temp_c"][:, used], rain)[0], 0)
    rows = season.starts[:, which]
    usable = np.isfinite(within(season.chances, season.ending.actual))[:, which]
    hours = np.arange(len(rain))[:, None]
    done = np.zeros(rain.shape, dtype=bool)
    on, winter = np.nonzero(made & (rows >= 0))
    done[rows[on, winter], winter] = True
    # of the rain before day 0 `left` has taken account
    known_rain = np.where(day >= 0, np.nan_to_num(rain), 0.0)
    bare, coming = (
        covered_share((risk, risk), known_rain, rounds, on_wood=left.share)[0]
        for rounds in (np.zeros_like(done), done)
    )
    winters = len(used)
    best = np.repeat(bare[None], MOST_ROUNDS, axis=0)  # where there is no morning for a round
    worth = np.full((MOST_ROUNDS, winters), np.nan)
    for column in range(winters):
        days = np.flatnonzero(usable[:, column])
        if len(days):
            found = best_rounds(
                risk[:, column], known_rain[:, column], rows[days, column], days, MOST_ROUNDS,
                least_days=least_days, on_wood=left.share,
            )  # fmt: skip
            shares = [share for share, _ in found]
            if shares:  # more rounds than there is room for add nothing
                best[:, column] = [*shares, *shares[-1:] * (MOST_ROUNDS - len(shares))]
        own = hours[done[:, column], 0]
        earned = round_worth(
            risk[:, column], known_rain[:, column], own, on_wood=left.share
        )[:MOST_ROUNDS]  # fmt: skip
        worth[: len(earned), column] = earned
    return CurlCover(left, risk.sum(axis=0), bare, coming, best, worth)
