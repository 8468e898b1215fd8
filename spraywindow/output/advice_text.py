"""Keep, inspect or redo a round, as text that fits 80 columns."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence

import pandas as pd

from spraywindow.orchard.round_advice import RoundAdvice, RoundsAdvice
from spraywindow.output.log_text import when
from spraywindow.output.notices import LABEL, Words
from spraywindow.output.text import paragraph
from spraywindow.output.units import System, shown
from spraywindow.output.words import day_words, source_line

_MM = re.compile(r"(\d+(?:\.\d+)?) mm\b")
_URGENT = {"redo": "redo", "inspect": "inspect", "unknown": "not known yet:", "keep": "keep"}
"""Verdicts, the most urgent first, in the words of the first line."""


def advice_text(answer: RoundsAdvice) -> str:
    """The verdicts; then a paragraph a round."""
    site, now, found = answer.site, answer.now, answer.rounds
    parts = [paragraph(f"{site.name}: {_first_line(found)}.")]
    for number, each in enumerate(found):
        # what follows from a round is said once, with the last of its parts
        ends = all(each.parts != other.parts for other in found[number + 1 :])
        parts.append(_round_text(each, now, site.units, ends=ends))
    until = f"By the weather up to {day_words(now.date())} {now:%H:%M}."
    foot = [until, source_line(answer.source), f"! {LABEL}"]
    return "\n\n".join([*parts, "\n".join(map(paragraph, foot))])


def _first_line(found: Sequence[RoundAdvice]) -> str:
    days: dict[tuple[str, str], list[str]] = {}
    for each in found:
        key = each.advice.verdict, each.kept.entry.material
        days.setdefault(key, []).append(day_words(each.kept.entry.day))
    told = [
        f"{words} {material} of {', '.join(its_days)}"
        for verdict, words in _URGENT.items()
        for (its_verdict, material), its_days in days.items()
        if its_verdict == verdict
    ]
    return "; ".join(told) or "no round yet this season"


def _round_text(each: RoundAdvice, now: pd.Timestamp, units: System, *, ends: bool) -> str:
    entry = each.kept.entry
    reason = in_units(each.advice.reason, units)
    lines = [
        paragraph(
            f"{each.advice.verdict}: {entry.material}, {when(entry)} (entry {each.kept.id}); "
            f"{reason}"
        )
    ]
    share = each.advice.residue_share
    if share is not None and " left" not in reason:
        low, high = (round(100 * value) for value in share)
        left = f"{high} %" if low == high else f"{low}-{high} %"
        lines.append(paragraph(f"  About {left} of the copper is left, by the rain since."))
    if each.until is not None:
        lines.append(paragraph(f"  Up to the next round, on {each.until.date()}."))
        return "\n".join(lines)
    reentry = entry.reentry_from
    if reentry is None:
        lines.append(paragraph("  Re-entry: interval not entered, see the label."))
    else:
        over = " (over)" if reentry <= now else ""
        lines.append(
            paragraph(f"  Re-entry: from {day_words(reentry.date())} {reentry:%H:%M}{over}.")
        )
    lines += [paragraph(f"  {line}") for line in _following(each, now)] if ends else []
    return "\n".join(lines)


def _following(each: RoundAdvice, now: pd.Timestamp) -> list[str]:
    """What may follow the round: its rest, the next one, other materials."""
    lines, material = [], each.kept.entry.material
    if each.open_share:
        rest = f"{100 * each.open_share:.0f} % of the round is still to be done"
        if each.rest_from is not None:
            today = now.tz_convert(each.kept.entry.timezone).date()
            days = day_words(each.rest_from)
            rest += ": the rest at once" if each.rest_from <= today else f": the rest from {days}"
        lines.append(f"{rest}.")
    if each.next_same is not None and each.next_other is not None:
        counted = ", counted from the rest" if each.rest_from is not None else ""
        lines.append(
            f"Next {material}: {_next_round(each.next_same, each.next_label)}{counted}. "
            f"Other materials: from {day_words(each.next_other)}."
        )
    return lines


def _next_round(program: dt.date, label: dt.date | None) -> str:
    """The later of what the program and the label allow."""
    if label is None:
        return f"from {day_words(program)} (program; the label's days are not entered)"
    later, whose = (label, "label") if label > program else (program, "program and label")
    return f"from {day_words(later)} ({whose})"


def in_units(text: str, units: System) -> str:
    """Write the millimetres of a sentence in the reader's system."""
    return _MM.sub(lambda found: shown(float(found[1]), "mm", units), text)


ADVICE_WORDS: Words = {(RoundsAdvice, "cautions"): lambda _, __: [LABEL]}
"""What the JSON says in words."""
