"""The rounds ahead of each material, block by block: the rest of one begun, then whole ones."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from spraywindow.orchard.mix_done import shares_of
from spraywindow.orchard.record_fields import Entry as Recorded
from spraywindow.orchard.site import Site
from spraywindow.season.entry import Entry
from spraywindow.season.program import Program

HAD_SHARE = 0.99
"""A share from which on a block has had its round: shares are typed in whole percents."""


@dataclass(frozen=True)
class RoundsAhead:
    """What each block still gets of a material: block to share, for each round.

    `next` is the round to make next, `owed` all that the season still wants, `next` first where
    it is one of them. `share` is what is left of a round begun, of the whole site's; 1 where
    the next round is a whole one. `had` names blocks that have had their part of one begun.
    """

    next: Mapping[str, float]
    owed: tuple[Mapping[str, float], ...]
    share: float = 1.0
    had: frozenset[str] = frozenset()


def rounds_ahead(
    site: Site,
    season: Program,
    material: str,
    recorded: Sequence[Recorded],
    blocks: Sequence[str],
    chosen: Collection[str] | None = None,
) -> RoundsAhead:
    """Give the rounds of a material that are still to make.

    Parameters
    ----------
    site : Site
    season : Program
        As of this season.
    material : str
    recorded : sequence of Entry
        The site's record; where it names blocks, they have had their part.
    blocks : sequence of str
        Blocks that may have the material.
    chosen : collection of str, optional
        Those of the next round; all by default.

    Notes
    -----
    The rest of a round begun goes to what those blocks have not had yet, by trees. Where all of
    them have had theirs, the rest is of trees that may not have it any more: the next round is
    a whole one.
    """
    whole = dict.fromkeys(blocks, 1.0)
    entry = next((entry for entry in season.entries if entry.material == material), None)
    owed = entry.visits_owed if entry else 0
    if entry is None or not entry.days_unfinished:
        return RoundsAhead(whole, (whole,) * owed)
    had = _had(site, entry, recorded)
    trees = {block.name: block.trees for block in site.blocks if block.name in blocks}
    here = [name for name in blocks if chosen is None or name in chosen]
    left = {name: 1.0 - had.get(name, 0.0) for name in here if had.get(name, 0.0) < HAD_SHARE}
    if not left:
        return RoundsAhead(whole, (whole,) * (owed - 1))
    share = entry.rounds_in(1)
    room = sum(trees[name] * part for name, part in left.items())
    fits = min(1.0, share * sum(trees.values()) / room)
    rest = {name: round(part * fits, 6) for name, part in left.items()}
    wanted = (rest, *(whole,) * (owed - 1)) if owed else ()
    return RoundsAhead(rest, wanted, share, frozenset(here) - frozenset(left))


def _had(site: Site, entry: Entry, recorded: Sequence[Recorded]) -> Mapping[str, float]:
    """What part of the round begun each block has had, as far as the record names blocks."""
    had: dict[str, float] = defaultdict(float)
    for each in recorded:
        if each.material == entry.material and each.day in entry.days_unfinished and each.blocks:
            for name, share in shares_of(site, each).items():
                had[name] += share
    return had
