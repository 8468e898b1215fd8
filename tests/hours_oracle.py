"""Verdicts by the printed rules, hour by hour and slowly: the oracle of `test_hours_oracle`.

Written from the published limits and practice, for tables without cloud and radiation. Each
rule looks at the cells it needs; a cell that is not there is None.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import pandas as pd

GO, NO, MAYBE = "go", "no-go", "unknown"
Cells = list[float | None]
AT_4_M = math.log(67.8 * 4 - 5.42) / math.log(67.8 * 10 - 5.42)  # FAO-56 eq. 47


def verdicts(
    table: pd.DataFrame,
    sun: list[tuple[float, float, float]],
    material: str,
    neighbours: tuple[float, ...],
    forecast_from: int,
) -> list[str]:
    """Verdict of each hour; `sun` holds (elevation, hours from rise or set, clear W/m2)."""
    cells = {
        name: [None if math.isnan(value) else float(value) for value in table[name]]
        for name in table
    }
    hours = _Hours(cells, sun, neighbours, forecast_from)
    rules = hours.oil if material == "oil" else hours.copper
    return [all_of(rules(t)) for t in range(len(table))]


def all_of(answers: Iterable[str]) -> str:
    found = set(answers)
    return NO if NO in found else MAYBE if MAYBE in found else GO


def none_may(cells: Cells, bad: Callable[[float], bool]) -> str:
    if any(cell is not None and bad(cell) for cell in cells):
        return NO
    return MAYBE if None in cells else GO


def sum_under(cells: Cells, bad: Callable[[int], bool]) -> str:
    """Of rain in whole micrometres."""
    if bad(sum(round(cell * 1000) for cell in cells if cell is not None)):
        return NO
    return MAYBE if None in cells else GO


class _Hours:
    def __init__(
        self,
        cells: dict[str, Cells],
        sun: list[tuple[float, float, float]],
        neighbours: tuple[float, ...],
        forecast_from: int,
    ) -> None:
        self.cells, self.sun, self.neighbours = cells, sun, neighbours
        self.count = len(sun)
        temps = cells["temp_c"]
        self.frost = [
            temp if temp is None or row < forecast_from else temp - 1.5
            for row, temp in enumerate(temps)
        ]
        self.humidity: Cells = [
            None
            if temp is None or dew is None
            else 100 * math.exp(17.27 * dew / (dew + 237.3) - 17.27 * temp / (temp + 237.3))
            for temp, dew in zip(temps, cells["dew_point_c"], strict=True)
        ]
        self.water = self.water_by_hour()

    def over(self, name: str | Cells, first: int, last: int) -> Cells:
        """Cells of the rows first to last, both included; None outside the data."""
        cells = self.cells[name] if isinstance(name, str) else name
        return [cells[t] if 0 <= t < self.count else None for t in range(first, last + 1)]

    def oil(self, t: int) -> list[str]:
        temps, clear = self.over("temp_c", t, t + 1), self.sun[t][2]
        return [
            none_may(temps, lambda temp: temp < 4.4),
            none_may(temps, lambda temp: temp > 29.4),
            self.sun_on_wood(temps, clear),
            self.high_sun(t, temps),
            none_may(self.over(self.frost, t, t + 24), lambda temp: temp <= 0),
            none_may(self.over("temp_c", t, t + 48), lambda temp: temp >= 32.2),
            none_may(self.over(self.humidity, t, t + 1), lambda rh: rh >= 95),
            all_of(not_(self.is_wet(row)) for row in (t, t + 1)),
            self.dries_in_time(t),
            sum_under(self.over("rain_mm", t, t + 23), lambda um: um >= 254),
            sum_under(self.over("rain_mm", t, t + 71), lambda um: um > 2000),
            none_may(self.over("rain_chance", t, t + 23), lambda chance: chance > 0.30),
            *self.any_spray(t),
        ]

    def copper(self, t: int) -> list[str]:
        return [
            either([
                none_may(self.over(self.frost, t, t + n), lambda temp: temp <= 0)
                for n in self.drying(t)
            ]),
            either([
                sum_under(self.over("rain_mm", t, t + n + 5), lambda um: um >= 254)
                for n in self.drying(t)
            ]),
            *self.any_spray(t),
        ]  # fmt: skip

    def any_spray(self, t: int) -> list[str]:
        winds = self.over("wind_ms", t, t + 1)
        return [
            none_may(winds, lambda wind: wind * AT_4_M > 10 * 0.44704),
            none_may(self.over("gust_ms", t, t), lambda gust: gust > 15 * 0.44704),
            self.inversion(t),
            none_may(self.over("wind_from_deg", t, t + 1), self.drifts),
            none_may(winds, lambda wind: wind < 1.0),
            all_of(self.hot_and_dry(row) for row in (t, t + 1)),
        ]

    def sun_on_wood(self, temps: Cells, clear: float) -> str:
        if any(temp is not None and temp > 29.4 for temp in temps):
            return NO
        may = any(temp is None or temp + 0.010 * 1.1 * clear > 29.4 for temp in temps)
        return MAYBE if may else GO

    def high_sun(self, t: int, temps: Cells) -> str:
        may = self.sun[t][0] > 45 and any(temp is None or temp > 15 for temp in temps)
        return MAYBE if may else GO

    def inversion(self, t: int) -> str:
        elevation, from_edge, _ = self.sun[t]
        wind = self.cells["wind_ms"][t]
        low = elevation < 5 or from_edge < 1.5
        return MAYBE if low and (wind is None or wind < 1.5) else GO

    def drifts(self, from_deg: float) -> bool:
        for bearing in self.neighbours:
            apart = abs((from_deg + 180) % 360 - bearing)
            if min(apart, 360 - apart) <= 45:
                return True
        return False

    def hot_and_dry(self, t: int) -> str:
        (temp,), (rh,) = self.over("temp_c", t, t), self.over(self.humidity, t, t)
        if (temp is not None and temp <= 25) or (rh is not None and rh >= 40):
            return GO
        return MAYBE if temp is None or rh is None else NO

    def is_wet(self, t: int) -> str:
        """By humidity and by the balance alike; NO stands for no, GO for yes."""
        (temp,), (rh,) = self.over("temp_c", t, t), self.over(self.humidity, t, t)
        signs, doubts = [rh is not None and rh >= 90], [rh is None or rh >= 87]
        for row in range(t - 4, t + 1):
            (rain,) = self.over("rain_mm", row, row)
            cold_only = row < t - 2
            holds = (temp is not None and temp < 10) if cold_only else True
            may_hold = (temp is None or temp < 10) if cold_only else True
            signs.append(rain is not None and rain > 0 and holds)
            doubts.append((rain is None or rain > 0) and may_hold)
        low, high = self.water[t]
        if any(signs) and low > 0.02:
            return GO
        return MAYBE if any(doubts) or high > 0.02 else NO

    def water_by_hour(self) -> list[tuple[float, float]]:
        """Least and most water on the bark [mm] at each stamp: began empty, began full."""
        out = [(0.0, 0.3)]
        for t in range(self.count):
            low, high = out[-1]
            (rain,) = self.over("rain_mm", t, t)
            fast, slow = (
                self.evaporation(t, 0.5, True),
                self.evaporation(t, 0.5 + 1 / math.pi, False),
            )
            low += rain - min(fast, 0.0) if rain else -fast
            high += 9.0 if rain is None else rain - min(slow, 0.0) if rain else -slow
            out.append((min(max(low, 0.0), 0.3), min(max(high, 0.0), 0.3)))
        return out

    def evaporation(self, t: int, sky_view: float, warmest: bool) -> float:
        """Penman-Monteith of Sentelhas (2006) [mm/h] under the warmest or the coldest sky."""
        temp, dew, wind = (self.cells[name][t] for name in ("temp_c", "dew_point_c", "wind_ms"))
        if temp is None or dew is None or wind is None:
            return 1.5 if warmest else -0.15
        elevation, _, clear = self.sun[t]
        way = 1 / math.sin(math.radians(max(elevation, 2.0)))
        sun = 1.1 * clear if warmest else 0.25 * clear * math.exp(-0.059 * (way - 1))
        es, ea = (0.6108 * math.exp(17.27 * x / (x + 237.3)) for x in (temp, dew))
        openness = 1.35 * 0.3 - 0.35 if warmest else 1.0  # FAO-56: densest cloud, none
        loss = 4.903e-9 / 0.0864 * (temp + 273.16) ** 4 * (0.34 - 0.14 * math.sqrt(ea)) * openness
        slope = 10 * 4098 * es / (temp + 237.3) ** 2
        at_top = max(wind * AT_4_M, 0.5)
        by_air = 12000 * max(es - ea, 0.0) / (307 * math.sqrt(0.07 / at_top))
        latent = (slope * (0.77 * sun - sky_view * loss) + by_air) / (slope + 0.64)
        return min(max(latent * 3600 / 2.45e6, -0.15), 1.5)

    def drying(self, t: int) -> tuple[int, int]:
        """Least and most hours that 0.2 mm of spray may take, 49 where longer than 48."""
        spans = []
        for warmest, beyond in ((True, 1.5), (False, 0.0)):
            hours, left_nm = 0, 200_000
            while left_nm > 0 and hours < 49:
                row = t + hours
                known = row < self.count
                rate = max(self.evaporation(row, 0.5, warmest), 0.0) if known else beyond
                left_nm -= round(rate * 1e6)
                hours += 1
            spans.append(hours)
        return spans[0], spans[1]

    def is_evening(self, t: int) -> bool:
        """After sunset, and the sun still sinking."""
        return 0 < t < self.count and self.sun[t][1] <= 0 and self.sun[t][1] < self.sun[t - 1][1]

    def dries_in_time(self, t: int) -> str:
        return either(
            [
                all_of(
                    [
                        none_may(self.over("rain_mm", t, t + n - 1), lambda mm: mm >= 0.254),
                        none_may(self.over(self.frost, t, t + n - 1), lambda temp: temp <= 0),
                        GO if not any(self.is_evening(row) for row in range(t, t + n)) else NO,
                    ]
                )
                for n in self.drying(t)
            ]
        )


def not_(answer: str) -> str:
    return {GO: NO, NO: GO, MAYBE: MAYBE}[answer]


def either(answers: list[str]) -> str:
    """The answer where all possibilities agree, else unknown."""
    return answers[0] if len(set(answers)) == 1 else MAYBE
