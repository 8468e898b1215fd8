"""The backtest as JSON and CSV: stable keys, as written down in DEVELOPERS.md."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from spraywindow.orchard.replayed import Replayed
from spraywindow.output.answers import number
from spraywindow.season.backtest import RuleResult, winter_rows
from spraywindow.season.outcomes import AFTER_H
from spraywindow.season.skill import false_go_ratio, missed_go_rate


def backtest_answer(replayed: Replayed) -> dict[str, Any]:
    """The answer of ``spraywindow backtest``."""
    season = replayed.season
    return {
        "site": replayed.site.name,
        "season_ends_by": replayed.need_name,
        "winters": [
            {"winter": row["winter"], "usable": True, "why_not": None, "rounds": row["rounds"],
             "spoiled": _by_hours(row["spoiled"])}
            for row in winter_rows(replayed.results[0], season.labels)
        ]
        + [
            {"winter": label, "usable": False, "why_not": why, "rounds": None,
             "spoiled": {str(hours): None for hours in AFTER_H}}
            for label, why in season.left_out.items()
        ],
        "rules": [_rule(result, replayed) for result in replayed.results],
    }  # fmt: skip


def _by_hours(values: Any) -> dict[str, Any]:
    return {str(hours): value for hours, value in values.items()}


def _rule(result: RuleResult, replayed: Replayed) -> dict[str, Any]:
    outcomes, counts = result.outcomes, result.counts
    return {
        "name": result.name,
        "winters": len(replayed.season.labels),
        "rounds": int(result.rounds.sum()),
        "days": int(result.made.any(axis=1).sum()),
        "finished": int((result.rounds >= owed(replayed)).sum()),
        "spoiled": {
            str(hours): number(outcomes.share_spoiled(hours, result.made)) for hours in AFTER_H
        },
        "spoiled_by_material": {
            material.name: {
                str(hours): number(share)
                for hours, share in material_spoiled(result, which).items()
            }
            for which, material in enumerate(replayed.season.materials)
        },
        "frost_within_24_h": int(outcomes.frost.sum()),
        "heat_within_48_h": int(outcomes.heat.sum()),
        "false_go": None if counts is None else number(float(false_go_ratio(counts))),
        "missed_go": None if counts is None else number(float(missed_go_rate(counts))),
        "brier": number(result.brier),
    }


def owed(replayed: Replayed) -> int:
    """Rounds of the whole program."""
    return sum(entry.visits_owed for entry in replayed.program.entries)


def material_spoiled(result: RuleResult, which: int) -> Mapping[int, float]:
    """Share of one material's rounds that measurable rain followed, by hours."""
    out = {}
    for hours in AFTER_H:
        made = result.made[:, which]
        known = int((made & ~result.outcomes.unknown[hours][:, which]).sum())
        rained = int(result.outcomes.rain[hours][:, which].sum())
        out[hours] = rained / known if known else float("nan")
    return out


def backtest_csv(replayed: Replayed) -> str:
    """One row a rule and winter: rounds made, and how many of them rain, frost or heat followed."""
    rows = []
    for result in replayed.results:
        for column, row in enumerate(winter_rows(result, replayed.season.labels)):
            spoiled: Any = row["spoiled"]
            rows.append(
                {"rule": result.name, "winter": row["winter"], "rounds": row["rounds"]}
                | {f"rain_within_{hours}_h": spoiled[hours] for hours in AFTER_H}
                | {
                    "frost_within_24_h": int(result.outcomes.frost[:, :, column].sum()),
                    "heat_within_48_h": int(result.outcomes.heat[:, :, column].sum()),
                }
            )
    return str(pd.DataFrame(rows).to_csv(index=False, lineterminator="\n"))
