"""The day's visits and the client book as JSON values with stable keys."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from spraywindow.jobs.slots import reason
from spraywindow.jobs.visits.answer import Choice, Visits
from spraywindow.jobs.visits.book import Book
from spraywindow.jobs.visits.route import Stop
from spraywindow.show import FEW_WINTERS, LABEL, SPRAYING, number, plain
from spraywindow.winters import Share

FEW = 10
RULE = (
    "Past winters as they came, without hindsight: on each day the crew serves up to {visits}, "
    "the most urgent first (rounds owed over the usable mornings that the other winters still "
    "had); equal ones in the order of the book. `season` plans a site's rounds further ahead and "
    "may finish more winters. Driving, tank mixes and unfinished rounds are left out."
)


def rule_words(book: Book) -> str:
    """The rule of the replay, in a sentence."""
    many = book.visits_a_day
    return RULE.format(visits=f"{many} sites" if many > 1 else "one site")


def visits_answer(visits: Visits, now: pd.Timestamp, driving: str) -> dict[str, Any]:
    """The plan of the day: stops in order, sites left out, how urgent each is."""
    return {
        "now": plain(now.tz_convert(visits.sites[0].place.timezone)),
        "date": visits.day.isoformat(),
        "stops": [
            _stop_answer(order, stop, visits)
            for order, stop in enumerate(visits.route.stops, start=1)
        ],
        "left_out": [{"site": name, "reason": reason} for name, reason in left_out_reasons(visits)],
        "choices": [_choice_answer(choice) for several in visits.choices for choice in several],
        "drive_min": number(visits.route.drive_min, 1),
        "worth": number(visits.route.worth, 4),
        "route": {"proven": visits.route.proven, "way": visits.route.way},
        "driving": driving,
        "cautions": visit_cautions(visits),
    }


def _stop_answer(order: int, stop: Stop, visits: Visits) -> dict[str, Any]:
    choice, slot = visits.chosen(stop.job)
    site = stop.job.site
    times = {
        name: plain(visits.at(getattr(stop, f"{name}_min"), site).round("min"))
        for name in ("leave", "arrive", "start", "end")
    }
    return {
        "order": order,
        "site": visits.sites[site].name,
        "material": choice.material,
        **times,
        "drive_min": number(stop.drive_min, 1),
        "slot": {"start": plain(slot.start), "end": plain(slot.end)},
        "urgency": number(choice.urgency.value),
        "chance": number(slot.chance, 3),
        "reason": urgency_words(choice),
    }


def _choice_answer(choice: Choice) -> dict[str, Any]:
    urgency, evening = choice.urgency, choice.evening
    return {
        "site": evening.site.name,
        "material": choice.material,
        "verdict": choice.answer.verdict,
        "reason": reason(choice.answer, evening),
        "owed": urgency.owed,
        "known_mornings": urgency.known,
        "later_days": urgency.later_days,
        "last_day": urgency.last_day.isoformat(),
        "last_day_assumed": urgency.assumed,
        "chances": number(urgency.chances, 2),
        "urgency": number(urgency.value),
    }


def urgency_words(choice: Choice) -> str:
    """Why a visit is urgent: what is owed, and how many usable mornings are left for it."""
    urgency = choice.urgency
    rounds = "1 round" if urgency.owed == 1 else f"{urgency.owed} rounds"
    mornings = "1 usable morning" if urgency.known == 1 else f"{urgency.known} usable mornings"
    later = urgency.later_days * urgency.usual_share
    return f"{rounds} owed, {mornings} known, about {later:.0f} more to be expected"


def left_out_reasons(visits: Visits) -> list[tuple[str, str]]:
    """Every site left out with why: the route's reason, else the weather's answer by material."""
    rows = [
        (visits.sites[site].name, why or _weather_reason(visits.choices[site]))
        for site, why in visits.left_out.items()
    ]
    return [*rows, *visits.unread]


def _weather_reason(choices: Sequence[Choice]) -> str:
    return "; ".join(
        f"{choice.material} {choice.answer.verdict}: {reason(choice.answer, choice.evening)}"
        for choice in choices
    )


def route_words(visits: Visits) -> str:
    """How good the round is, and how it was found."""
    route = visits.route
    if route.proven:
        return "exact, no round is better"
    many = len({choice.site for several in visits.choices for choice in several if choice.slots})
    return f"near the best, not proven, as {many} sites have open hours"


def visit_cautions(visits: Visits) -> list[str]:
    """The cautions of the materials taken, and the usual ones, each once."""
    lines: list[str] = []
    for stop in visits.route.stops:
        lines += visits.chosen(stop.job)[0].evening.material.cautions
    return list(dict.fromkeys([*lines, *SPRAYING, LABEL]))


def book_answer(book: Book, promise: float) -> dict[str, Any]:
    """Who can be promised what, and who would be dropped first."""
    return {
        "winters": list(book.winters),
        "left_out": dict(book.left_out),
        "visits_a_day": book.visits_a_day,
        "promise": promise,
        "clients": [
            {
                "site": each.client.name,
                "alone": share_answer(each.alone),
                "shared": share_answer(each.shared),
                "materials": [
                    {
                        "material": name,
                        "owed": int(owed),
                        "promised": sure,
                        "mean_rounds": number(float(made.mean()), 2),
                        "usable_mornings": number(float(usable), 1),
                    }
                    for name, owed, sure, made, usable in zip(
                        each.client.materials, each.client.owed, each.sure, each.rounds,
                        each.usable, strict=True,
                    )
                ],
            }
            for each in book.promises
        ],
        "drops": [
            {
                "site": name,
                "leaves": [{"site": rest, **share_answer(share)} for rest, share in left.items()],
            }
            for name, left in book.drops
        ],
        "rule": rule_words(book),
        "cautions": book_cautions(book),
    }  # fmt: skip


def share_answer(share: Share) -> dict[str, Any]:
    """A share of winters with its interval."""
    return {
        "share": number(share.share, 3),
        "low": number(share.low, 3),
        "high": number(share.high, 3),
        "n": share.n,
    }


def book_cautions(book: Book) -> list[str]:
    """What to mind about the shares."""
    return [FEW_WINTERS] if len(book.winters) < FEW else []
