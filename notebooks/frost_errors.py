"""Errors of forecast night minima by lead, fitted on archived US forecasts of 2014 to 2017.

Run: python notebooks/frost_errors.py FOLDER

FOLDER holds forecasts.parquet of the forecasts of the US National Weather Service for 74 cities
(public repository asa-stat-computing-and-graphics/COST-DataExpo-2018, commit bc937f34, decoded):
issued, valid, city, min_fc_f, min_ob_f, max_ob_f [degF]. Prints the coefficients that stand in
spraywindow/spray/errors_by_lead.py, and what each choice below does to them.

Which morning a forecast minimum belongs to. A forecast minimum is of a night, an observed one of a
calendar day, and a row pairs the two by `valid`. In cities of Eastern time the night of a row is
the one that ends on the day after `valid`; west of there so from December 2015 on, and on `valid`
itself before. As they stand the rows so pair many nights with the wrong morning: the standard
error of the first days becomes 3.9 K and hardly grows with the lead. Here the leads of 1 to 4 days
of each city and month choose the morning, `valid` or the day after, by the smaller standard
deviation of the error (it differs by more than a tenth in 88 % of the months). Lead 0 is left out:
it mixes both. A night's number is then the morning's day less the day of issue.

What is left of night against calendar day. A front that passes by day makes the calendar day's
lowest not the night's. Mornings on days whose highest temperature the next day's keeps within 3 K
(half of all) show what remains: see "quiet" in the print. It was 10 % less of standard error in
the first nights and a bias smaller by 0.2 K. The coefficients keep all days, which errs on the
side of frost.

The errors of the place are in: a forecast is for the city, the observation from its airport.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd

MONTHS = (11, 12, 1, 2, 3)
NIGHTS = range(1, 7)
NEAR_C = (-6.0, 10.0)  # forecast minima that decide about frost
MILD_C = (-1.0, 8.0)  # mean observed minimum of November to March of a mild city
LIMIT_C = 0.5 / 1.8  # 32.5 degF: observations are whole degrees, none is on it


def nights(folder: Path) -> pd.DataFrame:
    """A row for each forecast of a night: city, night, forecast_c, error_k, as_stand_k, quiet."""
    rows = pd.read_parquet(folder / "forecasts.parquet")
    rows["lead"] = (rows.valid - rows.issued).dt.days
    days = rows.groupby(["city", "valid"])[["min_ob_f", "max_ob_f"]].first()
    for after in (1, 2):
        later = days.add_suffix(f"_{after}").reset_index()
        rows = rows.merge(
            later.assign(valid=later.valid - pd.Timedelta(days=after)),
            on=["city", "valid"],
            how="left",
        )
    rows = rows[rows.valid.dt.month.isin(MONTHS) & (rows.lead > 0)]
    rows = rows.dropna(subset=["min_fc_f", "min_ob_f", "min_ob_f_1"])
    for name, observed in (("same_k", rows.min_ob_f), ("next_k", rows.min_ob_f_1)):
        rows[name] = (observed - rows.min_fc_f) / 1.8
    rows["month"] = rows.issued.dt.to_period("M")
    spread = rows[rows.lead <= 4].groupby(["city", "month"])[["same_k", "next_k"]].std().dropna()
    chosen = (spread.next_k < spread.same_k).rename("next_day").reset_index()
    rows = rows.merge(chosen, on=["city", "month"])
    step = np.where(
        rows.next_day, rows.max_ob_f_2 - rows.max_ob_f_1, rows.max_ob_f_1 - rows.max_ob_f
    )
    normal = rows.groupby("city").min_ob_f.mean().sub(32.0).div(1.8)
    out = pd.DataFrame(
        {
            "city": rows.city,
            "winter": rows.valid.dt.year + (rows.valid.dt.month > 6),
            "night": rows.lead + rows.next_day,
            "forecast_c": (rows.min_fc_f.astype(float) - 32.0) / 1.8,
            "error_k": np.where(rows.next_day, rows.next_k, rows.same_k).astype(float),
            "as_stand_k": rows.same_k.astype(float),
            "quiet": np.abs(step / 1.8) < 3.0,
            "mild": rows.city.map(normal).between(*MILD_C),
        }
    )
    return out[out.night.isin(NIGHTS)].reset_index(drop=True)


def days_after_first(night: pd.Series | np.ndarray) -> np.ndarray:
    """Days beyond the first from an evening's issue to a morning: half a day before its number."""
    return np.maximum(np.asarray(night) - 0.5 - 1.0, 0.0)


def fit(of: pd.DataFrame, error: str = "error_k") -> tuple[float, float, float]:
    """Bias, standard error on the first day, growth a day [K]: least squares on each night's."""
    by_night = of.groupby("night")[error].agg(["std", "count"])
    terms = np.column_stack((np.ones(len(by_night)), days_after_first(by_night.index)))
    weight = np.sqrt(by_night["count"].to_numpy())
    first, growth = np.linalg.lstsq(
        terms * weight[:, None], by_night["std"].to_numpy() * weight, rcond=None
    )[0]
    return float(of[error].mean()), float(first), float(growth)


def near_frost(of: pd.DataFrame) -> pd.DataFrame:
    """The nights that decide about frost."""
    return of[of.forecast_c.between(*NEAR_C)]


def tenths(said: np.ndarray, came: np.ndarray) -> pd.DataFrame:
    """Cases, mean chance said and share that came, by tenth of the chance said."""
    each = pd.DataFrame(
        {"tenth": np.minimum((said * 10).astype(int), 9), "said": said, "came": came}
    )
    return each.groupby("tenth").agg(
        n=("said", "size"), said=("said", "mean"), came=("came", "mean")
    )


def crossed(of: pd.DataFrame, folds: int = 8, error: str = "error_k") -> pd.Series:
    """Chance of staying above `LIMIT_C`, each city's by coefficients of the other cities."""
    # scipy is no dependency of the package, and is one of its tests
    from scipy.stats import norm

    fold = of.city.rank(method="dense").astype(int) % folds
    said = pd.Series(np.nan, index=of.index)
    for number in range(folds):
        bias, first, growth = fit(near_frost(of[fold != number]), error)
        out = of[fold == number]
        sigma = first + growth * days_after_first(out.night)
        said[out.index] = norm.cdf((out.forecast_c + bias - LIMIT_C) / sigma)
    return said


def main(folder: Path) -> None:
    data = nights(folder)
    near = near_frost(data)
    print(f"{data.city.nunique()} cities, {len(data)} forecasts of nights, {len(near)} near frost")
    for name, of, error in (
        ("near frost, all cities: in the package", near, "error_k"),
        ("near frost, mild cities", near[near.mild], "error_k"),
        ("near frost, Seattle and Portland", near[near.city.isin((107, 109))], "error_k"),
        ("near frost, all cities, quiet", near[near.quiet], "error_k"),
        ("all nights, all cities", data, "error_k"),
        ("near frost, all cities, rows as they stand", near, "as_stand_k"),
        ("near frost, mild cities, rows as they stand", near[near.mild], "as_stand_k"),
    ):
        bias, first, growth = fit(of, error)
        by_night = of.groupby("night")[error].std().round(2).tolist()
        print(f"{name}: bias {bias:.2f} K, first day {first:.2f} K, a day {growth:.3f} K")
        print(f"    standard error by night {by_night}")
    said = crossed(data)
    for name, of, error in (
        ("all", data, "error_k"),
        ("mild", data[data.mild], "error_k"),
        ("rows as they stand", data, "as_stand_k"),
    ):
        print(f"said and came by tenth, {name}, each city's by the others:")
        came = (of.forecast_c + of[error] > LIMIT_C).astype(float)
        print(tenths(said[of.index].to_numpy(), came.to_numpy()).round(3).to_string())


if __name__ == "__main__":
    main(Path(sys.argv[1]))
