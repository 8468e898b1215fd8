"""What the record says is done, put into the site that the other answers work with."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence

from spraywindow.record.file import Kept
from spraywindow.record.record import Round, rounds_done
from spraywindow.site import Site, growing_year, season_start, with_done


def season_rounds(rows: Sequence[Kept], site: Site, today: dt.date) -> list[Round]:
    """Give the rounds of the growing year up to a local day, of the site's entries that hold."""
    return rounds_done(rows, season_start(today, site), today)


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
    list of str
        A line for each maximum that the growing year of the rounds has passed: then nothing more
        is allowed, and nothing that was done is denied.
    """
    listed = {entry.material: entry.days_done for entry in site.program.entries}
    done: dict[str, list[dt.date]] = defaultdict(list)
    partly: dict[str, list[tuple[dt.date, float]]] = defaultdict(list)
    failed = {
        name: [(each.date, each.failed) for each in rounds if each.material == name and each.failed]
        for name in listed
    }
    for each in rounds:
        if each.date in listed.get(each.material, ()):
            continue
        if each.share >= 1 or each.material not in listed:
            done[each.material].append(each.date)
        else:
            partly[each.material].append((each.date, each.share))
    both = with_done(site, done, partly, failed)
    if not rounds:
        return both, []
    year = growing_year(max(each.date for each in rounds), site.place.latitude)
    return both, list(both.program.done_within(*year).beyond_maxima)
