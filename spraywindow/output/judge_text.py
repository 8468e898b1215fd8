"""Advice that was given beside the weather that came, as text that fits 80 columns."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from spraywindow.orchard.site import Site
from spraywindow.output.text import paragraph, table_text
from spraywindow.output.units import System, can_show, shown
from spraywindow.spray.catalogue import general_material
from spraywindow.weather.hourly import COLUMNS

_HELD = {True: "yes", False: "no", None: "unknown"}


def judge_text(answer: dict[str, Any], site: Site) -> str:
    """How many go answers held; then the receipts beside the weather that came."""
    rows = [_row(each, site) for each in answer["receipts"]]
    foot = [
        "Held: every hour advised was within the hard limits of its receipt.",
        "Rain: in the 24 / 48 / 72 h after the hours advised; + is that or more.",
    ]
    lacking = sorted({name for each in answer["receipts"] for name in each.get("not_judged", ())})
    if lacking:
        foot.append(f"Not told by the weather that came: {', '.join(lacking)}.")
    foot += [
        f"Came less forecast, {COLUMNS[name].meaning}: mean "
        f"{_difference(each['mean'], name, site.units)}, spread "
        f"{_difference(each['spread'], name, site.units)}, {each['n']} hours."
        for name, each in answer["errors"].items()
    ]
    return "\n\n".join(
        [
            paragraph(_first_line(answer)),
            table_text(["held", "advised", "material", "what came"], rows),
            "\n".join(map(paragraph, foot)),
        ]
    )


def _first_line(answer: dict[str, Any]) -> str:
    go = answer["go"]
    if not go["judged"]:
        return f"{answer['site']}: no go answer can be judged yet."
    return (
        f"{answer['site']}: {go['held']} of {go['judged']} go answers held "
        f"({100 * go['share']:.0f} %, 95 % interval {100 * go['low']:.0f}-"
        f"{100 * go['high']:.0f} %)."
    )


def _row(each: dict[str, Any], site: Site) -> list[str]:
    verdict, material = str(each["verdict"]), str(each["material"])
    name = each["of"] if each["of"].isdecimal() else Path(each["of"]).name
    named = f"(entry {name})" if name.isdecimal() else f"({name})"
    if not each["judged"]:
        other = each["site"] != site.name
        what = f"of another site, {each['site']}" if other else f"{verdict}: no hours advised"
        return ["-", str(each["date"] or "?"), material, f"{what} {named}"]
    start, end = (dt.datetime.fromisoformat(each[key]) for key in ("start", "end"))
    held = _HELD[each["held"]] if verdict == "go" else verdict
    low = each["temp_min_c"]["24"]
    parts = [_words(each["broken_by"], material, site)] if each["broken_by"] else []
    parts.append(f"rain {_rains(each['rain_mm'], site.units)}")
    if low is not None:
        parts.append(f"lowest {shown(low, 'degC', site.units)}")
    told = f"{', '.join(parts)} {named}"
    return [held, f"{start:%d %b} {start:%H:%M}-{end:%H:%M}", material, told]


def _words(name: str, material: str, site: Site) -> str:
    """Growers' words for the limit that stopped an hour, else its name."""
    known = site.materials.get(material) or general_material(material)
    return next((limit.words for limit in known.limits if limit.name == name), name)


def _difference(value: float, column: str, units: System) -> str:
    unit = "K" if COLUMNS[column].unit == "degC" else COLUMNS[column].unit
    return shown(value, unit, units) if can_show(unit) else f"{value:.3g} {unit}"


def _rains(rain_mm: Mapping[str, Sequence[float | None]], units: System) -> str:
    """Rain of the windows, the unit once: "0.0 / 3.1+ / 3.1+ mm"."""
    texts = []
    for least, most in rain_mm.values():
        low, unit = shown(least or 0.0, "mm", units).split()
        if most is None:
            low += "+"
        elif not math.isclose(most, least or 0.0):
            low += f"-{shown(most, 'mm', units).split()[0]}"
        texts.append(low)
    return f"{' / '.join(texts)} {unit}"
