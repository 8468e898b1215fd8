"""The answer of ``spraywindow mix`` as JSON: stable keys, null for unknown."""

from __future__ import annotations

from typing import Any

from spraywindow.orchard.mix_block import BlockMix
from spraywindow.orchard.mix_site import MixAnswer
from spraywindow.output.answers import number, stamp
from spraywindow.output.mix_text import mix_cautions, mix_warnings
from spraywindow.spray.slots import Slot


def mix_answer(answer: MixAnswer, slot: Slot | None = None) -> dict[str, Any]:
    """The answer of ``spraywindow mix``; keys as in DEVELOPERS.md."""
    rate, loads, time, calibration = (
        answer.mix.rate, answer.loads, answer.time, answer.calibration,
    )  # fmt: skip
    return {
        "site": answer.site.name,
        "now": stamp(answer.now),
        "material": answer.material,
        "product": rate.product,
        "product_unit": rate.base,
        "rate_per_l": number(rate.per_litre, 6),
        "share": number(answer.share),
        "spray_l": number(loads.total_l, 2),
        "product_total": number(answer.mix.total),
        "blocks": [_block(each, answer) for each in answer.blocks],
        "left_out": [{"name": s.block.name, "why": s.why} for s in answer.left_out],
        "loads": {
            "count": loads.count,
            "tank_l": number(loads.tank_l, 2),
            "full": loads.full,
            "last_l": number(loads.last_l, 2),
            "product_per_full_load": number(answer.mix.per_full_load),
            "product_last_load": number(answer.mix.last_load),
        },
        "calibration": {
            "way": answer.sprayer.way,
            "flow_l_per_min": number(calibration.flow_l_per_min),
            "uneven": list(calibration.uneven),
            "speed_ms": _maybe(calibration.speed_ms),
            "given_l_per_m": _maybe(calibration.given_l_per_m),
            "wanted_l_per_m": _maybe(calibration.wanted_l_per_m),
            "given_l_per_ha": _maybe(calibration.given_l_per_ha),
            "wanted_l_per_ha": _maybe(calibration.wanted_l_per_ha),
            "better_speed_ms": _maybe(calibration.better_speed_ms),
            "better_flow_l_per_min": _maybe(calibration.better_flow_l_per_min),
        },
        "time": {
            "set_up_h": number(time.set_up_h),
            "walking_h": number(time.walking_h),
            "spraying_h": number(time.spraying_h),
            "refills_h": number(time.refills_h),
            "rinse_h": number(time.rinse_h),
            "slot_h": number(time.slot_h),
            "slot_whole_h": time.slot_whole_h,
            "on_site_h": number(time.on_site_h),
        },
        "next_slot": None if slot is None else {"start": stamp(slot.start), "end": stamp(slot.end)},
        "season": [
            {
                "block": total.block,
                "material": total.material,
                "rounds": number(total.rounds),
                "product": number(total.amount) if total.known else None,
                "product_unit": total.base,
                "product_per_ha": number(total.amount_per_ha) if total.known else None,
                "copper_kg_per_ha": number(total.copper_kg_per_ha) if total.known else None,
            }
            for total in answer.totals.season
        ],
        "limits": [
            {
                "block": row.block,
                "limit": row.limit.name,
                "years": row.limit.years,
                "since": None if row.limit.since is None else row.limit.since.isoformat(),
                "counts": row.counts,
                "most": number(row.most),
                "so_far": number(row.so_far),
                "with_job": number(row.with_job),
                "with_program": number(row.with_program),
                "over": row.over or None,
            }
            for row in answer.totals.limits
        ],
        "warnings": mix_warnings(answer),
        "notes": list(answer.totals.notes),
        "cautions": mix_cautions(answer),
    }


def _block(each: BlockMix, answer: MixAnswer) -> dict[str, Any]:
    return {
        "name": each.block.name,
        "trees": each.block.trees,
        "open": each.state.open,
        "why": each.state.why or None,
        "share": number(each.share),
        "per_tree_l": number(each.per_tree_l),
        "spray_l": number(each.total_l, 2),
        "product": number(each.total_l * answer.mix.rate.per_litre),
        "seconds_per_tree": _maybe(answer.calibration.seconds_per_tree.get(each.block.name)),
        "better_speed_ms": _maybe(answer.calibration.block_speeds_ms.get(each.block.name)),
        "area_m2": number(each.area_m2, 1),
        "area_guessed": each.area_guessed,
        "spray_l_per_ha": number(each.per_ha_l, 1),
    }


def _maybe(value: float | None) -> float | None:
    return None if value is None else number(value)
