"""The backtest as JSON and CSV: stable keys, as written down in DEVELOPERS.md."""

from __future__ import annotations

from typing import Any

import pandas as pd

from spraywindow.jobs.backtest.answer import (
    Figure,
    Runs,
    SiteBacktest,
    false_go,
    finished,
    median_span,
    missed_go,
    runs_of,
    spoiled,
    spoiled_of,
    winter_rows,
)
from spraywindow.show import FEW_WINTERS, number, plain
from spraywindow.winters import AFTER_H, FEWEST_FOR_START

FORESIGHT = (
    "Days known exactly show what a rule costs, not how good a forecast is: false and missed go "
    "are measured only where a forecast can be wrong. The size of the usual errors is common "
    "practice and they are one model of many: read the range of their runs as a sensitivity."
)
DRY_LOOKING = (
    "The first dry-looking day knows the next 24 h of rain exactly, also beside forecasts that "
    "can be wrong."
)


def backtest_answer(replayed: SiteBacktest) -> dict[str, Any]:
    """The answer of ``spraywindow backtest``."""
    season = replayed.season
    return {
        "site": replayed.site.name,
        "season_ends_by": replayed.need_name,
        "rounds_wanted": owed(replayed),
        "winters": [
            {"winter": row["winter"], "usable": True, "why_not": None, "rounds": row["rounds"],
             "spoiled": _by_hours(row["spoiled"])}
            for row in winter_rows(replayed.results[0])
        ]
        + [
            {"winter": label, "usable": False, "why_not": why, "rounds": None,
             "spoiled": {str(hours): None for hours in AFTER_H}}
            for label, why in season.left_out.items()
        ],
        "rules": [_rule(runs, replayed) for runs in runs_of(replayed.results)],
        "notes": list(replayed.program.notes()),
        "cautions": cautions(replayed),
        "source": plain(replayed.source),
        "source_notes": list(replayed.source_notes),
    }  # fmt: skip


def _by_hours(values: Any) -> dict[str, Any]:
    return {str(hours): value for hours, value in values.items()}


def _rule(runs: Runs, replayed: SiteBacktest) -> dict[str, Any]:
    figures: dict[str, Figure] = {
        "rounds": lambda result: int(result.rounds.sum()),
        "days": lambda result: int(result.made.any(axis=1).sum()),
        "finished": finished(replayed.program),
        "days_first_to_last": median_span(replayed.program),
        "frost_within_24_h": lambda result: int(result.outcomes.frost.sum()),
        "heat_within_48_h": lambda result: int(result.outcomes.heat.sum()),
        "false_go": false_go,
        "missed_go": missed_go,
        "brier": lambda result: result.brier,
    }
    shares = {str(hours): spoiled(hours) for hours in AFTER_H}
    materials = {
        material.name: {str(hours): spoiled_of(which, hours) for hours in AFTER_H}
        for which, material in enumerate(replayed.season.materials)
    }
    return {
        "name": runs.name,
        "winters": len(runs.first.labels),
        "runs": len(runs.results),
        **{key: _number(runs.mean(figure)) for key, figure in figures.items()},
        "spoiled": {hours: number(runs.mean(share)) for hours, share in shares.items()},
        "spoiled_by_material": {
            name: {hours: number(runs.mean(share)) for hours, share in of_one.items()}
            for name, of_one in materials.items()
        },
        "range": {key: _ends(runs, figure) for key, figure in figures.items()}
        | {"spoiled": {hours: _ends(runs, share) for hours, share in shares.items()}},
        "n": judged_days(runs),
        "unknown": None if runs.first.counts is None else runs.first.counts.unknown,
    }


def _ends(runs: Runs, figure: Figure) -> list[float | None]:
    return [_number(value) for value in runs.range(figure)]


def _number(value: float) -> float | int | None:
    """A number for JSON, whole where it is."""
    out = number(value)
    return int(out) if out is not None and out.is_integer() else out


def judged_days(runs: Runs) -> int | None:
    """Days on which a forecast's answer for tomorrow was judged, all materials; None for none."""
    counts = runs.first.counts
    return None if counts is None else counts.n


def owed(replayed: SiteBacktest) -> int:
    """Rounds of the whole program that its maxima allow."""
    return sum(replayed.program.visits_allowed)


def cautions(replayed: SiteBacktest) -> list[str]:
    """How the figures are to be read."""
    said = [FORESIGHT, DRY_LOOKING]
    if len(replayed.season.labels) < FEWEST_FOR_START:
        said.append(FEW_WINTERS)
    return said


def backtest_csv(replayed: SiteBacktest) -> str:
    """One row a rule, run and winter: rounds made, and how many rain, frost or heat followed."""
    rows = []
    for runs in runs_of(replayed.results):
        for run, result in enumerate(runs.results, start=1):
            for column, row in enumerate(winter_rows(result)):
                after: Any = row["spoiled"]
                rows.append(
                    {"rule": result.name, "run": run, "winter": row["winter"],
                     "rounds": row["rounds"]}
                    | {f"rain_within_{hours}_h": after[hours] for hours in AFTER_H}
                    | {
                        "frost_within_24_h": int(result.outcomes.frost[:, :, column].sum()),
                        "heat_within_48_h": int(result.outcomes.heat[:, :, column].sum()),
                    }
                )  # fmt: skip
    return str(pd.DataFrame(rows).to_csv(index=False, lineterminator="\n"))
