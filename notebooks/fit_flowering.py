"""Fit how chill and heat overlap, and how far the model is believed, on observed flowering.

Usage: ``python notebooks/fit_flowering.py FOLDER`` with, for each city below, ``CITY.csv``
(year, bloom_doy: 1 is 1 January) and ``CITY_historical_climate.csv`` (date, TMIN, TMAX [degC])
in the folder. Winters up to 1986/87 fit; the later ones only print how well it holds.

Prints for each share of the chill from which heat counts, and each worth of the chill beyond it,
the error [d] with the chill and heat that fit best: `HEAT_FROM` and `CHILL_WORTH` of
`spraywindow.trees.bloom`. Then the slope of the flowering's departure from its median on that of
group "peach" in the model: `SHIFT_SHARE` of `spraywindow.trees.flowering`. Run from the root of
the repository: the daily curve is that of the tests.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd

from spraywindow.place import Place
from spraywindow.trees.bloom import at_start, first_day, stage_days
from spraywindow.trees.chill_and_heat import WinterSums, winter_sums
from spraywindow.trees.cultivar_groups import CULTIVAR_GROUPS
from tests.daily_curve import hourly_from_daily

CITIES = {
    "kyoto": Place(35.01, 135.77, 44.0, "UTC"),
    "washingtondc": Place(38.885, -77.04, 10.0, "UTC"),
}
LAST_FIT = 1986


def observed(folder: Path, city: str) -> tuple[WinterSums, np.ndarray]:
    """Chill and heat of every winter, and the day number of its flowering."""
    place = CITIES[city]
    daily = pd.read_csv(folder / f"{city}_historical_climate.csv", index_col=0, parse_dates=True)
    daily = daily.reindex(pd.date_range(daily.index[0], daily.index[-1]))
    hourly = hourly_from_daily(
        daily["TMIN"], daily["TMAX"], place.latitude, daily.index.day_of_year
    )
    local = pd.date_range(daily.index[0], periods=len(hourly), freq="h", tz="UTC")
    solar = pd.Timedelta(hours=round(place.longitude / 15))
    sums = winter_sums(pd.Series(hourly, index=local - solar), place)
    bloom = pd.read_csv(folder / f"{city}.csv").set_index("year")["bloom_doy"]
    days = [
        (pd.Timestamp(start.year + 1, 1, 1) - pd.Timestamp(start)).days
        + bloom.get(start.year + 1, np.nan) - 1
        for start in sums.starts
    ]  # fmt: skip
    return sums, np.array(days, dtype=float)


def flowered(
    sums: WinterSums, winter: int, chill: float, heat: float, begin: float, worth: float
) -> float:
    """Day number of the first flower; inf never."""
    start = first_day(sums.chill[:, winter], begin * chill)
    met = np.minimum(sums.chill[:, winter] / chill, 1.0)
    ready = sums.heat[:, winter] - at_start(sums.heat[:, winter], start)
    ready = ready + worth * heat * (met - 1.0) / (1.0 - begin)
    return float(max(first_day(ready, heat) - 1.0, start))


def fitted(
    sums: WinterSums, seen: np.ndarray, rows: np.ndarray, begin: float, worth: float
) -> tuple[float, float, float]:
    """Least error [d] over the chills, each with its mean heat; that chill and heat."""
    best = (np.inf, np.nan, np.nan)
    for chill in np.arange(20.0, 131.0, 5.0):
        heats = []
        for row in rows:
            start = first_day(sums.chill[:, row], begin * chill)
            met = min(float(at_start(sums.chill[:, row], seen[row] + 1)) / chill, 1.0)
            heat = at_start(sums.heat[:, row], seen[row] + 1) - at_start(sums.heat[:, row], start)
            heats.append(heat / (1.0 + worth * (1.0 - met) / (1.0 - begin)))
        heat = float(np.mean(heats))
        if heat > 0:
            off = [flowered(sums, row, chill, heat, begin, worth) - seen[row] for row in rows]
            best = min(best, (float(np.sqrt(np.mean(np.square(off)))), chill, heat))
    return best


def main(folder: Path) -> None:
    """Print the fits of each city."""
    for city in CITIES:
        sums, seen = observed(folder, city)
        known = np.isfinite(seen) & sums.usable
        first = np.array([start.year <= LAST_FIT for start in sums.starts])
        rows, later = np.flatnonzero(known & first), np.flatnonzero(known & ~first)
        for begin in (0.5, 0.6, 0.7, 0.85, 0.99):
            for worth in (0.0, 0.25, 0.5, 1.0):
                error, chill, heat = fitted(sums, seen, rows, begin, worth)
                off = [flowered(sums, row, chill, heat, begin, worth) - seen[row] for row in later]
                print(f"{city}: heat from {begin:g} of the chill, the rest worth {worth:g}: "
                      f"{error:.2f} d (later winters {np.sqrt(np.mean(np.square(off))):.2f} d), "
                      f"{chill:g} portions, {heat:.0f} GDH")  # fmt: skip
        model = stage_days(sums, CULTIVAR_GROUPS["peach"])[rows, -1]
        off, wanted = model - np.median(model), seen[rows] - np.median(seen[rows])
        print(f"{city}: slope {(off * wanted).sum() / (off * off).sum():.2f}")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
