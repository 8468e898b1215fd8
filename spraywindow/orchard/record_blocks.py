"""What the names in an entry mean at its site: the blocks done, their share of the round."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from zoneinfo import ZoneInfo

from spraywindow.errors import InputError, describe, one_line
from spraywindow.orchard.block_states import season_start
from spraywindow.orchard.record_fields import Entry
from spraywindow.orchard.site import Site
from spraywindow.orchard.site_problems import nearest
from spraywindow.orchard.site_tables import Block


def share_of_blocks(site: Site, names: Sequence[str], material: str, day: dt.date) -> float:
    """Give the share of a round that lies in some blocks of the site, by their trees.

    Parameters
    ----------
    site : Site
    names : sequence of str
        Blocks done; none: all of them.
    material : str
    day : date
        Local. Blocks whose buds were past the material's last stage by then have no part in
        the round, unless they are named.

    Raises
    ------
    InputError
        If the site has no block of a name; all of them at once.
    """
    known = [block.name for block in site.blocks]
    problems = [
        describe("no such block", where="blocks", expected="of " + ", ".join(known), got=name,
                 cure=nearest(name, known) or 'for a part of a block give the share: "30 %"')
        for name in names
        if name not in known
    ]  # fmt: skip
    if problems:
        raise InputError(one_line(problems))
    trees = {
        block.name: block.trees
        for block in site.blocks
        if block.name in names or not _over(block, site, material, day)
    }
    return sum(trees[name] for name in set(names)) / sum(trees.values()) if names else 1.0


def _over(block: Block, site: Site, material: str, day: dt.date) -> bool:
    """Whether a block was seen past the last stage of a material, this season, by a day."""
    known, stage, seen = site.materials.get(material), block.stage, block.observed
    if known is None or stage is None or seen is None:
        return False
    return season_start(day, site) <= seen <= day and known.stops(stage)


def share_written(site: Site, given: Mapping[str, object], material: object) -> dict[str, object]:
    """The share that the blocks of an entry lead to, where nobody gave it by hand."""
    names, start = given.get("blocks"), given.get("start")
    if "share" in given or given.get("site", site.name) != site.name:
        return {}
    if not isinstance(names, tuple) or not isinstance(start, dt.datetime):
        return {}
    day = start.astimezone(ZoneInfo(site.place.timezone)).date()
    return {"share": share_of_blocks(site, names, str(material), day)}


def share_corrected(site: Site, old: Entry, changes: Mapping[str, object]) -> dict[str, object]:
    """The share that a correction of the blocks leads to; one that was given by hand stays."""
    if "blocks" not in changes or "share" in changes:
        return {}
    try:
        by_blocks = share_of_blocks(site, old.blocks, old.material, old.day)
    except InputError:  # rows that the site file does not name: the share was given beside them
        by_blocks = 1.0
    if old.share not in (1.0, by_blocks):
        return {}
    moved = {"start": old.start, **changes}
    return share_written(site, moved, changes.get("material", old.material))


def refuse_slip(site: Site, material: object) -> None:
    """Raise `InputError` for a material that is a slip of a known one; a new name may stand."""
    if not isinstance(material, str) or material in site.materials:
        return
    # a longer or shorter name may well be another material: sulfur, lime sulfur
    alike = [name for name in site.materials if abs(len(name) - len(material)) <= 1]
    hint = nearest(material, alike)
    if hint:
        raise InputError(
            describe("unknown material, named almost as a known one", where="material",
                     expected="one of " + ", ".join(site.materials), got=material,
                     cure=f'{hint} or add a table [materials."{material}"] to the site file')
        )  # fmt: skip


def strange_names(site: Site, entry: Entry) -> list[str]:
    """Say which names of an entry the site file does not know; they are recorded all the same."""
    known = [block.name for block in site.blocks]
    lines = []
    for name in entry.blocks:
        if name not in known:
            hint = nearest(name, known)
            line = f"block {name!r} is not in the site file ({', '.join(known)})"
            lines.append(f"{line}; {hint}" if hint else line)
    if entry.material not in site.program.materials:
        lines.append(
            f"{entry.material} is not in the program: no round of it, but days apart are kept"
        )
    return lines
