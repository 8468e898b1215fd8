"""Whether the chances that were really said came true: by tenth, overall, by day ahead."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from spraywindow.record import Outcome
from spraywindow.show import table_text
from spraywindow.winters import Share, brier_score


@dataclass(frozen=True)
class SaidTenth:
    """Chances within a tenth: their mean, how many jobs, how many held, the share (Wilson)."""

    json_keys: ClassVar = (
        "low:1", "high:1", "said:3", "cases", "held", "share=share.share:3",
        "share_low=share.low:3", "share_high=share.high:3",
    )  # fmt: skip

    low: float
    high: float
    said: float
    held: int
    share: Share

    @property
    def cases(self) -> int:
        """How many jobs."""
        return self.share.n


@dataclass(frozen=True)
class Skill:
    """The Brier score of chances, and its skill over always saying the share that held.

    `days_ahead` is None of all together; the skill is NaN where all held or none did.
    """

    json_keys: ClassVar = ("days_ahead", "cases", "held", "brier", "base_brier", "skill:3")

    days_ahead: int | None
    cases: int
    held: int
    brier: float

    @property
    def base_brier(self) -> float:
        """The score of always saying the share that held."""
        share = self.held / self.cases
        return share * (1 - share)

    @property
    def skill(self) -> float:
        """1 is perfect, 0 no better than the share that held."""
        return 1 - self.brier / self.base_brier if self.base_brier else float("nan")


@dataclass(frozen=True)
class Reliability:
    """The advice given at a site beside what came of it; empty without any."""

    tenths: tuple[SaidTenth, ...]
    overall: Skill | None
    by_day: tuple[Skill, ...]

    @classmethod
    def of(cls, outcomes: Sequence[Outcome]) -> Reliability:
        """Count what came of the chances that were said."""
        if not outcomes:
            return cls((), None, ())
        tenths = []
        for tenth in range(10):
            some = [each for each in outcomes if min(int(each.said * 10), 9) == tenth]
            if some:
                held = np.array([each.held for each in some], dtype=bool)
                mean = float(np.mean([each.said for each in some]))
                tenths.append(
                    SaidTenth(tenth / 10, (tenth + 1) / 10, mean, int(held.sum()), Share.of(held))
                )
        days = sorted({each.days_ahead for each in outcomes})
        return cls(
            tuple(tenths),
            _skill(outcomes, None),
            tuple(_skill([o for o in outcomes if o.days_ahead == day], day) for day in days),
        )


def _skill(outcomes: Sequence[Outcome], day: int | None) -> Skill:
    held = [each.held for each in outcomes]
    brier = brier_score([each.said for each in outcomes], held)
    return Skill(day, len(outcomes), sum(held), brier)


def reliability_text(found: Reliability) -> str:
    """Two tables: what was said and how often it held, and the skill by day ahead."""
    if found.overall is None:
        return ""
    said = [
        [
            f"{100 * each.low:.0f}-{100 * each.high:.0f} %", str(each.cases), str(each.held),
            f"{100 * each.share.share:.0f} % ({100 * each.share.low:.0f}-"
            f"{100 * each.share.high:.0f} %)",
        ]
        for each in found.tenths
    ]  # fmt: skip
    skills = [
        [_ahead(each.days_ahead), str(each.cases), f"{each.brier:.2f}",
         "all alike" if np.isnan(each.skill) else f"{each.skill:.2f}"]
        for each in (found.overall, *found.by_day)
    ]  # fmt: skip
    return "\n\n".join([
        "Chances that were said, and how often the job held (in the long run)\n"
        + table_text(["said", "jobs", "held", "share"], said, right=(1, 2)),
        "Squared error (Brier score, 0 best), skill over the usual share (1 best, 0 none)\n"
        + table_text(["ahead", "jobs", "score", "skill"], skills, right=(1, 2, 3)),
    ])  # fmt: skip


def _ahead(days: int | None) -> str:
    return "all" if days is None else "today" if days == 0 else f"{days} day{'s' * (days > 1)}"
