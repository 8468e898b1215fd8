"""Spray, wait, or either: the one decision that every command shows.

Acting on the first morning is set against waiting, both in expected effective rounds: the chances
of the week's mornings, and beyond them what past winters offered, or mornings at large.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from spraywindow.jobs.slots.advice import CLOSE, Aim, Decision, Skip, Step
from spraywindow.jobs.slots.answer import DayAnswer, Evening
from spraywindow.program import (
    FEWEST_WINTERS,
    USUAL_CHANCE,
    Beyond,
    Moves,
    Terms,
    Worth,
    at_large,
    best_of,
    may_spray,
    program_moves,
    worth,
)
from spraywindow.site import (
    Site,
    block_need,
    in_season,
    last_day_of,
    main_block,
    main_flowering,
    season_leaf_fall,
    season_start,
)
from spraywindow.spray import working_day
from spraywindow.weather import Array


def decide(
    evenings: Sequence[Evening],
    beyond: Beyond,
    *,
    day: dt.date | None = None,
    only: str | None = None,
    served: float = 1.0,
) -> Decision:
    """Decide on one morning of a site.

    Parameters
    ----------
    evenings : sequence of Evening
        One for every material of the program; all of one site and one `now`. Others are no part
        of the decision.
    beyond : Beyond
        Of the same site and program.
    day : date, optional
        Default: that of the evenings' first answer.
    only : str, optional
        Nothing but this material may go out on that morning.
    served : float
        Share of the later mornings on which the crew is free for this site.

    Notes
    -----
    On that morning only a slot may be used; later mornings count by their chance, whether the
    forecast calls them go or not, since it may yet change. Chances are those that the dry hours
    follow too. A later morning that no forecast puts a figure on counts by what is usual then.
    """
    site, first = evenings[0].site, day or evenings[0].first.date
    program = site.program
    by_name = {each.material.name: each for each in evenings}
    names = program.materials
    owed = [name for name, number in zip(names, program.visits_allowed, strict=True) if number]
    asked = [name for name in owed if name in by_name and only in (None, name)]
    answers = [_answer(by_name[name], first) for name in asked]
    verdict = _verdict(answers)
    if not asked:
        said = _verdict([_answer(evenings[0], first)])
        return Decision(first, said, None, (), (), None, None, None, None, 0, beyond.basis, False)
    terms = Terms.usual(
        program, [by_name[n].material if n in by_name else site.material(n) for n in names],
        served=served,
    )  # fmt: skip
    known = _known(by_name, names, first, beyond)
    days = max((beyond.last - first).days + 1, len(known))
    moves = program_moves(program, days, terms)
    after = first + dt.timedelta(days=len(known))
    later, finish = beyond.values(after, program, moves, terms)
    may = [name in asked and _answer(by_name[name], first).verdict == "go" for name in names]
    tomorrow = np.where(may, known[0], np.nan)
    near = beyond.from_day(first)[1]
    near = None if near is None else _mean(_padded(near, len(known)))
    found = worth(
        np.concatenate([tomorrow[None], known[1:]])[..., None], later[:, None], moves, terms,
        None if near is None else near[..., None],
    )  # fmt: skip
    of_visits = found.of_visits(0, np.zeros(1, dtype=np.int64))[:, 0]
    waiting = float(of_visits[-1])
    wait_for = _aim(found, moves, by_name, first)
    none = len(moves.outcomes)
    left = _left(known[1:], beyond, after, [names.index(name) for name in asked])
    if not np.isfinite(of_visits[:-1]).any():
        verdict = "unknown" if verdict == "go" else verdict
        return Decision(
            first,
            verdict,
            None,
            (),
            (),
            None,
            waiting,
            wait_for,
            None,
            left,
            beyond.basis,
            plan=_path(found, moves, none, first),
        )
    visit = int(best_of(of_visits[:-1]))
    now = float(of_visits[visit])
    members = tuple(names[number] for number in moves.states.visits[visit])
    slots = tuple(slot for slot in (_answer(by_name[m], first).slot for m in members) if slot)
    advice = "either" if abs(now - waiting) < CLOSE else "spray" if now > waiting else "wait"
    chances = None if finish is None else _finish(found, finish, visit, served)
    skip = Skip(max(now - waiting, 0.0), *(chances or (None, None)))
    return Decision(
        first,
        "go",
        advice,
        members,
        slots,
        now,
        waiting,
        wait_for,
        skip,
        left,
        beyond.basis,
        plan=_path(found, moves, none if advice == "wait" else visit, first),
    )


def _answer(evening: Evening, day: dt.date) -> DayAnswer:
    if evening.today is not None and evening.today.date == day:
        return evening.today
    found = next((each for each in evening.answers if each.date == day), None)
    return found or evening.tomorrow


def _verdict(answers: Sequence[DayAnswer]) -> str:
    """Go where any is, else unknown where any is, else no-go."""
    said = {answer.verdict for answer in answers}
    return next((each for each in ("go", "unknown") if each in said), "no-go")


def _known(
    by_name: dict[str, Evening], names: Sequence[str], first: dt.date, beyond: Beyond
) -> Array:
    """Chances of the mornings that the forecast answers, [morning, material]."""
    told: list[dict[dt.date, DayAnswer]] = [
        {a.date: a for a in by_name[n].answers if a.date >= first} if n in by_name else {}
        for n in names
    ]
    dates = [day for each in told for day, a in each.items() if a.chance_dry is not None]
    mornings = max([(day - first).days for day in dates], default=0) + 1
    usual = _usual(_padded(beyond.from_day(first)[0], mornings))
    out = np.full((mornings, len(names)), np.nan)
    for number, each in enumerate(told):
        for row in range(mornings):
            answer = each.get(first + dt.timedelta(days=row))
            if answer is None:
                continue
            if answer.chance_dry is not None:
                out[row, number] = answer.chance_dry
            elif answer.verdict == "go":
                out[row, number] = USUAL_CHANCE
            elif answer.verdict == "unknown":
                out[row, number] = usual[row, number]
    return out


def _padded(values: Array, rows: int) -> Array:
    """So many rows of [day, material, column], NaN past the end."""
    short = rows - len(values)
    none = np.full((max(short, 0), *values.shape[1:]), np.nan)
    return np.concatenate([values[:rows], none])


def _mean(values: Array) -> Array:
    """Mean over the last axis of what is known there; 0 where nothing is."""
    known = np.isfinite(values)
    return np.asarray(np.nan_to_num(values).sum(axis=-1) / np.maximum(known.sum(axis=-1), 1))


def _usual(offers: Array) -> Array:
    """The mean chance of each day with the days that offer none at 0; NaN where none ever does."""
    mean = np.nan_to_num(offers).mean(axis=2)
    return np.where(np.isfinite(offers).any(axis=2), mean, np.nan)


def _aim(found: Worth, moves: Moves, by_name: dict[str, Evening], first: dt.date) -> Aim | None:
    """What waiting aims at."""
    (morning,), (visit,) = found.aims(np.zeros(1, dtype=np.int64))
    if morning < 0:
        return None
    date = first + dt.timedelta(days=int(morning))
    members = [moves.states.materials[number] for number in moves.states.visits[int(visit)]]
    answer = _answer(by_name[members[0]], date)
    start = end = answer.best_start
    if answer.slot is not None:
        start, end = answer.slot.start, answer.slot.end
    elif start is not None:
        end = start + pd.Timedelta(hours=float(np.ceil(by_name[members[0]].site.job_h)))
    chances = [_answer(by_name[name], date).chance_dry for name in members]
    told = [chance for chance in chances if chance is not None]
    least = min(told) if len(told) == len(members) else None
    return Aim(date, start, end, " + ".join(members), least, answer.verdict == "go")


def _path(found: Worth, moves: Moves, visit: int, first: dt.date) -> tuple[Step, ...]:
    """Days and materials from a visit on the first morning on, each the best by then."""
    out, state = [], np.zeros(1, dtype=np.int64)
    for morning in range(len(found.values) - 1):
        if morning:
            visit = int(best_of(found.of_visits(morning, state))[0])
        if visit == len(moves.outcomes):
            state = moves.rest[state]
            continue
        state = moves.outcomes[visit][0].after[state]
        day = first + dt.timedelta(days=morning)
        out += [Step(day, moves.states.materials[member]) for member in moves.states.visits[visit]]
    return tuple(out)


def _left(known: Array, beyond: Beyond, after: dt.date, columns: Sequence[int]) -> int:
    """Mornings that are usable for any of the materials after the first one, as expected."""
    offers = beyond.from_day(after)[0][:, columns]
    later = np.isfinite(offers).any(axis=1).mean(axis=1).sum() if len(offers) else 0.0
    likely = np.nan_to_num(known[:, columns]).max(axis=1, initial=0.0)
    return round(float((likely >= 0.5).sum() + later))


def _finish(found: Worth, later: Array, visit: int, served: float) -> tuple[float, float]:
    """Chance to finish the program after a visit on the first morning, and after none."""
    chance = later[:, None]
    everyone = np.arange(found.moves.count)[:, None]
    for morning in range(len(found.values) - 2, 0, -1):
        chosen = best_of(found.of_visits(morning, everyone))
        idle = chance[found.moves.rest]
        chance = idle + served * (found.expected(morning, chosen, chance) - idle)
    went = np.full((found.moves.count, 1), visit)
    now = found.expected(0, went, chance)[0, 0]
    return float(now), float(chance[found.moves.rest[0], 0])


def beyond_at_large(site: Site, now: pd.Timestamp, share: float | None = None) -> Beyond:
    """What mornings at large offer a site from the day of `now` on.

    Parameters
    ----------
    site : Site
    now : Timestamp
        tz-aware.
    share : float, optional
        Of the later mornings that are usable [0-1]; default by material.
    """
    today = now.tz_convert(site.place.timezone).date()
    site = in_season(site, today)
    materials = [site.material(name) for name in site.program.materials]
    flowers = main_flowering(site, today)
    ends = {material.name: last_day_of(material, flowers) for material in materials}
    length = max((max(ends.values()) - today).days + 1, 1)
    days = pd.date_range(today, periods=length)
    work = np.array([working_day(day.date(), site.access).verdict == "go" for day in days])
    may = may_spray(days, site.program, ends) & work[:, None]
    return at_large(today, may, materials, share)


def beyond_winters(
    site: Site,
    winters: pd.DataFrame,
    now: pd.Timestamp,
    forecast: pd.DataFrame,
    *,
    progress: Callable[[int, int], None] | None = None,
) -> Beyond:
    """What past winters offer a site after the day of `now`; mornings at large where too few are.

    Parameters
    ----------
    site : Site
    winters : DataFrame
        Hourly record; what it holds from `now` on is not used.
    now : Timestamp
        tz-aware.
    forecast : DataFrame
        Hourly table that holds `now`.

    Raises
    ------
    InputError
        If the site file has no leaf fall, or the record no past winter.
    """
    from spraywindow.weather import check_hourly, known_at
    from spraywindow.winters import past_season, winters_beyond

    today = now.tz_convert(site.place.timezone).date()
    site = in_season(site, today)
    table = check_hourly(winters[winters.index < now.tz_convert("UTC").floor("h")])
    fall = season_leaf_fall(site, season_start(today, site))
    tomorrow = today + dt.timedelta(days=1)
    begun = tomorrow > fall
    _, need = block_need(main_block(site, today), site, today)
    season = past_season(
        table, site.place, site.program, {n: site.material(n) for n in site.program.materials},
        first=max(tomorrow, fall), need=replace(need, leaf_fall=fall), setting=site.setting,
        access=site.access, duration_h=site.job_h,
        forecast=known_at(forecast, now) if begun else None,
    )  # fmt: skip
    if len(season.labels) < FEWEST_WINTERS:
        return beyond_at_large(site, now)
    return winters_beyond(season, table, site.place, progress=progress)
