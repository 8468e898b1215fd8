"""Fit the chance of a dry day to the rain of an ensemble's members.

usage: python notebooks/member_calibration.py FILE.csv

FILE has one row a day: ``date``, ``obs`` (rain of 24 h by the gauge, mm), and the same 24 h in each
member. The coefficients of `spraywindow.spray.members.DRY_EVENTS` come from Frankfurt airport,
2007 to 2013, 52 members of ECMWF's ensemble, 6 to 30 h after the issue: `rain.dat` of the public
repository evwalz/isodisreg (commit 413b052d, MIT), rows before 2014.

Printed per event, each year judged by the others: Brier skill over those years' frequency and
calibration error (mean of |said - came| over ten bins), for the raw share of members, for the two
predictors in use, and with the members' spread as a third, which earns nothing and is left out.
Then the coefficients on all years. Needs scikit-learn.
"""

from __future__ import annotations

import sys

import numpy as np
import pandas as pd
from sklearn.linear_model import LogisticRegression

EVENTS_MM = (0.254, 2.0)
NOT_MEMBERS = ("date", "obs", "Unnamed: 0")


def read(path):
    """Years [day], gauge [day] and members [day, member], in mm."""
    rows = pd.read_csv(path, parse_dates=["date"])
    members = rows[[name for name in rows.columns if name not in NOT_MEMBERS]].to_numpy(float)
    return rows["date"].dt.year.to_numpy(), rows["obs"].to_numpy(float), members


def predictors(members, most_mm, *, spread=False):
    """Mean of the square roots, share of members in the event, spread of the square roots."""
    roots = np.sqrt(members)
    found = [roots.mean(axis=1), (members <= most_mm).mean(axis=1)]
    return np.column_stack([*found, roots.std(axis=1)] if spread else found)


def fitted(given, came):
    return LogisticRegression(C=np.inf, max_iter=1000).fit(given, came)


def left_out(given, came, years):
    """Chances of each year by a fit to the others."""
    said = np.empty(len(came))
    for year in np.unique(years):
        own = years == year
        said[own] = fitted(given[~own], came[~own]).predict_proba(given[own])[:, 1]
    return said


def frequency(came, years):
    """The other years' frequency."""
    return np.array([came[years != year].mean() for year in years])


def brier_skill(said, came, usual):
    return 1.0 - np.mean((said - came) ** 2) / np.mean((usual - came) ** 2)


def calibration_error(said, came):
    bins = np.clip((said * 10).astype(int), 0, 9)
    return sum(
        abs(said[bins == b].mean() - came[bins == b].mean()) * np.mean(bins == b)
        for b in np.unique(bins)
    )


def calibrate(path):
    """Per event: constant, root and share on all years, skill and calibration error left out."""
    years, gauge, members = read(path)
    out = {}
    for most_mm in EVENTS_MM:
        came = (gauge <= most_mm).astype(float)
        given = predictors(members, most_mm)
        said = left_out(given, came, years)
        model = fitted(given, came)
        out[most_mm] = (
            float(model.intercept_[0]),
            *map(float, model.coef_[0]),
            brier_skill(said, came, frequency(came, years)),
            calibration_error(said, came),
        )
    return out


def main(path):
    years, gauge, members = read(path)
    print(f"{len(gauge)} days of {years.min()} to {years.max()}, {members.shape[1]} members")
    fits = calibrate(path)
    for most_mm in EVENTS_MM:
        came = (gauge <= most_mm).astype(float)
        usual = frequency(came, years)
        print(f"\n24 h with at most {most_mm} mm: came on {came.mean():.2f} of the days")
        for name, said in {
            "raw share of members": (members <= most_mm).mean(axis=1),
            "in use": left_out(predictors(members, most_mm), came, years),
            "with spread": left_out(predictors(members, most_mm, spread=True), came, years),
        }.items():
            sure = said >= 0.9
            print(
                f"  {name:22} skill {brier_skill(said, came, usual):+.3f}  calibration error "
                f"{calibration_error(said, came):.3f}  >= 0.9: {came[sure].mean():.3f} of {sure.sum()}"
            )
        print("  constant {:.4f}, root {:.4f}, share {:.4f}".format(*fits[most_mm][:3]))


if __name__ == "__main__":
    main(sys.argv[1])
