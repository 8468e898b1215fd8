"""The backtest as text: the rules beside each other, then winter by winter, then what it means."""

from __future__ import annotations

import math

from spraywindow.orchard.replayed import Replayed
from spraywindow.output.backtest_answers import material_spoiled, owed
from spraywindow.output.notices import FEW_WINTERS
from spraywindow.output.text import paragraph, table_text
from spraywindow.season.backtest import RuleResult, winter_rows
from spraywindow.season.outcomes import AFTER_H
from spraywindow.season.outlook import FEWEST_FOR_START
from spraywindow.season.skill import false_go_ratio, missed_go_rate


def backtest_text(replayed: Replayed) -> str:
    """The whole report."""
    season = replayed.season
    parts = [_verdict(replayed)]
    if season.labels:
        parts += [_rules(replayed), _materials(replayed), _errors(replayed), _winters(replayed)]
    foot = [
        "Days known exactly show what a rule costs, not how good a forecast is: false and missed "
        "go are measured only with forecast errors, whose size is common practice, one model of "
        "many. Rain after a round is measurable rain (0.254 mm, 0.01 in, and more); copper needs "
        "6 h without it, not 72."
    ]
    foot += [f"Winter {label} is left out: {why}." for label, why in season.left_out.items()]
    if len(season.labels) < FEWEST_FOR_START:
        foot.append(FEW_WINTERS)
    return "\n\n".join([*(part for part in parts if part), *map(paragraph, foot)])


def _verdict(replayed: Replayed) -> str:
    n, ours = len(replayed.season.labels), replayed.results[0]
    if n == 0:
        return paragraph(f"{replayed.site.name}: no winter of the record can be replayed.")
    wanted = owed(replayed)
    finished = int((ours.rounds >= wanted).sum())
    spoiled = ours.outcomes.share_spoiled(24, ours.made)
    rained = "unknown" if math.isnan(spoiled) else f"{100 * spoiled:.0f} %"
    return paragraph(
        f"{replayed.site.name}: in {n} winters this rule made {int(ours.rounds.sum())} of "
        f"{n * wanted} rounds and finished {finished} of {n} winters, had each evening known the "
        f"coming days exactly; it rained within 24 h of {rained} of its {int(ours.rounds.sum())} "
        f"rounds{_with_errors(replayed)}. Seasons end by {replayed.need_name}."
    )


def _with_errors(replayed: Replayed) -> str:
    """The same share where forecasts were wrong by their usual errors, as a range over the runs."""
    shares = [
        result.outcomes.share_spoiled(24, result.made)
        for result in replayed.results
        if result.counts is not None
    ]
    if not shares:
        return ""
    low, high = _per_cent(min(shares)), _per_cent(max(shares))
    return f", with forecast errors of {low if low == high else f'{low} to {high}'}"


def _rules(replayed: Replayed) -> str:
    n = len(replayed.season.labels)
    rows = [
        [
            f"{result.rounds.mean():.1f}",
            f"{int((result.rounds >= owed(replayed)).sum())}/{n}",
            *(_per_cent(result.outcomes.share_spoiled(hours, result.made)) for hours in AFTER_H),
            str(int(result.outcomes.frost.sum())),
            str(int(result.outcomes.heat.sum())),
            result.name,
        ]
        for result in replayed.results
    ]
    head = [
        "rounds",
        "winters\nfinished",
        *(f"rain\n{h} h" for h in AFTER_H),
        "frost\n24 h",
        "heat\n48 h",
        "rule",
    ]
    return (
        f"Rounds a winter, winters finished, share of rounds with rain after; {n} winters\n"
        + table_text(head, rows, right=tuple(range(7)))
    )


def _materials(replayed: Replayed) -> str:
    rows = []
    for which, material in enumerate(replayed.season.materials):
        for result in replayed.results:
            shares = material_spoiled(result, which)
            rows.append([
                material.name,
                str(int(result.made[:, which].sum())),
                *(_per_cent(shares[hours]) for hours in AFTER_H),
                result.name,
            ])  # fmt: skip
    head = ["material", "rounds", *(f"rain\n{h} h" for h in AFTER_H), "rule"]
    return "By material\n" + table_text(head, rows, right=(1, 2, 3, 4))


def _errors(replayed: Replayed) -> str:
    rows = [
        [
            _per_cent(float(false_go_ratio(result.counts))),
            _per_cent(float(missed_go_rate(result.counts))),
            f"{result.brier:.3f}",
            str(_total(result)),
            result.name,
        ]
        for result in replayed.results
        if result.counts is not None
    ]
    if not rows:
        return ""
    head = ["false go", "missed go", "Brier", "n", "rule"]
    return (
        "Tomorrow's slot, forecast against what came: share of go days that were none, share\n"
        "of usable days that were missed, Brier score of the chance (0 is best), days counted\n"
        + table_text(head, rows, right=(0, 1, 2, 3))
    )


def _total(result: RuleResult) -> int:
    counts = result.counts
    if counts is None:
        return 0
    return int(counts.hits + counts.false_go + counts.missed_go + counts.correct_no_go)


def _winters(replayed: Replayed) -> str:
    rows = []
    for number, row in enumerate(winter_rows(replayed.results[0], replayed.season.labels)):
        spoiled = row["spoiled"]
        assert isinstance(spoiled, dict)
        best = replayed.results[-1].rounds[number]
        rows.append([str(row["winter"]), str(row["rounds"]), str(int(best)),
                     *(str(spoiled[hours]) for hours in AFTER_H)])  # fmt: skip
    head = ["winter", "rounds", "hindsight", *(f"rain\n{h} h" for h in AFTER_H)]
    return "Winter by winter: rounds of this rule, and how many of them rain came after\n" + (
        table_text(head, rows, right=tuple(range(1, 6)))
    )


def _per_cent(share: float) -> str:
    return "-" if math.isnan(share) else f"{100 * share:.0f} %"
