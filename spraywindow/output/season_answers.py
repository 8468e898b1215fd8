"""The season's answers as JSON: stable keys, as written down in DEVELOPERS.md."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np

from spraywindow.orchard.prospect import Prospect
from spraywindow.orchard.tree_groups import Group
from spraywindow.output.json import number, plain
from spraywindow.output.next_text import next_answer
from spraywindow.output.notices import FEW_WINTERS
from spraywindow.season.easing import Ease
from spraywindow.season.outlook import FEWEST_FOR_START, Outlook
from spraywindow.season.share import Share
from spraywindow.season.span import program_span

WINTER_TO_WINTER = (
    "One forecast stands in front of every winter: the interval is winter-to-winter only."
)


def share_answer(share: Share) -> dict[str, Any]:
    """A share with its interval and the number of winters."""
    return {
        "share": number(share.share),
        "low": number(share.low),
        "high": number(share.high),
        "n": share.n,
    }


def season_answer(prospect: Prospect) -> dict[str, Any]:
    """The answer of ``spraywindow season``."""
    site, outlook = prospect.site, prospect.outlook
    return {
        "site": site.name,
        "now": plain(prospect.now.tz_convert(site.place.timezone)),
        "season": {
            "start": outlook.season.first.isoformat(),
            "end": outlook.last.isoformat(),
            "begun": prospect.begun,
        },
        "ends": _ends(outlook),
        "program": [
            {
                "material": entry.material,
                "rounds": entry.rounds,
                "done": [day.isoformat() for day in entry.days_done],
                "owed": allowed,
                "least_days": entry.least_days,
            }
            for entry, allowed in zip(
                prospect.program.entries, prospect.program.visits_allowed, strict=True
            )
        ],
        "winters": _winters(outlook),
        "finish": {
            "hindsight": share_answer(outlook.finish_hindsight),
            "as_it_comes": share_answer(outlook.finish_coming),
            "bounds_with_winters_left_out": [number(bound) for bound in outlook.bounds],
            "forecast_spliced": outlook.spliced,
        },
        "days": _days(prospect),
        "latest_start": {
            str(per_cent): day.isoformat() if day else None
            for per_cent, day in outlook.latest_start.items()
        },
        "start_shares": [
            {
                "start": (outlook.season.first + dt.timedelta(days=day)).isoformat(),
                "share": number(float(share)),
            }
            for day, share in enumerate(outlook.start_shares)
        ],
        "weeks": [
            {
                "start": (outlook.season.first + dt.timedelta(days=7 * week)).isoformat(),
                "usable_mornings": {
                    material.name: number(mean_known(row[column]))
                    for column, material in enumerate(outlook.season.materials)
                },
            }
            for week, row in enumerate(outlook.weekly)
        ],
        "rounds_short": {name: number(value) for name, value in outlook.short.items()},
        "limits": [
            {"material": material, "limit": limit, "days_gained_without_it": number(days, 2)}
            for material, limit, days in outlook.limits
        ],
        "dry_spell": [
            {
                "hours": ease.hours,
                "usable_mornings": _mornings(ease),
                "finish_share": number(ease.finish.share),
            }
            for ease in outlook.dry_spells
        ],
        "eased": [
            {
                "change": ease.name,
                "usable_mornings": _mornings(ease),
                "finish_share": number(ease.finish.share),
            }
            for ease in outlook.eased
        ],
        "leaf_curl": _curl(outlook),
        "blocks": [_group(group) for group in prospect.groups],
        "next": next_answer(prospect.upcoming),
        "notes": [*prospect.notes, *prospect.program.notes()],
        "cautions": cautions(outlook),
    }


def cautions(outlook: Outlook) -> list[str]:
    """How the shares are to be read."""
    said = []
    if outlook.spliced and outlook.finish_coming.n:
        said.append(WINTER_TO_WINTER)
    if 0 < outlook.finish_coming.n < FEWEST_FOR_START:
        said.append(FEW_WINTERS)
    return said


def _days(prospect: Prospect) -> dict[str, Any]:
    span = program_span(prospect.outlook.season, prospect.program)
    return {
        "first_to_last_round": number(span.median_days),
        "n": span.finished,
        "fit_in_35_days": share_answer(span.in_five_weeks),
    }


def mean_known(values: np.ndarray) -> float:
    """Mean of what is not NaN; NaN where all is."""
    known = values[~np.isnan(values)]
    return float(known.mean()) if known.size else float("nan")


def _mornings(ease: Ease) -> dict[str, float | None]:
    return {name: number(value, 2) for name, value in ease.usable_mornings.items()}


def _winters(outlook: Outlook) -> list[dict[str, Any]]:
    season = outlook.season
    rows: list[dict[str, Any]] = [
        {
            "winter": label,
            "usable": True,
            "why_not": None,
            "usable_mornings": {
                material.name: int(outlook.usable[row, column])
                for row, material in enumerate(season.materials)
            },
            "rounds": {
                "hindsight": int(outlook.rounds_hindsight[column]),
                "as_it_comes": int(outlook.rounds_coming[column]),
            },
            "finished": {
                "hindsight": bool(outlook.made_hindsight[column]),
                "as_it_comes": bool(outlook.made_coming[column]),
            },
        }
        for column, label in enumerate(season.labels)
    ]
    nothing: dict[str, Any] = {"hindsight": None, "as_it_comes": None}
    rows += [
        {
            "winter": label,
            "usable": False,
            "why_not": why,
            "usable_mornings": {material.name: None for material in season.materials},
            "rounds": nothing,
            "finished": nothing,
        }
        for label, why in season.left_out.items()
    ]
    return sorted(rows, key=lambda row: str(row["winter"]))


def _curl(outlook: Outlook) -> dict[str, Any] | None:
    curl = outlook.curl
    if curl is None:
        return None
    return {
        "winters_with_risk": int(np.isfinite(curl.coming).sum()),
        "copper_on_wood": number(curl.left.share),
        "rain_unknown_h": curl.left.unknown_h,
        "covered_without_rounds": number(mean_known(curl.bare)),
        "covered_as_it_comes": number(mean_known(curl.coming)),
        "covered_by_best_rounds": [number(mean_known(row)) for row in curl.best],
        "worth_of_round": [number(mean_known(row)) for row in curl.worth],
    }


def _ends(outlook: Outlook) -> dict[str, dict[str, str | None]]:
    return {
        name: {
            key: day.isoformat() if day else None
            for key, day in (("last", end.last), ("low", end.low), ("high", end.high))
        }
        for name, end in outlook.ends.items()
    }


def _group(group: Group) -> dict[str, Any]:
    return {
        "names": [block.name for block in group.blocks],
        "need": group.need_name,
        "end": group.outlook.last.isoformat(),
        "ends": _ends(group.outlook),
        "finish_as_it_comes": share_answer(group.outlook.finish_coming),
    }
