"""The answers of ``feed`` and ``hose`` as JSON: stable keys, null for unknown."""

from __future__ import annotations

import datetime as dt
from typing import Any

from spraywindow.orchard.feed_site import BlockFeed, FeedAnswer, Ground
from spraywindow.orchard.feeding import FeedingWindow
from spraywindow.orchard.hose_site import BlockHose, HoseAnswer
from spraywindow.output.feed_text import block_reason as feed_reason
from spraywindow.output.feed_text import day_reason, feed_cautions, feed_warnings
from spraywindow.output.hose_text import block_reason as hose_reason
from spraywindow.output.hose_text import hose_cautions
from spraywindow.output.json import number, plain
from spraywindow.output.year_words import reader_words


def feed_answer(answer: FeedAnswer) -> dict[str, Any]:
    """The answer of ``spraywindow feed``; keys as in DEVELOPERS.md."""
    feeding = answer.site.feeding
    return {
        "site": answer.site.name,
        "now": plain(answer.now),
        "verdict": answer.verdict if answer.blocks else None,
        "window": _window(answer.window) if answer.window else None,
        "source": plain(answer.source),
        "fertilizer": feeding.fertilizer if feeding else None,
        "measure": feeding.dose.measure if feeding else None,
        "dose_per_tree": number(feeding.dose.amount) if feeding else None,
        "dose_kg_per_tree": number(feeding.dose.to("kg", feeding.product)) if feeding else None,
        "blocks": [_feed_block(block, answer) for block in answer.blocks],
        "ground": _ground(answer, answer.ground) if answer.ground else None,
        "warnings": feed_warnings(answer),
        "cautions": feed_cautions(answer),
    }


def hose_answer(answer: HoseAnswer) -> dict[str, Any]:
    """The answer of ``spraywindow hose``; keys as in DEVELOPERS.md."""
    return {
        "site": answer.site.name,
        "now": plain(answer.now),
        "verdict": answer.verdict,
        "source": plain(answer.source),
        "every_days": answer.rules.dust_days,
        "washing_rain_mm": answer.rules.washing_rain_mm,
        "film_mm": number(answer.rules.film_mm),
        "start_hour": answer.rules.start_hour,
        "done_hour": answer.rules.done_hour,
        "evening_hour": answer.rules.evening_hour,
        "blocks": [_hose_block(block, answer) for block in answer.blocks],
        "cautions": hose_cautions(),
    }


def day(date: dt.date | None) -> str | None:
    """ISO 8601 date; None stays None."""
    return None if date is None else date.isoformat()


def _window(window: FeedingWindow) -> dict[str, Any]:
    return {
        "start": day(window.start),
        "stop": day(window.stop),
        "best": day(window.best),
        "light_rain": window.light_rain,
    }


def _feed_block(block: BlockFeed, answer: FeedAnswer) -> dict[str, Any]:
    advice, system = block.advice, answer.site.units
    plan = advice.plan
    most = advice.nitrogen.most_kg
    return {
        "name": block.block.name,
        "trees": block.block.trees,
        "verdict": block.verdict,
        "state": advice.state,
        "reason": None if block.verdict == "go" else feed_reason(block, system),
        "flowering": day(block.wake.day if block.wake else None),
        "flowering_observed": block.wake.observed if block.wake else None,
        "last_day": day(advice.last_day),
        "given": number(plan.given) if plan else None,
        "left": number(plan.left) if plan else None,
        "next_amount": number(block.next_amount) if plan else None,
        "parts": [
            {
                "number": part.number,
                "start": day(part.start),
                "stop": day(part.stop),
                "amount": number(part.amount),
                "given": part.given,
            }
            for part in (plan.parts if plan else ())
        ],
        "nitrogen_kg": number(advice.nitrogen.nitrogen_kg),
        "nitrogen_most_kg": None if most is None else number(most),
        "windows": [_window(window) for window in block.windows],
        "days": [
            {
                "date": day(each.day),
                "verdict": each.verdict,
                "rain_low_mm": number(each.rain_low_mm, 2),
                "rain_high_mm": number(each.rain_high_mm, 2),
                "light_rain": each.light_rain,
                "reason": day_reason(each, system),
            }
            for each in advice.days
        ],
    }


def _ground(answer: FeedAnswer, ground: Ground) -> dict[str, Any]:
    fields, names = answer.site.ground, [block.name for block in answer.site.blocks]
    return {
        "layers": [
            {
                "name": need.layer.name,
                "depth_m": number(need.layer.depth_m),
                "blocks": [
                    {"name": name, "per_tree_m3": number(volume)}
                    for name, volume in zip(names, need.per_tree_m3, strict=True)
                ],
                "site_m3": number(need.site_m3),
                "bag_l": number(fields.bag) if fields and fields.bag else None,
                "bags": need.bags,
            }
            for need in ground.layers
        ],
        "water_in": [
            {
                "date": day(date),
                "needed": water.needed,
                "reason": reader_words(water.reason, answer.site.units),
            }
            for date, water in ground.water
        ],
    }


def _hose_block(block: BlockHose, answer: HoseAnswer) -> dict[str, Any]:
    system = answer.site.units
    return {
        "name": block.block.name,
        "verdict": block.verdict,
        "reason": None if block.verdict == "go" else hose_reason(block, system),
        "stage": block.stage_bbch,
        "first": day(block.first.day if block.first else None),
        "days": [
            {
                "date": day(each.day),
                "verdict": each.verdict,
                "jet": each.jet,
                "drying_low_mm": number(each.drying_low_mm, 2),
                "drying_high_mm": number(each.drying_high_mm, 2),
                "reason": reader_words(each.reason, system) or None,
            }
            for each in block.days
        ],
    }
