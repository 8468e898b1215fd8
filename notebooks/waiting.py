"""Now or wait, on real forecasts: share of rounds that held within so many evenings, by rule.

usage: python waiting.py MORNINGS.parquet

MORNINGS.parquet is what ``fit_chance.py`` writes: what was said of each morning ahead on every
evening of two winters, with the chance fitted without that winter, and what came. One round of
copper is to be made within 5, 10 or 15 evenings, from every evening of October to April; it holds
where every hour of the likeliest two stayed within the limits and the 24 dry hours wanted followed.
A morning that is no go is never sent to. Rules: the first morning that the forecast calls go and
dry; the first one whose chance is at or above a fixed one, the best of those by the *other* winter;
the package's own decision (`worth`), its mornings beyond the forecast from the other winter; and
hindsight, of any morning. A round goes out once.
"""

from __future__ import annotations

import sys
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

from spraywindow.program import Program, Terms, program_moves, worth
from spraywindow.program.evenings import OtherWinters

EVENINGS = (5, 10, 15)
PROGRAM = Program.of(copper=(1, 1))
TERMS = Terms.of(PROGRAM, rained_on=0.0, nearness=0.0)
THRESHOLDS = np.arange(0.3, 0.96, 0.05)


class Winter:
    """One winter: chances [evening, morning], whether tomorrow is go, and dry, whether it held."""

    def __init__(self, mornings: pd.DataFrame) -> None:
        chance = mornings.pivot(index="evening", columns="day", values="chance")
        held = mornings.pivot(index="evening", columns="day", values="held")
        dry = mornings.pivot(index="evening", columns="day", values="bare")
        full = range(chance.index.min(), chance.index.max() + 1)
        self.chance = chance.reindex(full).to_numpy(float)
        self.held = held.reindex(full)[1].to_numpy(float)
        self.dry = dry.reindex(full)[1].eq(True).to_numpy()
        go = mornings.pivot(index="evening", columns="day", values="go").reindex(full)[1]
        self.offered = np.where(go.eq(True), self.chance[:, 0], np.nan)

    def windows(self, length: int) -> np.ndarray:
        """First evenings of the windows in which what came of every tomorrow is known."""
        starts = range(len(self.held) - length + 1)
        known = [s for s in starts if not np.isnan(self.held[s : s + length]).any()]
        return np.array(known, dtype=int)


def first_of(winter: Winter, length: int, goes: np.ndarray) -> np.ndarray:
    """Whether the round of each window held, made on its first evening that goes."""
    out = []
    for start in winter.windows(length):
        on = np.flatnonzero(goes[start : start + length])
        out.append(winter.held[start + on[0]] if on.size else 0.0)
    return np.array(out)


@cache
def beyond(other: Winter, left: int) -> float:
    """What a round is worth with so many evenings left of which no forecast tells yet."""
    if left <= 0:
        return 0.0
    starts = other.windows(left)
    offers = np.stack([other.offered[s : s + left, None] for s in starts], axis=2)
    ends = np.full((1, len(starts)), left - 1.0)
    moves = program_moves(PROGRAM, left, TERMS)
    return float(OtherWinters(offers, ends).values(moves, TERMS)[0, 0].mean())


def decided(winter: Winter, other: Winter, length: int) -> np.ndarray:
    """Whether the round of each window held, by the package's decision of every evening."""
    moves, out = program_moves(PROGRAM, length, TERMS), []
    for start in winter.windows(length):
        came = 0.0
        for left in range(length, 0, -1):
            evening = start + length - left
            known = winter.chance[evening, :left].copy()
            known[0] = winter.offered[evening]
            later = np.zeros((moves.count, 1))
            later[0] = beyond(other, left - len(known))
            if worth(known[:, None, None], later, moves, TERMS).chosen()[0, 0] == 0:
                came = winter.held[evening]
                break
        out.append(came)
    return np.array(out)


def main() -> None:
    """Print the table."""
    judged = pd.read_parquet(Path(sys.argv[1]))
    go = judged[judged.what == "copper"].rename(columns={"bare": "go"})
    key = ["winter", "evening", "day"]
    judged = judged[judged.what == "copper dry"].merge(go[[*key, "go"]], on=key)
    winters = [Winter(part) for _, part in judged.groupby("winter")]
    rows: dict[str, list[str]] = {}
    for length in EVENINGS:
        found: dict[str, list[np.ndarray]] = {}
        for winter in winters:
            (other,) = (each for each in winters if each is not winter)
            by_threshold = [
                first_of(other, length, other.offered >= least).mean() for least in THRESHOLDS
            ]
            least = THRESHOLDS[int(np.argmax(by_threshold))]
            anything = np.isfinite(winter.held)
            for rule, held in (
                ("first morning that the forecast calls go and dry", winter.dry),
                ("chance above a fixed one", winter.offered >= least),
                ("hindsight", anything & (winter.held > 0)),
            ):
                found.setdefault(rule, []).append(first_of(winter, length, held))
            found.setdefault("the decision", []).append(decided(winter, other, length))
        for rule, parts in found.items():
            every = np.concatenate(parts)
            rows.setdefault(rule, []).append(f"{every.mean():.2f} (n {len(every)})")
    print(pd.DataFrame(rows, index=[f"{length} evenings" for length in EVENINGS]).T.to_string())


if __name__ == "__main__":
    main()
