"""When trees wake, and what hangs on them: seen first, usual dates after."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from spraywindow.errors import InputError
from spraywindow.jobs.feed.advice import Wake
from spraywindow.jobs.feed.waking import Waking, leaf_stage, waking
from spraywindow.site.site import Site, site_of
from tests.year_site import FEEDING, tables

USUAL = {"dose": "4 cups", "nitrogen": "10 %", "usual_flowering": "1 Mar"}


def site(**changes: Any) -> Site:
    return site_of(tables(**changes))


def woken(today: date, **changes: Any) -> Waking:
    the = site(**changes)
    return waking(the.blocks[0], the, today)


def seen(stage: str, day: str) -> dict[str, Any]:
    return {"block": {"stage": stage, "observed": day}}


def test_flowering_that_was_seen_comes_before_the_usual_day() -> None:
    found = woken(date(2026, 3, 1), feeding=USUAL, **seen("full bloom", "2026-02-20")).wake
    assert found is not None
    assert (found.day, found.observed) == (date(2026, 2, 20), True)


def test_buds_seen_closed_in_the_last_days_hold_the_usual_day_back() -> None:
    found = woken(date(2026, 3, 6), feeding=USUAL, **seen("bud swell", "2026-03-05"))
    # from bud swell three weeks to the first flower (P)
    assert found.wake == Wake(date(2026, 3, 26), observed=False)


def test_buds_seen_long_ago_say_nothing_of_now() -> None:
    found = woken(date(2026, 4, 6), feeding=USUAL, **seen("dormant", "2026-01-05")).wake
    assert found is not None
    assert (found.day, found.observed) == (date(2026, 3, 1), False)


def test_leaf_fall_ends_the_year_of_a_flowering() -> None:
    feeding = FEEDING | {"flowering": "2026-03-04"}
    found = woken(date(2026, 11, 20), feeding=feeding, **seen("all leaves fallen", "2026-11-15"))
    assert found.wake is None


@pytest.mark.parametrize(
    ("today", "expected"),
    [
        (date(2026, 1, 5), date(2026, 3, 1)),
        (date(2026, 8, 20), date(2026, 3, 1)),
        (date(2026, 12, 10), date(2027, 3, 1)),
    ],
)
def test_the_usual_day_is_the_next_within_three_months_else_the_last(
    today: date, expected: date
) -> None:
    found = woken(today, feeding=USUAL).wake
    assert found is not None
    assert found.day == expected


def test_without_any_date_nothing_wakes_and_the_key_is_named() -> None:
    assert "usual_flowering" in str(woken(date(2026, 4, 1)).why)


def test_flowering_seen_in_the_future_is_refused() -> None:
    with pytest.raises(InputError, match=r"feeding\.flowering: a date in the future"):
        woken(date(2025, 3, 1), feeding=FEEDING)


@pytest.mark.parametrize(
    ("today", "stage"),
    [
        (date(2025, 3, 20), 65),
        (date(2025, 5, 1), 72),
        (date(2025, 7, 1), 78),
    ],
)
def test_flower_small_fruit_and_fruit_follow_a_flowering_seen(today: date, stage: int) -> None:
    the = site(feeding=FEEDING)
    assert leaf_stage(the.blocks[0], the, today) == stage


def test_near_a_usual_flowering_the_stage_is_not_known() -> None:
    the = site(feeding=USUAL)
    assert leaf_stage(the.blocks[0], the, date(2026, 3, 10)) is None
    assert leaf_stage(the.blocks[0], the, date(2026, 2, 1)) == 0
