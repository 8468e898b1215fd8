"""What copper earns against peach leaf curl: how much of each winter's risk the rounds cover.

Hours count from the first swelling of the buds on, and alike: dormant buds are closed, and how
susceptible they are before they burst has no published figure (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from spraywindow.weather import LEAF_CURL, Array, infection_risk, spread_rain, wet_from_store
from spraywindow.winters.copper import CopperLeft, covered_share, round_worth
from spraywindow.winters.past import PastWinters
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
        Sum of the severities of the season's infection spells from bud swell on (lower bound).
    bare : array [winter]
        Share of it covered without any further round; NaN without risk.
    coming : array [winter]
        Share of it covered by the rounds made as it comes; NaN without risk.
    by_rounds : array [number of rounds, winter]
        Share covered where 1, 2, ... more rounds are wanted and each evening's advice is followed;
        NaN without risk. Who is served better by fewer makes fewer.
    worth : array [round, winter]
        Share that would be lost without the first, second ... round made as it comes.
    """

    json_keys: ClassVar = (
        "winters_with_risk", "copper_on_wood=left.share", "rain_unknown_h=left.unknown_h",
        "covered_without_rounds", "covered_as_it_comes", "covered_by_rounds",
        "worth_of_round",
    )  # fmt: skip

    left: CopperLeft
    risk: Array
    bare: Array
    coming: Array
    by_rounds: Array
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
    def covered_by_rounds(self) -> tuple[float, ...]:
        """Means of `by_rounds`, by number of rounds from 1 on."""
        return tuple(map(mean_known, self.by_rounds))

    @property
    def worth_of_round(self) -> tuple[float, ...]:
        """Means of `worth`, by round."""
        return tuple(map(mean_known, self.worth))


def curl_cover(
    season: PastWinters,
    which: int,
    made: NDArray[np.bool_],
    by_rounds: Sequence[NDArray[np.bool_]],
    start: NDArray[np.int64],
    *,
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
    by_rounds : sequence of bool arrays [day, winter]
        Those made where 1, 2, ... rounds are wanted.
    start : int array [day, winter]
        Row of the block at which a round of each day begins.
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
    inside = (day >= np.fmax(season.bud_swell, 0.0)) & (day <= season.ending.actual[which])
    risk = np.where(inside, infection_risk(LEAF_CURL, wet, columns["temp_c"][:, used], rain)[0], 0)
    # of the rain before day 0 `left` has taken account
    known_rain = np.where(day >= 0, np.nan_to_num(rain), 0.0)

    def covered(rounds: NDArray[np.bool_]) -> Array:
        hours = np.zeros(rain.shape, dtype=bool)
        on, winter = np.nonzero(rounds)
        hours[start[on, winter], winter] = True
        return covered_share((risk, risk), known_rain, hours, on_wood=left.share)[0]

    shares = [bare := covered(np.zeros_like(made))]
    for rounds in by_rounds:
        more = covered(rounds)
        shares.append(more if mean_known(more) > mean_known(shares[-1]) else shares[-1])
    winters = len(used)
    worth = np.full((len(by_rounds), winters), np.nan)
    for column in range(winters):
        own = start[made[:, column], column]
        earned = round_worth(
            risk[:, column], known_rain[:, column], own, on_wood=left.share
        )[: len(worth)]  # fmt: skip
        worth[: len(earned), column] = earned
    return CurlCover(left, risk.sum(axis=0), bare, covered(made), np.stack(shares[1:]), worth)
