"""The answer of ``spraywindow mix`` as text that fits 80 columns."""

from __future__ import annotations

import math

import pandas as pd

from spraywindow.days import day_words
from spraywindow.handbook import LimitUse
from spraywindow.jobs.mix.answer import MixAnswer
from spraywindow.jobs.mix.limits import LimitCheck, LimitRow, Totals
from spraywindow.jobs.slots import doubt_lines
from spraywindow.show import (
    LABEL,
    SPRAYING,
    System,
    Words,
    amount_in,
    amount_parts,
    date_words,
    dose_words,
    duration_words,
    figures,
    paragraph,
    table_text,
)
from spraywindow.units import convert

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
            *(_count(used, row, system)[0]
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
    return " ".join(_count(value, row, system))


def _count(value: float, row: LimitRow | LimitUse, system: System) -> tuple[str, ...]:
    """The figure of a count, and its unit."""
    if not row.base:
        return figures(value), f"round{'s' * (value != 1)}"
    return amount_parts(value, f"{row.base}/ha", system)


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


DEFERS = (
    "The limits are those that the site file gives; label, regional rules and a licensed "
    "adviser come first."
)


def mix_text(answer: MixAnswer) -> str:
    """The whole answer: verdict, blocks, loads, calibration, time, totals, cautions."""
    parts = ["\n".join(paragraph(line) for line in _head(answer))]
    parts += [_blocks(answer), _loads(answer), _time(answer)]
    blocks = {each.block.name for each in answer.blocks}
    parts.append(totals_text(answer.totals, blocks, answer.site.units))
    if answer.site.seen:
        parts.append("\n".join(paragraph(f"Note: {line}.") for line in answer.site.seen))
    parts.append("\n".join(paragraph(f"! {line}") for line in mix_cautions(answer)))
    return "\n\n".join(parts)


def mix_cautions(answer: MixAnswer) -> list[str]:
    """The cautions of the answer."""
    material = answer.site.material(answer.material)
    return [*material.cautions, SPRAYING[0], DEFERS, LABEL]


def product_words(amount: float, answer: MixAnswer) -> str:
    """An amount of product in the measure of the site file, or in the reader's system."""
    rate, measure = answer.mix.rate, answer.fields.measure
    if measure is None:
        return amount_in(amount, rate.base, answer.site.units)
    return dose_words(convert(amount, rate.base, measure), measure)


def rate_words(answer: MixAnswer) -> str:
    """The rate as people read it: "2 %", "2.5 g/L", "2 lb per 100 gal"."""
    rate, system = answer.mix.rate, answer.site.units
    if rate.base == "L":
        return f"{figures(100 * rate.per_litre)} %"
    if system == "us":
        return f"{figures(100 * convert(rate.per_litre, 'kg/L', 'lb/gal'))} lb per 100 gal"
    return f"{figures(1000 * rate.per_litre)} g/L"


def _head(answer: MixAnswer) -> list[str]:
    system, time, slot = answer.site.units, answer.time, answer.next_slot
    loads = f"{answer.loads.count} tank load" + "s" * (answer.loads.count != 1)
    names = ", ".join(each.block.name for each in answer.blocks)
    lines = [
        f"{answer.site.name}: {answer.mix.rate.product}, {product_words(answer.mix.total, answer)} "
        f"in {amount_in(answer.loads.total_l, 'L', system)} of spray ({rate_words(answer)}), "
        f"{loads}; it needs a slot of {time.slot_whole_h} h, "
        f"{duration_words(time.on_site_h)} on site."
    ]
    if answer.share < 1:
        lines.append(f"The rest of a round begun, {100 * answer.share:.3g} %.")
    if answer.to_plan:
        why = "; ".join(f"{each.block.name}: {each.state.why}" for each in answer.blocks)
        lines.append(f"Not now, to plan with only: {why}.")
    look = [f"look first at {e.block.name}: {e.state.why}"
            for e in answer.blocks if e.state.open is None]  # fmt: skip
    left = [f"not {state.block.name}: {state.why}" for state in answer.left_out]
    if not answer.to_plan:
        lines.append("; ".join([f"For {names}", *look, *left]) + ".")
    lines += [f"{line}." for line in doubt_lines(answer.site)]
    lines += [f"Check: {warning}." for warning in mix_warnings(answer)]
    if answer.to_plan:
        return lines
    if slot is not None:
        lines.append(f"Next slot that long: {slot_words(slot.start, slot.end)}.")
    elif answer.looked_at:
        lines.append("No slot that long in the weather that is known.")
    return lines


def mix_warnings(answer: MixAnswer) -> list[str]:
    """Warnings of the mix, the sprayer, the limits, and of a slot that is too short."""
    over = over_warnings(answer.totals, answer.site.units)
    return [*over, *answer.warnings, *_too_long(answer)]


MIX_WORDS: Words = {
    (MixAnswer, "warnings"): lambda answer, _: mix_warnings(answer),
    (MixAnswer, "cautions"): lambda answer, _: mix_cautions(answer),
}
"""What the JSON says in words."""


def _too_long(answer: MixAnswer) -> list[str]:
    """What to do about a job that is longer than `[crew]` says, or than any day."""
    job_h, slot_h, day_h = answer.site.job_h, answer.time.slot_whole_h, answer.day_h
    needs = f"the job needs {slot_h} h of good hours"
    if slot_h > day_h:
        days = math.ceil(slot_h / day_h)
        return [f"{needs}, more than the {day_h:g} working hours of a day: split over {days} days"]
    if slot_h > job_h:
        return [f'{needs} and [crew] says {job_h:g} h: write job = "{slot_h} h", so that slots '
                "looks for them"]  # fmt: skip
    return []


def slot_words(start: pd.Timestamp, end: pd.Timestamp) -> str:
    """A slot's day and hours."""
    return f"{day_words(start.date())} {start:%H:%M}-{end:%H:%M}"


def _blocks(answer: MixAnswer) -> str:
    system = answer.site.units
    by_tree = answer.sprayer.way == "hand gun"
    rows = []
    for job in answer.jobs:
        each, seconds = job.mix, job.seconds_per_tree
        rows.append([
            each.block.name, str(each.block.trees), amount_in(each.per_tree_l, "L", system),
            *([f"{seconds:.0f} s"] if seconds is not None else []),
            amount_in(each.total_l, "L", system),
            product_words(job.product, answer),
            amount_in(each.per_ha_l, "L/ha", system),
        ])  # fmt: skip
    columns = ["block", "trees", "a tree", *(["gun on it"] if by_tree else []), "spray",
               "product", "on the ground"]  # fmt: skip
    table = table_text(columns, rows, right=tuple(range(1, len(columns) - 1)))
    return "\n".join([f"Spray, {answer.sprayer.pruning} trees, by {answer.sprayer.way}", table,
                      *map(paragraph, _calibration(answer))])  # fmt: skip


def _calibration(answer: MixAnswer) -> list[str]:
    system, calibration, sprayer = answer.site.units, answer.calibration, answer.sprayer
    flow = amount_in(calibration.flow_l_per_min, "L/min", system)
    source = "the timed catch" if sprayer.flow is None else "the site file"
    each = "Each gun" if sprayer.way == "hand gun" else "The sprayer"
    lines = [f"{each} gives {flow} ({source})."]
    guessed = [each.block.name for each in answer.blocks if each.area_guessed]
    if guessed:
        lines.append(f"The ground of {', '.join(guessed)} is reckoned from spread and row spacing: "
                     "give area (and row_length) of the block.")  # fmt: skip
    if calibration.given_l_per_m is not None and calibration.wanted_l_per_m is not None:
        given, wanted = (
            _row_words(per_m, per_ha, answer)
            for per_m, per_ha in (
                (calibration.given_l_per_m, calibration.given_l_per_ha),
                (calibration.wanted_l_per_m, calibration.wanted_l_per_ha),
            )
        )
        lines.append(
            f"At {amount_in(calibration.speed_ms or 0.0, 'm/s', system)} that is {given}; the "
            f"trees want {wanted}: {_better(answer)}."
        )
    elif sprayer.way == "rows":
        lines.append("What the row gets needs speed (or run and run_in) in [sprayer].")
    return lines


def _row_words(per_m: float, per_ha: float | None, answer: MixAnswer) -> str:
    """Spray per length of row, and on the ground where the row spacings are known."""
    system = answer.site.units
    if system == "us":
        words = f"{figures(100 * convert(per_m, 'L/m', 'gal/ft'))} gal per 100 ft of row"
    else:
        words = f"{figures(100 * per_m)} L per 100 m of row"
    return words if per_ha is None else f"{words} ({amount_in(per_ha, 'L/ha', system)})"


def _better(answer: MixAnswer) -> str:
    """How to give what the trees want."""
    calibration, system = answer.calibration, answer.site.units
    if calibration.uneven_blocks:
        speeds = [f"{amount_in(speed, 'm/s', system)} at {name}"
                  for name, speed in calibration.block_speeds_ms.items()]  # fmt: skip
        return f"drive {', '.join(speeds)}"
    return (
        f"drive {amount_in(calibration.better_speed_ms or 0.0, 'm/s', system)}, or give "
        f"{amount_in(calibration.better_flow_l_per_min or 0.0, 'L/min', system)}"
    )


def _loads(answer: MixAnswer) -> str:
    system, loads, mix = answer.site.units, answer.loads, answer.mix
    rows = []
    if loads.full:
        name = f"each of {loads.full} full" if loads.full > 1 else "full"
        rows.append([name, amount_in(loads.tank_l, "L", system),
                     product_words(mix.per_full_load, answer)])  # fmt: skip
    if loads.last_l:
        rows.append(["last" if loads.full else "the only one",
                     amount_in(loads.last_l, "L", system),
                     product_words(mix.last_load, answer)])  # fmt: skip
    if loads.count > 1:
        rows.append(["in all", amount_in(loads.total_l, "L", system),
                     product_words(mix.total, answer)])  # fmt: skip
    tank = amount_in(loads.tank_l, "L", system)
    return f"Tank loads of {tank}\n" + table_text(
        ["load", "spray", mix.rate.product], rows, right=(1,)
    )


def _time(answer: MixAnswer) -> str:
    time, guns = answer.time, answer.sprayer.crew.guns
    parts = [
        ("set-up", time.set_up_h), ("walking", time.walking_h), ("spraying", time.spraying_h),
        ("refills", time.refills_h), ("rinsing", time.rinse_h),
    ]  # fmt: skip
    words = ", ".join(f"{name} {duration_words(hours)}" for name, hours in parts if hours)
    by = f" with {guns} guns" if guns > 1 else ""
    return paragraph(
        f"Time{by}: {words}; good weather is needed from the first drop to the last, "
        f"{duration_words(time.slot_h)}."
    )
