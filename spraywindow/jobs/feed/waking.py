"""When a block's trees wake, and what is on them later: from what was seen, else usual dates."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from spraywindow.days import next_date
from spraywindow.errors import InputError
from spraywindow.jobs.feed.advice import Wake
from spraywindow.reasons import Reason
from spraywindow.site import Block, Site, flowering, season_start
from spraywindow.trees import stage_words

FRESH_D = 7
"""A stage seen within so many days is believed before any date."""
YEAR_D = 270
"""Days from flowering in which it counts as this year's; P: nine months, then trees are bare."""
USUAL_SPREAD_D = 14
"""How far flowering may stray from its usual day; P: common practice, no source."""
FLOWER_D, SMALL_FRUIT_D = 28, 90
"""Days from the first open flower to petal fall, and to half-grown fruit; P."""
IN_FLOWER, SMALL_FRUIT, GROWN_FRUIT, BARE = 65, 72, 78, 0


@dataclass(frozen=True)
class Waking:
    """Flowering of a block as it is known today; `why` says why it is not, or is put off."""

    wake: Wake | None
    why: Reason | None = None


def waking(block: Block, site: Site, today: dt.date) -> Waking:
    """Tell when a block flowered or will: seen, else the usual day, unless the buds say no.

    Parameters
    ----------
    block : Block
    site : Site
        Its `[feeding]` may give `flowering`; what is not seen is as `flowering` has it.
    today : datetime.date

    Raises
    ------
    InputError
        If `feeding.flowering` lies in the future.
    """
    feeding = site.feeding
    told = feeding.flowering if feeding else None
    if told is not None and told > today:
        raise InputError(
            "a date in the future",
            where="feeding.flowering",
            expected=f"at most {today}",
            got=str(told),
        )
    seen = [told] if told is not None and _this_year(told, today) else []
    stage, observed = block.stage, block.observed
    if stage is not None and observed is not None and _this_year(observed, today):
        if 60 <= stage < 90:
            seen.append(observed)
        elif seen and observed > seen[0]:
            return Waking(None, Reason("{}, seen on {}", (stage_words(stage), observed)))
        elif (today - observed).days <= FRESH_D:
            return _not_yet(stage, observed, _expected(block, site, today), today)
    if seen:
        return Waking(Wake(min(seen), observed=True))
    expected = _expected(block, site, today)
    if expected is None:
        return Waking(None, Reason("no flowering is seen, and [feeding] gives no usual_flowering"))
    return Waking(Wake(expected, observed=False))


def leaf_stage(block: Block, site: Site, today: dt.date) -> int | None:
    """Give the stage that matters for washing, as a BBCH code; None where it is not known."""
    observed = block.observed
    if observed is not None and 0 <= (today - observed).days <= FRESH_D:
        return block.stage
    wake = waking(block, site, today).wake
    if wake is None:
        return None
    age = (today - wake.day).days
    spread = 0 if wake.observed else USUAL_SPREAD_D
    if age < -spread:
        return BARE
    if age < FLOWER_D + spread:
        return IN_FLOWER if wake.observed else None
    until = site.hosing.small_fruit_until
    if until is None:
        return SMALL_FRUIT if age < SMALL_FRUIT_D + spread else GROWN_FRUIT
    last = next_date(until, wake.day + dt.timedelta(days=1))
    return SMALL_FRUIT if today <= last else GROWN_FRUIT


def _this_year(day: dt.date, today: dt.date) -> bool:
    return 0 <= (today - day).days < YEAR_D


def _not_yet(stage: int, observed: dt.date, usual: dt.date | None, today: dt.date) -> Waking:
    if usual is not None and usual > today:
        return Waking(Wake(usual, observed=False))
    return Waking(None, Reason("{} when last seen, on {}", (stage_words(stage), observed)))


def _expected(block: Block, site: Site, today: dt.date) -> dt.date | None:
    """The flowering that is next within three months, else the last one; None if assumed."""
    horizon = today + dt.timedelta(days=365 - YEAR_D)
    start = season_start(today, site)
    found = flowering(block, site, today)
    if found.day > horizon:
        found = flowering(block, site, start - dt.timedelta(days=1))
    elif season_start(horizon, site) != start:
        coming = flowering(block, site, horizon)
        found = coming if coming.day <= horizon else found
    return None if found.assumed and block.name not in site.flowers else found.day
