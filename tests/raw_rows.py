"""Plain arithmetic on the raw rows of real files, to check slots by hand."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

HOUR = pd.Timedelta(hours=1)
AT_4_M = math.log(67.8 * 4 - 5.42) / math.log(67.8 * 10 - 5.42)  # FAO-56 eq. 47


@dataclass(frozen=True)
class RawRows:
    """Raw values at their stamps [degC, m/s, %]; rain by the hours that it covers [mm].

    `rain` maps the start of an hour to its rain, `totals` holds (start, end, mm) of longer ones.
    """

    temp_c: pd.Series
    wind_ms: pd.Series
    rh_pct: pd.Series
    rain: dict[pd.Timestamp, float]
    totals: tuple[tuple[pd.Timestamp, pd.Timestamp, float], ...] = ()
    gust_ms: pd.Series | None = None
    step: pd.Timedelta = HOUR

    def at(self, values: pd.Series, first: pd.Timestamp, last: pd.Timestamp) -> np.ndarray:
        """Values on the hours first to last; between reports one step apart by a straight line."""
        known = values.dropna()
        around = known.loc[first - self.step : last + self.step]
        assert around.index[0] <= first
        assert around.index[-1] >= last
        assert around.index.to_series().diff().max() <= self.step
        hours = pd.date_range(first, last, freq="h")
        return np.interp(hours.asi8, around.index.as_unit(hours.unit).asi8, around)

    def most_rain(self, first: pd.Timestamp, last: pd.Timestamp) -> float:
        """The most that can have fallen from `first` up to `last`; every hour is accounted for."""
        total, counted = 0.0, set()
        for hour in pd.date_range(first, last - HOUR, freq="h"):
            if not math.isnan(self.rain.get(hour, math.nan)):
                total += self.rain[hour]
                continue
            over = [period for period in self.totals if period[0] <= hour < period[1]]
            assert over, f"nothing known of the rain at {hour}"
            counted.add(min(over, key=lambda period: period[1] - period[0]))
        return total + sum(mm for _, _, mm in counted)

    def check_oil(self, hour: pd.Timestamp) -> None:
        """One hour of a slot of oil against the printed limits."""
        temps = self.at(self.temp_c, hour, hour + HOUR)
        assert temps.min() >= 4.4
        assert temps.max() <= 29.4
        assert self.at(self.temp_c, hour, hour + 24 * HOUR).min() > 0.0
        assert self.at(self.temp_c, hour, hour + 48 * HOUR).max() < 32.2
        assert self.at(self.rh_pct, hour, hour + HOUR).max() < 95.0
        assert (self.at(self.wind_ms, hour, hour + HOUR) * AT_4_M).max() <= 10 * 0.44704
        if self.gust_ms is not None and hour in self.gust_ms.index:
            assert not self.gust_ms[hour] > 15 * 0.44704  # none reported is no gust
        assert self.most_rain(hour, hour + 24 * HOUR) < 0.254
        assert self.most_rain(hour, hour + 72 * HOUR) <= 2.0 + 1e-9
