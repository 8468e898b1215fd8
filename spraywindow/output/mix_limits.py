"""A season's totals and the limits they are held against, in words."""

from __future__ import annotations

from spraywindow.orchard.mix_totals import LimitRow, Totals
from spraywindow.orchard.over_limits import LimitCheck
from spraywindow.orchard.season_totals import LimitUse
from spraywindow.output.text import paragraph, table_text
from spraywindow.output.units import System
from spraywindow.output.year_words import amount_in, date_words, figures

COPPER_COUNT = "kg copper per ha"


def totals_text(totals: Totals, blocks: set[str], system: System) -> str:
    """The season so far of some blocks, their limits, and how all is counted."""
    lines = ["This season so far"]
    rows = []
    for total in totals.season:
        if total.block not in blocks:
            continue
        copper = amount_in(total.copper_kg_per_ha, "kg/ha", system)
        rows.append([
            total.block, total.material, figures(total.rounds),
            amount_in(total.amount, total.base, system),
            amount_in(total.amount_per_ha, f"{total.base}/ha", system),
            copper if total.copper_kg_per_ha else "-",
        ])  # fmt: skip
    columns = ["block", "material", "rounds", "product", "per area", "copper metal"]
    lines.append(table_text(columns, rows, right=(2, 3, 4)) if rows else "No round yet.")
    if totals.limits:
        lines += ["", "Against the limits", _limits(totals.limits, system)]
    lines += [paragraph(f"{text}.") for text in totals.notes]
    return "\n".join(lines)


def _limits(limits: tuple[LimitRow, ...], system: System) -> str:
    rows = [
        [
            row.block, _counted(row.most, row, system),
            *(_counted(used, row, system).split(" ")[0]
              for used in (row.so_far, row.with_job, row.with_program)),
            _limit_name(row) + (f"; OVER {row.over}" if row.over else ""),
        ]
        for row in limits
    ]  # fmt: skip
    columns = ["block", "most", "so far", "this job", "program", "limit"]
    return table_text(columns, rows, right=(1, 2, 3, 4))


def _limit_name(row: LimitRow) -> str:
    what = "copper metal, " if row.counts == COPPER_COUNT else ""
    return f"{what}{row.limit.name} {_period(row)}"


def _period(row: LimitRow | LimitUse) -> str:
    if row.limit.since is not None:
        return "this season"
    return "a year" if row.limit.years == 1 else f"in {row.limit.years} years"


def _counted(value: float, row: LimitRow | LimitUse, system: System) -> str:
    """A count in its own unit; areas in the reader's."""
    if not row.base:
        return f"{figures(value)} round{'s' * (value != 1)}"
    return amount_in(value, f"{row.base}/ha", system)


def over_warnings(totals: Totals, system: System) -> list[str]:
    """A line for each limit that is passed, or will be."""
    return [
        f"{row.block}: over {_counted(row.most, row, system)} "
        f"{'of copper metal ' if row.counts == COPPER_COUNT else ''}{_period(row)} "
        f"({row.limit.name}) {row.over}, {_counted(_first_over(row), row, system)}"
        for row in totals.limits
        if row.over
    ]


def _first_over(row: LimitRow) -> float:
    return {"already": row.so_far, "with this job": row.with_job}.get(row.over, row.with_program)


def entry_limit_lines(check: LimitCheck, system: System) -> list[str]:
    """What an entry of the record leads to, a line for each limit that is passed with it."""
    lines = []
    for passed in check.passed:
        use = passed.use
        copper = " of copper metal" if use.counts == COPPER_COUNT else ""
        period = "a year" if use.limit.years == 1 else f"{use.limit.years} years"
        lines.append(
            f"{use.block}: {_counted(use.used, use, system)}{copper} in {period} to "
            f"{date_words(passed.until)}, over the {_counted(use.most, use, system)} of "
            f"{use.limit.name}"
        )
    return [*lines, *check.notes]
