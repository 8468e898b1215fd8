"""Fit the chance that a job holds on evening forecasts and what came after, and write it as data.

usage: python fit_chance.py FOLDER OUT.json

FOLDER holds ``evening_forecasts.parquet`` and ``day_after_analysis.parquet``: one issue an evening
of a public hourly forecast for New York, October 2023 to June 2025, and the same service's
analysis of the day after (data from Open-Meteo.com, CC BY 4.0). The analysis is a model, not a
gauge, so skill is overstated and drizzle is counted.

Every job of 2 and of 4 hours in daylight, one to eight days ahead, is one case; beside the limits
of oil and copper stand the same limits a comfort width stricter and looser, so that the regressions
serve other limits too. Needs scipy and pyarrow, which the package itself does not.
"""

from __future__ import annotations

import json
import sys
import warnings
from collections import defaultdict
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.optimize import minimize

import spraywindow as sw
from spraywindow.spray import open_hours
from spraywindow.spray.chance import (
    MODELS,
    Jobs,
    calibration_terms,
    clues,
    joined,
    logistic,
)
from spraywindow.spray.conditions import Conditions, Setting
from spraywindow.spray.hours import sun_of, weather_columns
from spraywindow.spray.quantities import QUANTITIES
from spraywindow.weather import check_hourly, pressure_at_kpa

PLACE = sw.Place(latitude=40.78, longitude=-73.97, elevation_m=40, timezone="America/New_York")
COLD_MONTHS = (10, 11, 12, 1, 2, 3, 4)
LENGTHS_H = (2, 4)
DAYS = 8
RIDGE = 1e-3
FIXED = {"frost": [1.702], "direction": [0.0, 0.0, 1.0, 1.5]}
"""Not fitted here: the error of a night's minimum is measured on observations, by
``frost_errors.py`` (1.702 makes a logistic of a normal distribution); no direction is kept in the
archive, so it is taken as forecast to about 30 degrees on the first day, common practice."""
LEAST_SKILL = 0.05
"""Brier skill over the base rate below which a lead earns no figure."""


def table(raw: pd.DataFrame, *, chance: bool) -> pd.DataFrame:
    """The contract's columns from the archive's; impossible single amounts become unknown."""
    water = raw.rain_mm.where(raw.rain_mm < 60) + raw.showers_mm.where(raw.showers_mm < 60)
    out = pd.DataFrame({
        "temp_c": raw.temp_c,
        "dew_point_c": np.minimum(raw.dew_point_c, raw.temp_c),
        "wind_ms": raw.wind_ms,
        "gust_ms": raw.gust_ms.clip(lower=0.0),
        "cloud": (raw.cloud_pct / 100.0).clip(0.0, 1.0),
        "rain_mm": water + raw.snowfall_cm / 0.7,  # the service's ratio of snow to water
    }, dtype=float)  # fmt: skip
    if chance:
        out["rain_chance"] = raw.rain_chance_pct / 100.0
    return out


def conditions_of(weather: pd.DataFrame, leave_out: str = "") -> Conditions:
    """The conditions of a table, as told, with or without a column."""
    columns = weather_columns(weather)
    columns.pop(leave_out, None)
    index = pd.DatetimeIndex(weather.index)
    return Conditions(columns, sun_of(index, PLACE), Setting(),
                      pressure_kpa=pressure_at_kpa(PLACE.elevation_m))  # fmt: skip


def variants(material: sw.Material) -> list[sw.Material]:
    """A material, and its limits a comfort width stricter and looser."""
    return [material, *(
        replace(material, limits=tuple(
            replace(limit, value=_shifted(limit, sign)) for limit in material.limits
        ))
        for sign in (-1, 1)
    )]  # fmt: skip


def _shifted(limit: sw.Limit, sign: int) -> float:
    if limit.quantity in ("inversion", "highest_rain_chance"):
        return limit.value
    if limit.quantity.startswith("rain"):
        return limit.value * (0.25 if sign < 0 else 4.0)
    return limit.value + sign * limit.width


def kept(conditions: Conditions, material: sw.Material) -> dict[str, np.ndarray]:
    """Whether each hour kept each limit, as it turned out: 1, 0, or NaN where it is not known."""
    out = {}
    for limit in material.limits:
        if limit.quantity not in MODELS:
            continue
        quantity = QUANTITIES[limit.quantity]
        if any(column not in conditions.columns for column in quantity.needs):
            continue
        values = quantity.compute(conditions, limit)
        low, high = (_inside(limit, end) for end in (values.low, values.high))
        out[limit.name] = np.where(low == high, low, np.nan)
    return out


def _inside(limit: sw.Limit, values: np.ndarray) -> np.ndarray:
    return {
        "at least": values >= limit.value - 1e-9, "above": values > limit.value + 1e-9,
        "at most": values <= limit.value + 1e-9, "below": values < limit.value - 1e-9,
    }[limit.bound].astype(float)  # fmt: skip


def cases(folder: Path) -> tuple[dict, pd.DataFrame]:
    """Every job of every evening: the terms of each limit, what it did, and the event."""
    forecasts = pd.read_parquet(folder / "evening_forecasts.parquet")
    after = pd.read_parquet(folder / "day_after_analysis.parquet")
    after.index = pd.DatetimeIndex(after.index).tz_localize("UTC")
    truth = check_hourly(table(after[~after.index.duplicated()], chance=False).asfreq("h"))
    truth.attrs = {}
    true = conditions_of(truth)
    materials = [each for base in (sw.OIL, sw.COPPER) for each in variants(base)]
    came = [kept(true, each) for each in materials]
    # of each limit's regression: terms, held, winter, cold months; of each job: rows of these
    terms, held, group = (defaultdict(list) for _ in range(3))
    counts: dict[str, int] = defaultdict(int)
    rows, members = [], []
    for number, (issued, raw) in enumerate(forecasts.groupby("issued_utc")):
        now = pd.Timestamp(issued).tz_localize("UTC")
        ahead = table(
            raw.set_index(pd.DatetimeIndex(raw.valid_utc).tz_localize("UTC")), chance=True
        )
        begin = now.floor("h")
        ahead = ahead[(ahead.index >= begin) & (ahead.index < now + pd.Timedelta("9D"))]
        before = truth[(truth.index < begin) & (truth.index >= begin - pd.Timedelta("4D"))]
        joint = pd.concat([before.assign(rain_chance=np.nan), ahead]).asfreq("h")
        joint.attrs = {"forecast_from": begin}
        scored = sw.score_hours(joint, PLACE, sw.OIL)
        weather = check_hourly(joint)
        index = pd.DatetimeIndex(weather.index)
        local = index.tz_convert(PLACE.timezone)
        today = now.tz_convert(PLACE.timezone).normalize().tz_localize(None)
        day = np.asarray((local.normalize().tz_localize(None) - today).days)
        workable = open_hours(scored)
        told, untold = conditions_of(weather), conditions_of(weather, "rain_chance")
        gustless = conditions_of(weather, "gust_ms")
        lead = np.asarray((index - begin) / pd.Timedelta("1h"), dtype=float)
        to_truth = truth.index.get_indexer(index)
        for length in LENGTHS_H:
            hours = np.arange(len(index) - length + 1) + np.arange(length)[:, None]
            fits = workable[hours].all(axis=0) & (day[hours[0]] == day[hours[-1]])
            fits &= (
                (day[hours[0]] >= 1) & (day[hours[0]] <= DAYS) & (to_truth[hours] >= 0).all(axis=0)
            )
            hours = hours[:, fits]
            jobs = Jobs(hours, (), lead[hours[0]])
            winter = now.year + (now.month >= 8)
            cold = now.month in COLD_MONTHS
            for which, material in enumerate(materials):
                base = which % 3 == 0
                for dry in (False, True) if base and which else (False,):
                    event = np.ones(hours.shape[1])
                    used = []
                    for weather_told, only in (
                        (told, None),
                        (untold, "rain untold"),
                        (gustless, "gust by wind"),
                    ):
                        for limit, clue in clues(weather_told, material, jobs, dry=dry):
                            if only and clue.model != only:
                                continue
                            ok = came[which][limit.name][to_truth[hours]].min(axis=0)
                            name = clue.model
                            used.append((name, clue.family, counts[name], only))
                            counts[name] += len(ok)
                            terms[name].append(clue.terms.astype(np.float32))
                            held[name].append(ok)
                            group[name].append(np.full(len(ok), winter * 10 + cold))
                            if only is None:
                                event = np.where(np.isnan(event) | np.isnan(ok), np.nan, event * ok)
                    if base:
                        members.append(used)
                        rows.append(pd.DataFrame({
                            "evening": number, "day": day[hours[0]], "lead_h": lead[hours[0]],
                            "winter": winter, "cold": cold, "length": length, "held": event,
                            "what": material.name + (" dry" if dry else ""),
                            "part": len(members) - 1, "within": np.arange(hours.shape[1]),
                        }))  # fmt: skip
    regressions = {
        name: (np.concatenate(terms[name]), np.concatenate(held[name]), np.concatenate(group[name]))
        for name in terms
    }
    return {"regressions": regressions, "members": members}, pd.concat(rows, ignore_index=True)


def regress(
    x: np.ndarray, y: np.ndarray, rising: int | None = None, ridge: float = RIDGE
) -> np.ndarray:
    """Logistic regression by likelihood.

    What tells of the weather may only raise the chance: the terms after the first two, or so many
    of them.
    """

    def loss(b: np.ndarray) -> tuple[float, np.ndarray]:
        score = x @ b
        value = (np.logaddexp(0, -score) * y + np.logaddexp(0, score) * (1 - y)).mean()
        return value + ridge * b @ b / 2, x.T @ (logistic(score) - y) / len(y) + ridge * b

    up = x.shape[1] - 2 if rising is None else rising
    bounds = [(None, None)] * 2 + [(0, None)] * up + [(None, None)] * (x.shape[1] - 2 - up)
    return minimize(loss, np.zeros(x.shape[1]), jac=True, method="L-BFGS-B", bounds=bounds).x


def fit(data: dict, jobs: pd.DataFrame, without: int | None = None) -> tuple[dict, np.ndarray]:
    """Coefficients of every limit and of the calibration, and the joined chance of every job."""
    limits = {}
    for name, (x, y, group) in data["regressions"].items():
        # a winter left out keeps its other months, as a later year would
        use = ~np.isnan(y) & (group != (without or 0) * 10 + 1)
        limits[name] = FIXED.get(name) or regress(x[use].astype(float), y[use])
    chance = np.empty(len(jobs))
    plain = np.empty(len(jobs))
    for part, at in jobs.groupby("part").indices.items():
        for into, skip in (
            (chance, ("rain untold", "gust by wind")),
            (plain, ("rain", "gust by wind")),
        ):
            alone = defaultdict(list)
            for name, family, first, _ in data["members"][part]:
                if name in skip:
                    continue
                x = data["regressions"][name][0][first : first + len(at)]
                alone[family].append(logistic(x.astype(float) @ limits[name]))
            into[at] = joined(alone)
    use = jobs.cold & jobs.held.notna()
    if without:
        use &= jobs.winter != without
    terms = [calibration_terms(each, jobs.lead_h.to_numpy()) for each in (chance, plain)]
    # what is said is said of the likeliest job of a morning
    chosen = [
        jobs[use].assign(chance=each[use]).sort_values("chance").groupby(
            ["what", "evening", "day", "length"], sort=False
        ).tail(1).index
        for each in (chance, plain)
    ]  # fmt: skip
    calibration = regress(
        np.concatenate([each[at] for each, at in zip(terms, chosen, strict=True)]),
        np.concatenate([jobs.held.to_numpy()[at] for at in chosen]), 2, 1e-5,
    )  # fmt: skip
    return {"limits": limits, "calibration": calibration}, [
        logistic(b @ calibration) for b in terms
    ]


def best(jobs: pd.DataFrame, chance: str) -> pd.DataFrame:
    """The likeliest job of 2 h of each morning."""
    two = jobs[(jobs.length == 2) & jobs.cold & jobs.held.notna()]
    order = two.sort_values(chance, ascending=False)
    return order.groupby(["what", "evening", "day"], sort=False).head(1)


def scores(cases: pd.DataFrame, chance: str) -> dict[str, float]:
    """Brier skill over the base rate, calibration error over tenths, and the highest tenth."""
    base, p, y = cases.held.mean(), cases[chance], cases.held
    tenth = np.clip((p * 10).astype(int), 0, 9)
    error = sum(abs((p - y)[tenth == each].sum()) for each in range(10)) / len(cases)
    sure = y[p >= 0.9]
    return {"n": len(cases), "base": base, "skill": 1 - ((p - y) ** 2).mean() / (base * (1 - base)),
            "calibration_error": error, "sure_n": len(sure), "sure": sure.mean()}  # fmt: skip


def came_true(checked: pd.DataFrame) -> list[dict[str, object]]:
    """By morning ahead: mornings judged, and of each tenth said how many there were and held."""
    out = []
    for day, cut in checked.groupby("day"):
        tenth = np.clip((cut.p * 10).astype(int), 0, 9)
        out.append({
            "day": int(day),
            "mornings": int(cut.evening.nunique()),
            "cases": np.bincount(tenth, minlength=10).tolist(),
            "held": np.bincount(tenth, weights=cut.held, minlength=10).astype(int).tolist(),
        })  # fmt: skip
    return out


def most_earned(cut: pd.DataFrame, fewest: int = 20) -> float:
    """The highest chance that came at least so often, among what was said at or above it."""
    said = np.sort(cut.p.to_numpy())[::-1]
    for chance in np.arange(0.97, 0.0, -0.01):
        above = cut[cut.p >= chance]
        if len(above) >= fewest and above.held.mean() >= chance:
            return float(round(min(chance, said[0]), 2))
    return 0.0


if __name__ == "__main__":
    warnings.simplefilter("ignore", RuntimeWarning)
    data, jobs = cases(Path(sys.argv[1]))
    winters = sorted(jobs.winter[jobs.cold].unique())
    for winter in winters:
        _, (told, untold) = fit(data, jobs, winter)
        own = (jobs.winter == winter).to_numpy()
        jobs.loc[own, "p"], jobs.loc[own, "p_untold"] = told[own], untold[own]
    lines = []
    for column in ("p", "p_untold"):
        for (what, day), cut in best(jobs, column).groupby(["what", "day"]):
            lines.append({"chance": column, "what": what, "day": day} | scores(cut, column))
    print("Each winter judged by what the other months say; p_untold: no chances of rain are told.")
    print(pd.DataFrame(lines).round(3).to_string())
    report = pd.DataFrame(lines)
    skilled = report[report.chance == "p"].groupby("day").skill.min()
    last = int(skilled[skilled < LEAST_SKILL].index.min()) - 1
    checked = best(jobs, "p")
    checked = checked[checked.day <= last]
    coefficients, _ = fit(data, jobs)
    result = {
        "about": "chance that a job holds: made by notebooks/fit_chance.py",
        "source": "evening forecasts for New York and the analysis of the day after, October 2023 "
        "to June 2025, from Open-Meteo.com (CC BY 4.0), kept in the public repositories "
        "climate-cache/nyc-forecasts and climate-cache/nyc-weather",
        "over": "two winters of evening forecasts for one city, October to April, each winter "
        "judged by the rest",
        "most_lead_d": last,
        "most": [most_earned(cut) for _, cut in checked.groupby("day")],
        "limits": {
            name: np.round(each, 4).tolist()
            for name, each in (FIXED | coefficients["limits"]).items()
        },
        "calibration": np.round(coefficients["calibration"], 4).tolist(),
        "came_true": came_true(checked),
    }
    Path(sys.argv[2]).write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")
