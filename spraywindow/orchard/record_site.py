"""What the record says is done, put into the site that the other answers work with."""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Sequence

from spraywindow.orchard.block_states import season_start
from spraywindow.orchard.record_file import Record
from spraywindow.orchard.record_history import Round, rounds_done
from spraywindow.orchard.site import Site, with_done


def season_rounds(record: Record, site: Site, today: dt.date) -> list[Round]:
    """Give the site's rounds of the growing year up to a local day."""
    return rounds_done(record, site.name, season_start(today, site), today)


def with_rounds(site: Site, rounds: Sequence[Round]) -> tuple[Site, list[str]]:
    """Give the site with recorded rounds beside those of its file, and what is over a maximum.

    Parameters
    ----------
    site : Site
    rounds : sequence of Round
        From the record. A day that the file lists for a material already counts once.

    Returns
    -------
    Site
        A maximum that the record has passed is raised to what is done, so that nothing more
        is allowed and nothing that was done is denied.
    list of str
        A line for each maximum passed.
    """
    listed = {
        each.material: {*each.done, *(day for day, _ in each.partly_done)}
        for each in site.program_fields.rounds
    }
    done: dict[str, list[dt.date]] = defaultdict(list)
    partly: dict[str, list[tuple[dt.date, float]]] = defaultdict(list)
    for each in rounds:
        if each.date in listed.get(each.material, ()):
            continue
        if each.share >= 1 or each.material not in site.program.materials:
            done[each.material].append(each.date)
        else:
            partly[each.material].append((each.date, each.share))
    return _within_maxima(with_done(site, done, partly))


def _within_maxima(site: Site) -> tuple[Site, list[str]]:
    lines: list[str] = []
    rounds, copper = [], 0.0
    for each in site.program_fields.rounds:
        made = len(each.done) + math.fsum(share for _, share in each.partly_done)
        copper += made * each.copper_per_round_kg_ha
        most = each.season_maximum
        if most is not None and made > most:
            lines.append(
                f"{each.material}: {made:g} rounds are recorded, over the season maximum of {most}"
            )
            most = math.ceil(made)
        rounds.append(each.model_copy(update={"season_maximum": most}))
    most_copper = site.program_fields.copper_maximum_kg_ha
    if most_copper is not None and copper > most_copper + 1e-9:
        lines.append(
            f"metallic copper: {copper:.3g} kg/ha is recorded, over the season maximum of "
            f"{most_copper:g} kg/ha"
        )
        most_copper = copper
    if not lines:
        return site, []
    fields = site.program_fields.model_copy(
        update={"rounds": tuple(rounds), "copper_maximum_kg_ha": most_copper}
    )
    copy = site.model_copy(update={"program_fields": fields})
    copy.__dict__.pop("program", None)  # the cached program is the old one's
    return copy, lines
