"""What the record says is done, put into the site that the other answers work with."""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Sequence

from spraywindow.orchard.block_states import season_start
from spraywindow.orchard.record_file import Record
from spraywindow.orchard.record_history import EXACT, Round, rounds_done
from spraywindow.orchard.site import Site, with_done
from spraywindow.orchard.site_tables import RoundFields


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
        A line for each maximum that the growing year of the rounds has passed.
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
    first = season_start(max((each.date for each in rounds), default=dt.date.max), site)
    return _within_maxima(with_done(site, done, partly), first)


def _made(rounds: RoundFields, first: dt.date) -> float:
    """Rounds made from a day on."""
    parts = math.fsum(share for day, share in rounds.partly_done if day >= first)
    return round(sum(day >= first for day in rounds.done) + parts, EXACT)


def _within_maxima(site: Site, first: dt.date) -> tuple[Site, list[str]]:
    """Raise maxima that all the rounds have passed; tell of those passed since a day."""
    lines: list[str] = []
    rounds, copper, copper_now = [], 0.0, 0.0
    for each in site.program_fields.rounds:
        made, now = _made(each, dt.date.min), _made(each, first)
        copper += made * each.copper_per_round_kg_ha
        copper_now += now * each.copper_per_round_kg_ha
        most = each.season_maximum
        if most is not None and now > most:
            lines.append(
                f"{each.material}: {now:g} rounds are recorded, over the season maximum of {most}"
            )
        most = most if most is None else max(most, math.ceil(made))
        rounds.append(each.model_copy(update={"season_maximum": most}))
    most_copper = site.program_fields.copper_maximum_kg_ha
    if most_copper is not None and copper_now > most_copper + 1e-9:
        lines.append(
            f"metallic copper: {copper_now:.3g} kg/ha is recorded, over the season maximum of "
            f"{most_copper:g} kg/ha"
        )
    if most_copper is not None:
        most_copper = max(most_copper, copper)
    fields = site.program_fields.model_copy(
        update={"rounds": tuple(rounds), "copper_maximum_kg_ha": most_copper}
    )
    copy = site.model_copy(update={"program_fields": fields})
    copy.__dict__.pop("program", None)  # the cached program is the old one's
    return copy, lines
