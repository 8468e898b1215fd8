"""Answers for a whole day of work: go, no-go or unknown, each with its reason."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from spraywindow.reasons import Reason
from spraywindow.spray.access import Access

NO_WORK = Reason("not a working day")
TOO_EARLY = Reason("too early to say")
RAIN_UNKNOWN = Reason("the coming rain is not known")
Verdict = Literal["go", "no-go", "unknown"]


@dataclass(frozen=True)
class Finding:
    """One condition judged: the verdict, and the reason for it when it is not go."""

    verdict: Verdict
    reason: Reason | None = None


def working_day(day: dt.date, access: Access) -> Finding:
    """Judge a local day by the site's working days."""
    return Finding("go") if access.works_on(day) else Finding("no-go", NO_WORK)


def not_above(low: float, high: float, most: float, *, over: Reason, unknown: Reason) -> Finding:
    """Judge a quantity known to lie between two bounds against a most that it may reach."""
    if low > most:
        return Finding("no-go", over)
    return Finding("go") if high <= most else Finding("unknown", unknown)


def hardest(findings: Sequence[Finding]) -> Finding:
    """Give the finding that decides: the first no-go, else the first unknown, else go."""
    for verdict in ("no-go", "unknown"):
        for finding in findings:
            if finding.verdict == verdict:
                return finding
    return Finding("go")
