"""The answer of ``spraywindow feed`` as text that fits 80 columns."""

from __future__ import annotations

from spraywindow.days import day_words
from spraywindow.handbook import GROWN_TREE_NITROGEN_KG, Dose
from spraywindow.jobs.feed.advice import CAUTIONS, FeedingDay, FeedingRules, FeedingWindow
from spraywindow.jobs.feed.answer import BlockFeed, FeedAnswer, WaterDay
from spraywindow.show import (
    FEEDING,
    System,
    Words,
    amount_in,
    dose_words,
    figures,
    paragraph,
    rain_words,
    reason_words,
    source_line,
    table_text,
)

DEFERS = "The bag's label and the local rules on fertilizer override every number here."


def feed_text(answer: FeedAnswer) -> str:
    """The whole answer: verdict, who is left out, warnings, doses, days, ground, cautions."""
    parts = ["\n".join(paragraph(line) for line in _head(answer))]
    if answer.blocks:
        parts.append(_doses(answer))
    parts += _days(answer)
    if answer.ground is not None:
        parts.append(_ground(answer))
    foot = [f"Note: {note}." for note in answer.notes]
    foot.append(source_line(answer.source))
    parts.append("\n".join(paragraph(line) for line in foot))
    parts.append("\n".join(paragraph(f"! {line}") for line in feed_cautions(answer)))
    return "\n\n".join(parts)


def feed_cautions(answer: FeedAnswer) -> list[str]:
    """The cautions of the answer."""
    return [FEEDING, CAUTIONS[1], DEFERS] if answer.blocks else [
        "Compost and mulch stay off the trunk: bark that stays wet rots."
    ]  # fmt: skip


def window_words(window: FeedingWindow) -> str:
    """Days of a window, and its best day."""
    if window.start == window.stop:
        days = day_words(window.start)
    else:
        days = f"{day_words(window.start)} to {day_words(window.stop)}"
    if window.light_rain:
        best = "" if window.start == window.stop else f", best {day_words(window.best)}"
        return f"{days}{best} (light rain follows)"
    return days


def block_reason(block: BlockFeed, system: System) -> str:
    """Why a block is not fed on any of the days: its season first, then its first day's reason."""
    if block.reason:
        return reason_words(block.reason, system)
    days = [day for day in block.advice.days if day.verdict == block.verdict]
    if not days:
        return "no working hours are left in the weather that is known"
    return reason_words(days[0].reason, system)


def _head(answer: FeedAnswer) -> list[str]:
    name, system = answer.site.name, answer.site.units
    if not answer.blocks:
        return [f"{name}: compost and mulch only; the site file has no table [feeding]."]
    fed = [block for block in answer.blocks if block.verdict == "go"]
    if fed:
        window = answer.window
        assert window is not None  # a block that is go has a window
        names = ", ".join(block.block.name for block in fed)
        lines = [f"{name}: go, feeding: {window_words(window)}; {names}."]
        left_out = [block for block in answer.blocks if block.verdict != "go"]
    else:
        first = next(block for block in answer.blocks if block.verdict == answer.verdict)
        lines = [f"{name}: {answer.verdict}, feeding: {block_reason(first, system)}."]
        reason = block_reason(first, system)
        left_out = [b for b in answer.blocks if block_reason(b, system) != reason]
    lines += [
        f"{'Not' if block.verdict == 'no-go' else 'Not known for'} {block.block.name}: "
        f"{block_reason(block, system)}."
        for block in left_out
    ]
    return lines + [f"Check: {warning}." for warning in feed_warnings(answer)]


def feed_warnings(answer: FeedAnswer) -> list[str]:
    """Warnings of all blocks, each once, with the blocks that it is for."""
    found: dict[str, list[str]] = {}
    for block in answer.blocks:
        for warning in (*block.warnings, *block.advice.nitrogen.warnings):
            found.setdefault(reason_words(warning, answer.site.units), []).append(block.block.name)
    lines = [
        text if len(names) == len(answer.blocks) else f"{', '.join(names)}: {text}"
        for text, names in found.items()
    ]
    needs = [layer.need for layer in answer.ground.layers] if answer.ground else []
    return lines + [
        reason_words(text, answer.site.units) for need in needs for text in need.warnings
    ]


def _doses(answer: FeedAnswer) -> str:
    feeding = answer.site.feeding
    assert feeding is not None  # there are blocks only with it
    annual, system = feeding.dose, answer.site.units
    rows = []
    lines = []
    for block in answer.blocks:
        plan = block.advice.plan
        part = plan.next_part if plan else None
        given = dose_words(plan.given, plan.measure) if plan else "-"
        rows.append([
            block.block.name, str(block.block.trees), given,
            dose_words(plan.left if plan else annual.amount, annual.measure),
            dose_words(part.amount, annual.measure) if part else "-",
            f"{part.number} of {len(plan.parts)}, {day_words(part.start)} to "
            f"{day_words(part.stop)}" if plan and part else "-",
        ])  # fmt: skip
        if part:
            lines.append(_to_bring(block, answer))
    kilograms = annual.to("kg", feeding.product)
    head = (
        f"Dose: {dose_words(annual.amount, annual.measure)} of {feeding.fertilizer} a tree and "
        f"year ({amount_in(kilograms, 'kg', system)})"
    )
    table = table_text(["block", "trees", "given", "left", "next part", "when"], rows,
                       right=(1, 2, 3, 4))  # fmt: skip
    return "\n".join([paragraph(head), table, *map(paragraph, [*lines, *_nitrogen(answer)])])


def _to_bring(block: BlockFeed, answer: FeedAnswer) -> str:
    feeding = answer.site.feeding
    assert feeding is not None  # there is a part only with it
    total = Dose((block.next_amount or 0.0) * block.block.trees, feeding.dose.measure)
    mass = amount_in(total.to("kg", feeding.product), "kg", answer.site.units)
    shown = dose_words(total.amount, total.measure)
    also = "" if shown == mass else f" ({mass})"
    return f"For the next part of {block.block.name} bring {shown}{also}."


def _bag_words(bag_l: float, system: System) -> str:
    return f"{figures(bag_l)} L" if system == "metric" else amount_in(bag_l / 1000, "m3", system)


def _nitrogen(answer: FeedAnswer) -> list[str]:
    system = answer.site.units
    check = answer.blocks[0].advice.nitrogen
    known = [b for b in answer.blocks if b.advice.nitrogen.most_kg is not None]
    parts = [f"Nitrogen: {amount_in(check.nitrogen_kg, 'kg', system)} a tree and year"]
    parts += [
        f"most for the trunks of {b.block.name} "
        f"{amount_in(b.advice.nitrogen.most_kg or 0.0, 'kg', system)}"
        for b in known
    ]
    if len(known) < len(answer.blocks):
        usual = amount_in(GROWN_TREE_NITROGEN_KG, "kg", system)
        parts.append(f"{'others: ' if known else ''}usual for a grown tree {usual}; "
                     "trunk_diameter of the block gives a closer check")  # fmt: skip
    return ["; ".join(parts) + "."]


def _days(answer: FeedAnswer) -> list[str]:
    """One table for blocks with the same days; none for blocks that the season refuses."""
    groups: dict[tuple[FeedingDay, ...], list[str]] = {}
    for block in answer.blocks:
        if block.verdict == "go" or (block.verdict == "unknown" and not block.unseen):
            groups.setdefault(block.advice.days, []).append(block.block.name)
    texts = []
    for days, names in groups.items():
        rows = [
            [
                day_words(day.day),
                day.verdict,
                rain_words(day.rain_low_mm, day.rain_high_mm, answer.site.units),
                day_reason(day, answer.site.units),
            ]
            for day in days
        ]
        head = paragraph(f"Day by day, {', '.join(names)}")
        texts.append(head + "\n" + table_text(["day", "answer", "rain in 48 h", "why"], rows,
                                              right=(2,)))  # fmt: skip
    return texts


def day_reason(day: FeedingDay, system: System) -> str:
    """Why a day is as it is; on a good one, whether the rain waters the dose in."""
    if day.verdict != "go":
        return reason_words(day.reason, system)
    if day.light_rain:
        return "light rain will water it in"
    if day.rain_high_mm < FeedingRules().light_rain_mm[0]:
        return "water it in, little rain is due"
    return "water it in if the rain does not"


def _ground(answer: FeedAnswer) -> str:
    ground, system = answer.ground, answer.site.units
    assert ground is not None  # the caller looks
    rows, lines = [], []
    for layer in ground.layers:
        need, bag = layer.need, layer.bag_l
        for each in layer.blocks:
            volume, block = each.per_tree_m3, each.block
            rows.append([
                need.layer.name, amount_in(need.layer.depth_m, "m", system), block.name,
                amount_in(volume, "m3", system), amount_in(volume * block.trees, "m3", system),
            ])  # fmt: skip
        bags = (
            "" if need.bags is None or bag is None
            else f", {need.bags} bags of {_bag_words(bag, system)}"
        )  # fmt: skip
        lines.append(f"{need.layer.name.capitalize()} in all: "
                     f"{amount_in(need.site_m3, 'm3', system)}{bags}.")  # fmt: skip
    first = ground.water_in[0]
    other = [day for day in ground.water_in if day.water.needed != first.water.needed]
    for day in (first, *other[:1]):
        dry = "no need to water it: " if day.water.needed is False else ""
        reason = reason_words(day.water.reason, system)
        lines.append(f"Laid on {day_words(day.date)}: {dry}{reason}.")
    table = table_text(["layer", "depth", "block", "a tree", "the block"], rows, right=(1, 3))
    return "\n".join(["From the trunk gap out to the drip line", table, *map(paragraph, lines)])


FEED_WORDS: Words = {
    (BlockFeed, "reason"): lambda block, answer: (
        None if block.verdict == "go" else block_reason(block, answer.site.units)
    ),
    (FeedingDay, "reason"): lambda day, answer: day_reason(day, answer.site.units),
    (WaterDay, "reason"): lambda day, answer: reason_words(day.water.reason, answer.site.units),
    (FeedAnswer, "warnings"): lambda answer, _: feed_warnings(answer),
    (FeedAnswer, "cautions"): lambda answer, _: feed_cautions(answer),
}
"""What the JSON says in words."""
