"""Advice that was given beside the weather that came, as text that fits 80 columns."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from typing import Any

from spraywindow.output.text import paragraph, table_text
from spraywindow.output.units import System, shown


def judge_text(answer: dict[str, Any], units: System) -> str:
    """Receipts beside the weather that came."""
    rows = [_judged_row(each, units) for each in answer["receipts"]]
    head = ["of", "advised", "material", "answer", "rain 24/48/72 h", "lowest", "held"]
    parts = [
        "Advice given, and the weather that came",
        table_text(head, rows),
    ]
    go, foot = answer["go"], []
    if go["judged"]:
        foot.append(paragraph(
            f"Go answers that held (24 h dry, no frost): {go['held']} of {go['judged']} "
            f"({100 * go['share']:.0f} %, 95 % interval {100 * go['low']:.0f}-"
            f"{100 * go['high']:.0f} %)."
        ))  # fmt: skip
    else:
        foot.append("No go answer can be judged yet.")
    foot += [
        paragraph(f"Forecast less weather, {column}: mean {each['mean']:+g}, "
                  f"mean size {each['mean_absolute']:g}, {each['n']} hours.")
        for column, each in answer["errors"].items()
    ]  # fmt: skip
    return "\n\n".join([*parts, "\n".join(foot)])


def _judged_row(each: dict[str, Any], units: System) -> list[str]:
    material, verdict = str(each["material"]), str(each["verdict"])
    if not each["judged"]:
        return [each["of"], str(each["date"] or "?"), material, verdict, "no hours advised", "", ""]
    start, end = (dt.datetime.fromisoformat(each[key]) for key in ("start", "end"))
    rain = " / ".join(_rain(each["rain_mm"][key], units) for key in ("24", "48", "72"))
    low = each["temp_min_c"]["24"]
    held = {True: "yes", False: "no", None: "" if verdict != "go" else "unknown"}[each["held"]]
    return [
        each["of"],
        f"{start:%d %b} {start:%H:%M}-{end:%H:%M}",
        material,
        verdict,
        rain,
        "unknown" if low is None else shown(low, "degC", units),
        held,
    ]


def _rain(bounds: Sequence[float | None], units: System) -> str:
    least, most = bounds
    low = shown(least or 0.0, "mm", units)
    if most is None:
        return f"{low} or more"
    return low if math.isclose(most, least or 0.0) else f"{low} to {shown(most, 'mm', units)}"
