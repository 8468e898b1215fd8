"""Rules beside each other on the winters of real stations: rounds made, and rounds that held.

    python notebooks/rules_on_stations.py FOLDER [STATION ...]

FOLDER holds ``stations.csv`` (columns ``name, latitude, longitude, altitude``) and for each
station a ``NAME_*.csv.gz`` with 3-hourly reports: ``time_utc, temp_c, rh_pct, wind_kn,
wind_dir_deg, cloud_oktas, precip3h_mm_derived``. Three oil and five copper, 5, 5 and 2 days
apart, from 1 December on; full seasons, and five weeks of them.

What an evening knows of the mornings ahead is a replay with errors of the usual size, and one in
which blocks of rain are wholly wrong besides, each with two sets of random numbers. The chances
that a decision weighs are borne out by the evenings of the *other* winters of the same replay.
Effective: the dry hours that the material wants surely followed. "In limits": and no hour of the
job was outside a hard limit, which the first dry-looking day never asks. That rule knows the rain
of 24 hours as it came; "as forecast" is the same by the replay. Each round that was washed off
before it was rainfast is owed again by "expected rounds" and "by general chances", which weighs
the package's own chances, fitted to real forecasts, as they stand; other rules do not look back.
"""

from __future__ import annotations

import argparse
import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from spraywindow.place import Place
from spraywindow.program import Program, Terms, plan_many
from spraywindow.sources.files.read_file import read_weather
from spraywindow.spray.catalogue import COPPER, OIL
from spraywindow.trees import Need
from spraywindow.trees.cultivar_groups import cultivar_group
from spraywindow.winters.evenings import advised, seen_mornings
from spraywindow.winters.other_rules import (
    first_dry_day,
    fixed_calendar,
    habit_rows,
    in_turn,
    most_effective,
    outcomes_after,
)
from spraywindow.winters.past import PastWinters, past_season, within
from spraywindow.winters.replays import ErrorModel

COLUMNS: dict[str, Any] = {
    "time": {"column": "time_utc", "timezone": "UTC"},
    "temp_c": {"column": "temp_c", "unit": "degC"},
    "rh_pct": {"column": "rh_pct", "unit": "%"},
    "wind_ms": {"column": "wind_kn", "unit": "kn"},
    "wind_from_deg": {"column": "wind_dir_deg", "unit": "deg"},
    "cloud": {"column": "cloud_oktas", "unit": "oktas"},
    "rain_mm": {"column": "precip3h_mm_derived", "unit": "mm", "stamp": "end", "covers": "3h"},
}
SINCE, UNTIL = "1982-09", "2004-09"  # from 1982 on the stations give 3-hourly totals
FIRST = dt.date(2004, 12, 1)
NEED = Need(cultivar_group("low chill peach"))
PROGRAM = Program.of(oil=(3, 5), copper=(5, 5), between=2)
MATERIALS = {"oil": OIL, "copper": COPPER}
MORNINGS = 4
FIVE_WEEKS_D = 35


@dataclass
class Row:
    """A rule at a station: figures by winter, one array [run, winter] each."""

    made: list[np.ndarray] = field(default_factory=list)
    rained: list[np.ndarray] = field(default_factory=list)
    lost: list[np.ndarray] = field(default_factory=list)
    effective: list[np.ndarray] = field(default_factory=list)
    doubtful: list[np.ndarray] = field(default_factory=list)
    in_limits: list[np.ndarray] = field(default_factory=list)

    def add(self, season: PastWinters, made: np.ndarray, start: np.ndarray) -> None:
        """Judge one run."""
        came = outcomes_after(season, made, start)
        self.made.append(made.sum(axis=(0, 1)))
        self.rained.append(came.rain[24].sum(axis=(0, 1)))
        self.lost.append(came.lost.sum(axis=(0, 1)))
        self.effective.append(came.effective.sum(axis=(0, 1)))
        self.doubtful.append(came.doubtful.sum(axis=(0, 1)))
        self.in_limits.append((came.effective & ~came.outside).sum(axis=(0, 1)))


Table = dict[tuple[str, str], Row]


def at_station(folder: Path, name: str, place: Place) -> Iterator[tuple[str, str, Row]]:
    """Every rule on a station's winters: the span, the rule and its row."""
    path = next(folder.glob(f"{name}_*.csv.gz"))
    table = read_weather(path, columns=COLUMNS).loc[SINCE:UNTIL]
    whole = past_season(table, place, PROGRAM, MATERIALS, first=FIRST, need=NEED)
    replays = [
        ErrorModel(seed=seed, wrong_blocks=wrong) for wrong in (False, True) for seed in (1, 2)
    ]
    seen = seen_mornings(whole, table, place, replays, MORNINGS)
    terms = Terms.usual(PROGRAM, whole.materials)
    for span, days in (("full", len(whole.chances)), ("five weeks", FIVE_WEEKS_D)):
        season = whole.shortened(days)
        rows: dict[str, Row] = {}
        habit = habit_rows(season)
        for replay, each in zip(replays, seen, strict=True):
            dry = in_turn(season, PROGRAM, (each.dry[:days, 0, 0] > 0) & (habit >= 0))
            begins = each.starts[:days]
            advice = advised(season, PROGRAM, each.chances[:days], begins, terms)
            plain = advised(season, PROGRAM, each.general_chances[:days], begins, terms)
            for rule, found in (
                ("expected rounds", advice),
                ("by general chances", plain),
                ("first dry day as forecast", (dry, np.where(dry, habit[:, None], -1))),
            ):
                rows.setdefault(f"{rule}, {replay.name}", Row()).add(season, *found)
        best = plan_many(
            within(season.chances, season.ending.actual), PROGRAM, nearness=season.near.actual
        ).made
        for rule, made, start in (
            ("fixed calendar", fixed_calendar(season, PROGRAM, habit), habit[:, None]),
            ("first dry-looking day", first_dry_day(season, PROGRAM, habit), habit[:, None]),
            ("hindsight for rounds", best, season.starts),
            ("hindsight for effective rounds", *most_effective(season, PROGRAM)),
        ):
            rows.setdefault(rule, Row()).add(season, made, np.where(made, start, -1))
        for rule, row in rows.items():
            yield span, rule, row


HEAD = ("made", "rain<24h", "lost", "effective", "doubtful", "in limits", "of hindsight")


def show(title: str, table: Table) -> None:
    """Print the means over winters, and what chances borne out by the replay add, winter by winter."""
    print(f"\n{title}\n{'':65}" + "".join(f"{word:>14}" for word in HEAD))
    for (span, rule), row in table.items():
        best = np.mean(table[span, "hindsight for effective rounds"].effective)
        means = [np.mean(part) for part in vars(row).values()]
        numbers = "".join(f"{mean:14.2f}" for mean in (*means, np.mean(row.effective) / best))
        print(f"{span:12}{rule:53}{numbers}")
    for (span, rule), row in table.items():
        if rule.startswith("expected rounds"):
            other = table[span, rule.replace("expected rounds", "by general chances")]
            for word in ("made", "effective", "in_limits"):
                more = np.mean(getattr(row, word), axis=0) - np.mean(getattr(other, word), axis=0)
                error = more.std(ddof=1) / np.sqrt(len(more))
                print(f"{span}, {rule}: {word} {more.mean():+.2f} +- {error:.2f} a winter")


def main() -> None:
    """Read the arguments, print one table a station and one of all winters."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("stations", nargs="*", default=["Kalamata", "Souda", "Larisa"])
    parser.add_argument("--timezone", default="Europe/Athens")
    asked = parser.parse_args()
    known = pd.read_csv(asked.folder / "stations.csv").set_index("name")
    together: Table = {}
    for name in asked.stations:
        at = known.loc[name]
        place = Place(at.latitude, at.longitude, at.altitude, asked.timezone)
        table = {(span, rule): row for span, rule, row in at_station(asked.folder, name, place)}
        show(name, table)
        for key, row in table.items():
            whole = together.setdefault(key, Row())
            for word, runs in vars(row).items():
                before = getattr(whole, word) or [np.empty(0)] * len(runs)
                joined = [np.concatenate(pair) for pair in zip(before, runs, strict=True)]
                setattr(whole, word, joined)
    if len(asked.stations) > 1:
        show(f"{len(asked.stations)} stations, all winters", together)


if __name__ == "__main__":
    main()
