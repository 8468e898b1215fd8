"""The backtest as text: the rules beside each other, then winter by winter, then what it means."""

from __future__ import annotations

from spraywindow.jobs.backtest.answer import SiteBacktest
from spraywindow.show import FEW_WINTERS, Words, paragraph, source_line, table_text
from spraywindow.winters import (
    AFTER_H,
    FEWEST_FOR_START,
    Figure,
    Runs,
    false_go,
    finished,
    median_span,
    missed_go,
    runs_of,
    spoiled,
    spoiled_of,
)

FORESIGHT = (
    "Days known exactly show what a rule costs, not how good a forecast is: false and missed go "
    "are measured only where a forecast can be wrong. The size of the usual errors is common "
    "practice and they are one model of many: read the range of their runs as a sensitivity."
)
DRY_LOOKING = (
    "The first dry-looking day knows the next 24 h of rain exactly, also beside forecasts that "
    "can be wrong."
)
SOON_H = 24
_AFTER = [f"rain\n{hours} h" for hours in AFTER_H]


def backtest_text(replayed: SiteBacktest) -> str:
    """The whole report."""
    season, runs = replayed.season, runs_of(replayed.results)
    parts = [_verdict(replayed, runs)]
    if season.labels:
        parts += [_rules(replayed, runs), _materials(replayed, runs), _errors(runs)]
        parts.append(_winters(replayed))
    foot = [
        *cautions(replayed),
        "Rain after a round is measurable rain (0.254 mm, 0.01 in, and more) from its start on, as "
        "far as the record tells; copper needs 6 h without it, not 72.",
    ]
    foot += [f"Note: {note}." for note in replayed.notes]
    foot += [f"Winter {label} is left out: {why}." for label, why in season.left_out.items()]
    foot += [
        f"{each.replay.capitalize()}: no winter of the record is covered from first day to last."
        for each in runs
        if season.labels and not each.first.labels
    ]
    report = "\n\n".join([*(part for part in parts if part), *map(paragraph, foot)])
    source = [*replayed.source_notes, source_line(replayed.source)]
    return "\n".join([report, *map(paragraph, source)])


def cautions(replayed: SiteBacktest) -> list[str]:
    """How the figures are to be read."""
    said = [FORESIGHT, DRY_LOOKING]
    if len(replayed.season.labels) < FEWEST_FOR_START:
        said.append(FEW_WINTERS)
    return said


BACKTEST_WORDS: Words = {(SiteBacktest, "cautions"): lambda replayed, _: cautions(replayed)}
"""What the JSON says in words."""


def _verdict(replayed: SiteBacktest, runs: list[Runs]) -> str:
    n, ours = len(replayed.season.labels), replayed.results[0]
    if n == 0:
        return paragraph(f"{replayed.site.name}: no winter of the record can be replayed.")
    wanted, made = replayed.rounds_wanted, int(ours.rounds.sum())
    materials = replayed.season.materials
    which = max(range(len(materials)), key=lambda number: materials[number].dry_spell_h)
    rained = spoiled_of(which, SOON_H)
    errors = [each for each in runs if each.first.counts is not None and each.first.labels]
    wrong = "".join(f", {_shares(each, rained)} with {each.replay}" for each in errors)
    return paragraph(
        f"{replayed.site.name}: in {_winter_count(n)} this rule made {made} of {n * wanted} rounds "
        f"and finished {int(finished(replayed.program)(ours))} of {_winter_count(n)}, had each "
        f"evening known the coming days exactly. Rain came within {SOON_H} h of "
        f"{_shares(runs[0], rained)} of its {int(ours.made[:, which].sum())} "
        f"{materials[which].name} rounds{wrong}. Seasons end by {replayed.need_name}."
    )


def _winter_count(n: int) -> str:
    return "1 winter" if n == 1 else f"{n} winters"


def _rules(replayed: SiteBacktest, runs: list[Runs]) -> str:
    rows = [
        [
            _span(each, lambda result: float(result.rounds.mean()), 1),
            f"{_span(each, finished(replayed.program))}/{len(each.first.labels)}",
            _span(each, median_span(replayed.program)),
            *(_bare(each, spoiled(hours)) for hours in AFTER_H),
            _span(each, lambda result: int(result.outcomes.frost.sum())),
            _span(each, lambda result: int(result.outcomes.heat.sum())),
            each.name,
        ]
        for each in runs
        if each.first.labels
    ]
    head = [
        "rounds",
        "winters\nfinished",
        "days",
        *_AFTER,
        "frost\n24 h",
        "heat\n48 h",
        "rule",
    ]
    title = (
        "Rounds a winter, winters finished, days from first to last round (middle of those "
        "finished), share of rounds [%] with rain after, rounds with frost or heat after; a range "
        "is over the runs"
    )
    return f"{paragraph(title, '')}\n{table_text(head, rows, right=tuple(range(8)))}"


def _materials(replayed: SiteBacktest, runs: list[Runs]) -> str:
    rows = [
        [
            material.name,
            _span(each, lambda result, which=which: int(result.made[:, which].sum())),  # type: ignore[misc]  # mypy cannot infer a lambda with a default
            *(_bare(each, spoiled_of(which, hours)) for hours in AFTER_H),
            each.name,
        ]
        for which, material in enumerate(replayed.season.materials)
        for each in runs
        if each.first.labels
    ]
    return "By material: all rounds, share of them [%] with rain after\n" + table_text(
        ["material", "rounds", *_AFTER, "rule"], rows, right=(1, 2, 3, 4)
    )


def _errors(runs: list[Runs]) -> str:
    rows = [
        [
            _shares(each, false_go),
            _shares(each, missed_go),
            _span(each, lambda result: result.brier, 3),
            str(each.first.counts.n),
            each.name,
        ]
        for each in runs
        if each.first.counts is not None and each.first.counts.n
    ]
    if not rows:
        return ""
    title = (
        "Tomorrow's slot, forecast against what came: share of go days that were none, share of "
        "usable days that were missed, Brier score of the chance (0 is best), answers judged (not "
        "those that the forecast or the record leaves open)"
    )
    head = ["false go", "missed go", "Brier", "n", "rule"]
    return f"{paragraph(title, '')}\n{table_text(head, rows, right=(0, 1, 2, 3))}"


def _winters(replayed: SiteBacktest) -> str:
    rows = []
    best = replayed.results[-1].rounds
    for row, most in zip([row for row in replayed.winters if row.usable], best, strict=True):
        rows.append([row.winter, str(row.rounds), str(int(most)),
                     *(str(row.spoiled[hours]) for hours in AFTER_H)])  # fmt: skip
    head = ["winter", "rounds", "hindsight", *_AFTER]
    return (
        f"Winter by winter: rounds made of {replayed.rounds_wanted} with the days known, and how "
        f"many of them\nrain came after\n{table_text(head, rows, right=tuple(range(1, 6)))}"
    )


def _span(runs: Runs, figure: Figure, digits: int = 0) -> str:
    """A figure, as a range where the runs differ: "7.6-7.8"; "-" where there is none."""
    low, high = (f"{end:.{digits}f}" for end in runs.range(figure))
    if low == "nan":
        return "-"
    return low if low == high else f"{low}-{high}"


def _bare(runs: Runs, figure: Figure) -> str:
    """A share in per cent, without the sign."""
    return _span(runs, lambda result: 100.0 * figure(result))


def _shares(runs: Runs, figure: Figure) -> str:
    shown = _bare(runs, figure)
    return shown if shown == "-" else f"{shown} %"
