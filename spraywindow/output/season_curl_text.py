"""The leaf-curl section of the feasibility report: what copper rounds would have covered."""

from __future__ import annotations

import numpy as np

from spraywindow.output.text import paragraph, table_text
from spraywindow.output.words import day_words
from spraywindow.season.outlook import Outlook


def curl_text(outlook: Outlook) -> list[str]:
    """The section, or nothing for a program without copper."""
    curl = outlook.curl
    if curl is None:
        return []
    n = curl.winters_with_risk
    if n == 0:
        return ["Leaf-curl weather and copper: no winter had weather for infection."]
    rows = [
        [str(number), _share(curl.best[number - 1]), _share(curl.worth[number - 1])]
        for number in range(1, len(curl.best) + 1)
    ]
    left, at_most = curl.left, "at most " if curl.left.unknown_h else ""
    if left.share:
        rows.insert(0, ["none", _share(curl.bare), "-"])
    text = "Leaf-curl weather and copper: share of a winter's infection risk, mean (10-90 %)\n"
    head = ["covered by the best of hindsight", "lost without this round"]
    text += table_text(["more rounds" if left.share else "rounds", *head], rows, right=(0, 1, 2))
    covered, best = curl.covered_as_it_comes, curl.covered_by_best_rounds
    if left.share:
        why = f" (rain is unknown in {left.unknown_h} h since)" if left.unknown_h else ""
        text += "\n" + paragraph(
            f"Of a fresh deposit, {at_most}{100 * left.share:.0f} % is on the wood on "
            f"{day_words(outlook.season.first)} from the rounds done{why}; every figure counts it."
        )
    text += "\n" + paragraph(
        f"The rounds made as it comes cover {at_most}{100 * covered:.0f} % (mean of {n} winters "
        "with risk)."
    )
    enough = next((k for k, mean in enumerate(best, start=1) if mean >= 0.9 * best[-1]), len(best))
    if enough < len(best):
        text += "\n" + paragraph(
            f"{enough} well-placed rounds cover nine tenths of what {len(best)} would."
        )
    return [text]


def _share(values: np.ndarray) -> str:
    known = values[~np.isnan(values)]
    if not known.size:
        return "-"
    low, high = np.quantile(known, [0.1, 0.9], method="inverted_cdf")
    return f"{100 * known.mean():.0f} % ({100 * low:.0f}-{100 * high:.0f})"
