"""The backtest as text: the rules beside each other, then winter by winter, then what it means."""

from __future__ import annotations

from spraywindow.jobs.backtest.answer import SiteBacktest, winter_rows
from spraywindow.jobs.backtest.brief import brief_lines
from spraywindow.show import FEW_WINTERS, FULL, Words, paragraph, source_line, table_text
from spraywindow.winters import (
    AFTER_H,
    CAUSES,
    FEWEST_FOR_START,
    FEWEST_WINTERS,
    Against,
    Figure,
    RuleResult,
    Runs,
    effective_of,
    false_go,
    false_go_of,
    finished,
    median_span,
    missed_go,
    outside_of,
    per_winter,
    runs_of,
    spoiled,
    spoiled_of,
    washed,
)

ERRORS = (
    "The size of the usual errors is common practice and they are one model of many; with wrong "
    "rain, blocks of rain are wholly wrong or missing besides. Read the two as a sensitivity. Days "
    "known exactly show what a rule costs, not how good a forecast is: how often a go is "
    "wrong, or a fit day missed, is measured only where a forecast can be wrong."
)
DRY_LOOKING = (
    "The first dry-looking day knows the next 24 h of rain exactly, also beside forecasts that "
    "can be wrong."
)
SOON_H = 24
HINDSIGHT = (
    "Hindsight knows every day of a winter beforehand: within the limits no rule can make more "
    "rounds, or more that hold."
)
_AFTER = [f"rain\n{hours} h" for hours in AFTER_H]


def backtest_text(replayed: SiteBacktest, *, full: bool = False) -> str:
    """What came off in at most ten lines, and how to read them; in full, the tables as well."""
    season, runs = replayed.season, runs_of(replayed.results)
    parts = []
    if season.labels:
        parts.append("\n".join(map(paragraph, brief_lines(replayed))))
    if full or not season.labels:
        parts.append(_verdict(replayed, runs))
    if full and season.labels:
        parts += [_rules(replayed, runs), _held(replayed, runs), _materials(replayed, runs)]
        parts.append(_errors(replayed, runs))
        parts.append(_winters(replayed))
    tables = [
        "Rain after a round is measurable rain (0.254 mm, 0.01 in, and more) from its start on, as "
        "far as the record tells; copper needs 6 h without it, not 72.",
        "Chances that this rule weighs are as the other winters of the same replay bear out; with "
        f"fewer than {FEWEST_WINTERS} winters, the general ones of `slots`.",
    ]
    foot = [*cautions(replayed), *(tables if full else [FULL])]
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
    said = [ERRORS, DRY_LOOKING, HINDSIGHT]
    if len(replayed.season.labels) < FEWEST_FOR_START:
        said.append(FEW_WINTERS)
    return said


BACKTEST_WORDS: Words = {(SiteBacktest, "cautions"): lambda replayed, _: cautions(replayed)}
"""What the JSON says in words."""


def _verdict(replayed: SiteBacktest, runs: list[Runs]) -> str:
    n, ours = len(replayed.season.labels), replayed.results[0]
    if n == 0:
        return paragraph(f"{replayed.site.name}: no winter of the record can be replayed.")
    best = _span(runs[-1], _effective, 1)
    held = ", ".join(
        f"{_span(each, _effective, 1)} with {each.replay}"
        for each in runs
        if each.first.replay and each.first.labels
    )
    return paragraph(
        f"{replayed.site.name}: by each evening's advice, {_span(runs[0], _made, 1)} of "
        f"{replayed.rounds_wanted} rounds went out a winter and "
        f"{int(finished(replayed.program)(ours))} of {_winter_count(n)} were finished. The dry "
        f"hours wanted followed {held}; hindsight has {best}. Seasons end by {replayed.need_name}."
    )


def _made(result: RuleResult) -> float:
    return per_winter(result, result.made)


def _effective(result: RuleResult) -> float:
    """Rounds a winter that the wanted dry hours surely followed."""
    return per_winter(result, result.outcomes.effective)


def _winter_count(n: int) -> str:
    return "1 winter" if n == 1 else f"{n} winters"


def _rules(replayed: SiteBacktest, runs: list[Runs]) -> str:
    rows = [
        [
            _span(each, _made, 1),
            _span(each, _effective, 1),
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
        "held",
        "all\nmade",
        "days",
        *_AFTER,
        "frost\n24 h",
        "heat\n48 h",
        "rule",
    ]
    title = (
        "Rounds a winter, those that held (the dry hours wanted followed), winters with all made, "
        "days from first to last round (middle of those), share of rounds [%] with rain after, "
        "rounds with frost or heat after; a range is over the runs"
    )
    return f"{paragraph(title, '')}\n{table_text(head, rows, right=tuple(range(9)))}"


def _held(replayed: SiteBacktest, runs: list[Runs]) -> str:
    """What of the rounds was lost or outside the limits, and the difference to our rule."""
    ours = [each for each in runs if each.first.replay and each.first.labels]
    rows = []
    for each in runs:
        if not each.first.labels:
            continue
        against = "ours" if each.first.replay else " ".join(_more(each, own) for own in ours)
        figures = (washed, *map(outside_of, ("limits", *CAUSES)), _within_limits)
        rows.append([*(_span(each, figure, 1) for figure in figures), against, each.name])
    title = (
        "Rounds a winter that were washed off, that had an hour outside a hard limit, on wet wood "
        "and with drift; those that held within the limits, and how many more than ours with "
        f"{' and with '.join(each.replay for each in ours)}, plus or minus a standard error over "
        "the winters"
    )
    head = ["washed\noff", "outside\nlimits", "wet\nwood", "drift", "held\nwithin"]
    head += ["more\nthan ours", "rule"]
    return f"{paragraph(title, '')}\n{table_text(head, rows, right=(0, 1, 2, 3, 4))}"


def _within_limits(result: RuleResult) -> float:
    return per_winter(result, result.outcomes.within_limits)


def _more(runs: Runs, ours: Runs) -> str:
    more = Against.of(runs, ours).effective_within_limits
    return f"{more.mean:+.1f}±{more.standard_error:.1f}"


def _materials(replayed: SiteBacktest, runs: list[Runs]) -> str:
    rows = [
        [
            material.name,
            _span(each, lambda result, which=which: int(result.made[:, which].sum())),  # type: ignore[misc]  # mypy cannot infer a lambda with a default
            _span(each, effective_of(which), 1),
            *(_bare(each, spoiled_of(which, hours)) for hours in AFTER_H),
            each.name,
        ]
        for which, material in enumerate(replayed.season.materials)
        for each in runs
        if each.first.labels
    ]
    title = "By material: all rounds, those held a winter, share of all [%] with rain after\n"
    head = ["material", "rounds", "held", *_AFTER, "rule"]
    return title + table_text(head, rows, right=(1, 2, 3, 4, 5))


def _errors(replayed: SiteBacktest, runs: list[Runs]) -> str:
    names = [material.name for material in replayed.season.materials]
    rows = [
        [
            _shares(each, false_go),
            *(_shares(each, false_go_of(which)) for which in range(len(names))),
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
        "Tomorrow's advice, forecast against what came: share of go answers of which an hour "
        "advised broke a hard limit, of all and of each material; share of usable days that were "
        "missed, squared error (Brier score) of the chance (0 is best), answers judged (not those "
        "that the forecast or the record leaves open)"
    )
    head = ["wrong go", *(f"of\n{name}" for name in names), "missed go", "score", "judged", "rule"]
    return f"{paragraph(title, '')}\n{table_text(head, rows, right=tuple(range(len(head) - 1)))}"


def _winters(replayed: SiteBacktest) -> str:
    rows = []
    best = {row.winter: row.effective for row in winter_rows(replayed.results[-1])}
    for row in winter_rows(replayed.results[0]):
        rows.append([row.winter, str(row.rounds), str(row.effective), str(best[row.winter]),
                     *(str(row.spoiled[hours]) for hours in AFTER_H)])  # fmt: skip
    head = ["winter", "rounds", "held", "hindsight", *_AFTER]
    return (
        f"Winter by winter: rounds made of {replayed.rounds_wanted}, how many held (and most with\n"
        f"hindsight), and how many of them rain came after\n"
        f"{table_text(head, rows, right=tuple(range(1, 7)))}"
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
