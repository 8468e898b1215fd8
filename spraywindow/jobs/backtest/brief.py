"""What came of the rule in past winters, in a few plain sentences: at most ten lines."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from spraywindow.jobs.backtest.answer import SiteBacktest, winter_rows
from spraywindow.winters import RuleResult, Runs, finished, per_winter, runs_of

NAMED = 3
"""Winters that are told by name."""


def brief_lines(replayed: SiteBacktest) -> list[str]:
    """Rounds that came off, were washed off, wrong answers, the worst winter, simpler rules."""
    runs = runs_of(replayed.results)
    ours = [each for each in runs if each.first.replay and each.first.labels]
    others = [each for each in runs if not each.first.replay]
    lines = [_came_off(replayed, ours), _wrong(ours[0]), _worst(replayed, ours[0])]
    return [*lines, _simpler(replayed, ours[0], others[:2], others[-1])]


def good(result: RuleResult) -> float:
    """Rounds a winter that surely stayed dry as long as wanted."""
    return per_winter(result, result.outcomes.effective)


def _within(result: RuleResult) -> float:
    """Those of them of which no hour was outside a limit."""
    return per_winter(result, result.outcomes.within_limits)


def _figure(runs: Runs, figure: Callable[[RuleResult], float]) -> str:
    """The mean over the runs."""
    return f"{sum(map(figure, runs.results)) / len(runs.results):.1f}"


def _of_winters(replayed: SiteBacktest, runs: Runs) -> str:
    """Winters in which all rounds were made; a range over the runs."""
    counts = sorted({int(finished(replayed.program)(each)) for each in runs.results})
    return "-".join(dict.fromkeys(map(str, (counts[0], counts[-1]))))


def _came_off(replayed: SiteBacktest, ours: Sequence[Runs]) -> str:
    first, wanted = ours[0], replayed.rounds_wanted
    n = len(first.first.labels)
    made, lost = (
        sum(int(many.sum()) for many in every)
        for every in (
            [each.made for each in first.results],
            [each.outcomes.lost for each in first.results],
        )
    )
    wrong = "".join(
        f" ({_of_winters(replayed, each)} by forecasts with {each.replay.removeprefix('usual ')}, "
        f"{_figure(each, good)} good)"
        for each in ours[1:2]
    )
    return (
        f"{replayed.site.name}: by each evening's advice all {wanted} rounds came off in "
        f"{_of_winters(replayed, first)} of {n} past winters; {lost} of {made} went out and were "
        f"washed off, and were owed again. {_figure(first, good)} of {wanted} a winter were good: "
        f"they stayed dry as long as wanted{wrong}."
    )


def _wrong(ours: Runs) -> str:
    told = [each.counts for each in ours.results if each.counts is not None]
    go = sum(each.hits + each.false_go for each in told)
    fit = sum(each.hits + each.missed_go for each in told)
    if not go or not fit:
        return "How often a go was wrong is not told: these forecasts cannot be wrong."
    false, missed = (
        sum(getattr(each, name) for each in told) for name in ("false_go", "missed_go")
    )
    return (
        f"A go for tomorrow was wrong {false} times of {go} ({100 * false / go:.0f} %): some hour "
        f"of it broke a limit. Of {fit} fit days {missed} were missed "
        f"({100 * missed / fit:.0f} %)."
    )


def _worst(replayed: SiteBacktest, ours: Runs) -> str:
    rows = winter_rows(ours.first)
    least = min(row.effective or 0 for row in rows)
    worst = [row.winter for row in rows if row.effective == least]
    more = f" and {len(worst) - NAMED} more" * (len(worst) > NAMED)
    return (
        f"Worst winter: {', '.join(worst[:NAMED])}{more}, {least} good of "
        f"{replayed.rounds_wanted} rounds."
    )


def _simpler(replayed: SiteBacktest, ours: Runs, others: Sequence[Runs], most: Runs) -> str:
    """Good rounds within the limits, beside the simpler rules and the most that was possible."""
    beside = ", ".join(f"{each.name} {_figure(each, _within)}" for each in others)
    return (
        f"Good, and within all limits (wind, wet wood, frost), a winter: by this rule "
        f"{_figure(ours, _within)}, {beside}, at most {_figure(most, _within)}."
    )
