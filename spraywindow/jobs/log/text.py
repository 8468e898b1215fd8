"""What ``spraywindow log`` says, as text that fits 80 columns."""

from __future__ import annotations

from collections.abc import Collection
from itertools import groupby
from zoneinfo import ZoneInfo

from spraywindow.days import day_words
from spraywindow.jobs.log.answer import Entered, Listed
from spraywindow.jobs.log.papers import UNITS
from spraywindow.jobs.mix import entry_limit_lines
from spraywindow.record import Application, Kept, Minded
from spraywindow.show import System, Words, paragraph, shown, table_text
from spraywindow.units import convert

_INTERVALS = {
    "reentry": "re-entry from",
    "next_round": "next round from",
    "harvest": "harvest from",
}


def entered_text(answer: Entered, verb: str) -> str:
    """What was just written down, and what to mind about it."""
    kept, entry, units = answer.kept, answer.kept.entry, answer.site.units
    lines = [
        paragraph(
            f"{verb} as {kept.id}: {entry.site}, {when(entry)}: {entry.product} "
            f"({entry.material}), {amount(entry, units)}"
            + (f", {', '.join(entry.blocks)}" if entry.blocks else "")
            + ("" if entry.share == 1 else f", {100 * entry.share:.0f} % of the round")
            + "."
        )
    ]
    if failed := failed_words(entry):
        lines.append(paragraph(f"  {failed[:1].upper()}{failed[1:]}."))
    measured = _weather(entry, units)
    if measured:
        lines.append(paragraph(f"  At the time: {measured}."))
    lines += [_caution(line) for line in entered_cautions(answer, said={"share", "estimated"})]
    return "\n".join(lines)


def entered_cautions(answer: Entered, said: Collection[Minded] = ()) -> list[str]:
    """What to mind about an entry just made, but for what is `said` of it already."""
    check = answer.check
    lines = [*answer.beside]
    if check is not None:
        limits = entry_limit_lines(check.limits, answer.site.units)
        own = [line for what, line in check.own.items() if what not in said]
        lines += [*own, *check.strange, *limits, *check.rounds]
    if answer.dropped:
        lines.append(
            f"the weather estimated for the old hours is dropped ({', '.join(answer.dropped)}); "
            f"`log correct {answer.kept.id} --weather FILE` looks it up for the new ones"
        )
    return lines


ENTERED_WORDS: Words = {(Entered, "cautions"): lambda answer, _: entered_cautions(answer)}
"""What the JSON says in words."""


def list_text(answer: Listed, units: System) -> str:
    """The table of entries, the program so far, and intervals still running."""
    rows = answer.rows
    about = answer.site.name if answer.site else "all sites"
    count = "1 entry" if len(rows) == 1 else f"{len(rows)} entries"
    parts = [paragraph(f"{about}: {count} in {answer.path}")]
    if rows:
        many = answer.site is None
        later = {row.corrects: row for row in rows}
        head = ["no", "day", "hours", "material", "amount", "round", "product and remarks"]
        table = [
            [
                str(row.id),
                row.entry.day.isoformat(),
                hours(row.entry),
                row.entry.material,
                amount(row.entry, units, ""),
                f"{100 * row.entry.share:.0f} %",
                _remarks(row, many, later.get(row.id)),
            ]
            for row in rows
        ]
        parts.append(table_text(head, table, right=(0, 4, 5)))
    foot = []
    if answer.program:
        done = ", ".join(
            f"{each.material} {round(each.done, 3):g} of {each.wanted}"
            + (f" (last {each.last})" if each.last else "")
            for each in answer.program
        )
        foot.append(paragraph(f"Rounds this season: {done}."))
    # an entry's intervals stand side by side
    for entry_id, each_own in groupby(answer.running, key=lambda each: each.id):
        own = list(each_own)
        texts = [f"{_INTERVALS[each.interval]} {str(each.until)[:16]}" for each in own]
        foot.append(paragraph(f"Entry {entry_id}, {own[0].product}: {', '.join(texts)}."))
    foot += [_caution(line) for line in answer.cautions]
    return "\n\n".join([*parts, *(["\n".join(foot)] if foot else [])])


def _remarks(row: Kept, many_sites: bool, later: Kept | None) -> str:
    entry = row.entry
    parts = [entry.site] if many_sites else []
    parts.append(entry.product)
    if entry.blocks:
        parts.append(", ".join(entry.blocks))
    if failed := failed_words(entry):
        parts.append(failed)
    if row.corrects is not None:
        verb = "withdraws" if row.kind == "withdrawal" else "corrects"
        parts.append(f"{verb} {row.corrects}: {row.why}")
    if later is not None:
        verb = "withdrawn" if later.kind == "withdrawal" else "corrected"
        parts.append(f"({verb} by {later.id})")
    return "; ".join(parts)


def failed_words(entry: Application) -> str:
    """What of a round is marked failed, or that it was looked at and held; empty: nobody said."""
    if entry.failed_share is None:
        return ""
    if not entry.failed_share:
        return "looked at: it held"
    where = f" ({', '.join(entry.failed_blocks)})" if entry.failed_blocks else ""
    return f"failed: {100 * entry.failed_share:.0f} % of a round{where} is owed again"


def when(entry: Application) -> str:
    """Day and hours: "Tue 13 Jan 2026 10:00-12:30"."""
    return f"{day_words(entry.day)} {entry.day.year} {hours(entry)}"


def hours(entry: Application) -> str:
    """Local clock times: "10:00-12:30"."""
    zone = ZoneInfo(entry.timezone)
    start = f"{entry.start.astimezone(zone):%H:%M}"
    return start if entry.end is None else f"{start}-{entry.end.astimezone(zone):%H:%M}"


def amount(entry: Application, units: System, unknown: str = "amount not noted") -> str:
    """Product used, in the reader's units."""
    use = UNITS[units]
    if entry.product_kg is not None:
        return f"{convert(entry.product_kg, 'kg', use['mass']):.3g} {use['mass']}"
    if entry.product_l is not None:
        return f"{convert(entry.product_l, 'L', use['volume']):.3g} {use['volume']}"
    return unknown


def _caution(line: str) -> str:
    return paragraph(f"! {line[:1].upper()}{line[1:]}{'' if line.endswith('?') else '.'}")


def _weather(entry: Application, units: System) -> str:
    """The weather at the time, and what of it is estimated from where."""
    values = (
        ("temp_c", "", "degC"),
        ("wind_ms", "wind ", "m/s"),
        ("wind_from_deg", "from ", "deg"),
    )
    groups: dict[bool, list[str]] = {}
    for name, word, unit in values:
        value = getattr(entry, name)
        if value is not None:
            text = word + shown(value, unit, units)
            groups.setdefault(name in entry.estimated, []).append(text)
    parts = [", ".join(groups[False])] if False in groups else []
    if True in groups:
        parts.append(f"{', '.join(groups[True])} (estimated from {entry.weather_source})")
    return "; ".join(parts)
