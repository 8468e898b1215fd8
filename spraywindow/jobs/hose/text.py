"""The answer of ``spraywindow hose`` as text that fits 80 columns."""

from __future__ import annotations

from spraywindow.days import clock_words, day_words
from spraywindow.jobs.hose.answer import (
    CAUTIONS,
    LAST_RAIN_UNKNOWN,
    BlockHose,
    HoseAnswer,
    HosingDay,
)
from spraywindow.reasons import Amount
from spraywindow.show import (
    System,
    Words,
    amount_words,
    paragraph,
    rain_words,
    reason_words,
    source_line,
    table_text,
)
from spraywindow.spray import TOO_EARLY

DEFERS = "Local rules on the use of water come first; keep the jet off electric fences and people."


def hose_text(answer: HoseAnswer) -> str:
    """The whole answer: verdict, blocks left out, mornings, cautions."""
    rules, system = answer.rules, answer.site.units
    parts = ["\n".join(paragraph(line) for line in _head(answer))]
    mornings = _days(answer)
    parts += mornings
    rule = (
        f"Every {rules.dust_days} days without a washing rain of "
        f"{amount_words(Amount(rules.washing_rain_mm, 'mm'), system)}; dry when "
        f"{amount_words(Amount(rules.film_mm, 'mm'), system)} can evaporate from "
        f"{clock_words(answer.done_hour)} to {clock_words(rules.evening_hour)}."
    )
    foot = [
        *([rule] if mornings else []),
        *(f"Note: {note}." for note in answer.notes),
        source_line(answer.source),
    ]
    parts.append("\n".join(paragraph(line) for line in foot))
    parts.append("\n".join(paragraph(f"! {line}") for line in hose_cautions()))
    return "\n\n".join(parts)


def hose_cautions() -> list[str]:
    """The cautions of the answer."""
    return [*CAUTIONS, DEFERS]


def block_reason(block: BlockHose, system: System) -> str:
    """Why a block is not washed on any of the mornings, and what would settle it."""
    first = next((day.reason for day in block.days if day.verdict == block.verdict), TOO_EARLY)
    reason = reason_words(first, system)
    if block.verdict != "unknown":
        return reason
    if block.stage_bbch is None:
        return reason + " (note the block's stage, or usual_flowering in [feeding])"
    if first == LAST_RAIN_UNKNOWN:
        return reason + " (last_wash or last_rain in [hosing])"
    return reason


def _head(answer: HoseAnswer) -> list[str]:
    name, system = answer.site.name, answer.site.units
    washed = [block for block in answer.blocks if block.verdict == "go"]
    hours = f"{clock_words(answer.start_hour)}-{clock_words(answer.done_hour)}"
    if washed:
        merged = _merged(washed, hours)
        left_out = [block for block in answer.blocks if block.verdict != "go"]
        return [f"{name}: {merged[0]}", *merged[1:], *_left_out(left_out, system)]
    first = next(block for block in answer.blocks if block.verdict == answer.verdict)
    reason = block_reason(first, system)
    left_out = [block for block in answer.blocks if block_reason(block, system) != reason]
    return [f"{name}: {answer.verdict}, washing: {reason}.", *_left_out(left_out, system)]


def _merged(washed: list[BlockHose], hours: str) -> list[str]:
    """One line for all blocks that share morning and jet."""
    found: dict[str, list[str]] = {}
    for block in washed:
        day = block.first
        assert day is not None  # a block that is go has a morning
        jet = "gentle jet, small fruit" if day.jet == "gentle" else "hard jet"
        words = f"go, washing {day_words(day.day)} {hours}, {jet}"
        found.setdefault(words, []).append(block.block.name)
    return [f"{words}: {', '.join(names)}." for words, names in found.items()]


def _left_out(blocks: list[BlockHose], system: System) -> list[str]:
    return [
        f"{'Not' if block.verdict == 'no-go' else 'Not known for'} {block.block.name}: "
        f"{block_reason(block, system)}."
        for block in blocks
    ]


def _days(answer: HoseAnswer) -> list[str]:
    groups: dict[tuple[HosingDay, ...], list[str]] = {}
    for block in answer.blocks:
        groups.setdefault(block.days, []).append(block.block.name)
    texts = []
    for days, names in groups.items():
        reasons = {day.reason for day in days}
        if len(reasons) == 1 and days and days[0].verdict != "go":
            continue  # said in the first lines; a table would repeat it
        rows = [
            [
                day_words(day.day),
                day.verdict,
                rain_words(day.drying_low_mm, day.drying_high_mm, answer.site.units),
                reason_words(day.reason, answer.site.units) or "dries before evening",
            ]
            for day in days
        ]
        head = paragraph(f"Mornings, {', '.join(names)}")
        texts.append(
            head + "\n" + table_text(["day", "answer", "can dry", "why"], rows, right=(2,))
        )
    return texts


HOSE_WORDS: Words = {
    (BlockHose, "reason"): lambda block, answer: (
        None if block.verdict == "go" else block_reason(block, answer.site.units)
    ),
    (HosingDay, "reason"): lambda day, answer: reason_words(day.reason, answer.site.units) or None,
    (HoseAnswer, "cautions"): lambda _, __: hose_cautions(),
}
"""What the JSON says in words."""
