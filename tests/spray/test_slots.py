"""Runs, job length, access, what opens and closes a slot, ranking, and the answers per day."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import InputError
from spraywindow.place import Place
from spraywindow.spray.access import NO_ACCESS, Access, open_hours
from spraywindow.spray.catalogue import COPPER, OIL
from spraywindow.spray.hours import score_hours
from spraywindow.spray.slots import FAR_END, Slot, day_margins, find_slots, slots_and_days
from tests.weeks import NIGHT_OIL, NOON, PLACE, fortnight, random_weather

DAY = dt.date(2021, 1, 15)
ALL_DAY = Access(start_h=0, end_h=24)


def on(slots: list[Slot], day: dt.date = DAY) -> list[Slot]:
    return [slot for slot in slots if slot.start.date() == day]


def local(hour: int, day: dt.date = DAY) -> pd.Timestamp:
    return pd.Timestamp(day, tz="Europe/Athens") + pd.Timedelta(hours=hour)


def gusty(*rows: int) -> pd.DataFrame:
    """The perfect fortnight with gusts in some hours, local hours of the sixth day."""
    return fortnight(gust_ms={NOON - 12 + row: 20.0 for row in rows})


def test_a_day_of_go_hours_is_one_slot_within_daylight() -> None:
    # 15 January at 38 N, 23 E: sunrise 7:40, sunset 17:30 (pvlib).
    slots = find_slots(score_hours(fortnight(), PLACE, NIGHT_OIL))
    (slot,) = on(slots)
    assert (slot.start, slot.end) == (local(8), local(17))
    assert slot.duration_h == 9.0
    assert (slot.opens, slot.closes) == (NO_ACCESS, NO_ACCESS)
    assert (slot.margin, slot.chance, slot.material) == (1.0, 1.0, "oil")
    assert slot.best_start == local(8)


def test_what_opens_and_closes_a_slot_is_named() -> None:
    (slot,) = on(find_slots(score_hours(gusty(8, 9, 13, 14, 15, 16), PLACE, OIL)))
    assert (slot.start, slot.end) == (local(10), local(13))
    assert (slot.opens, slot.closes) == ("gusts", "gusts")
    # a run that the data cut off
    hours = score_hours(fortnight(), PLACE, COPPER).iloc[NOON : NOON + 3]
    (cut,) = find_slots(hours)
    assert (cut.opens, cut.closes) == (FAR_END, FAR_END)


@pytest.mark.parametrize(("job_h", "starts"), [(1, [8, 12, 16]), (2, [8, 12]), (2.5, [8]), (4, [])])
def test_runs_must_hold_the_whole_job(job_h: float, starts: list[int]) -> None:
    hours = score_hours(gusty(11, 14, 15), PLACE, COPPER)
    found = on(sorted(find_slots(hours, job_h), key=lambda slot: slot.start))
    assert [slot.start.hour for slot in found] == starts


@pytest.mark.parametrize("job_h", [0.0, -1.0, 24.5, float("nan")])
def test_an_impossible_job_length_is_refused(job_h: float) -> None:
    hours = score_hours(fortnight(), PLACE, OIL)
    for answer in (find_slots, slots_and_days, day_margins):
        with pytest.raises(InputError, match="job length out of range; expected more than 0 h"):
            answer(hours, job_h)


def test_the_best_start_has_the_greatest_least_margin() -> None:
    gusts = dict(enumerate([6.5, 6.5, 5.0, 4.0, 4.5, 6.0, 6.0, 6.0, 6.0], start=NOON - 4))
    hours = score_hours(fortnight(gust_ms=gusts, cloud=0.9), PLACE, OIL)
    (slot,) = on(find_slots(hours, 2.0))
    assert slot.best_start == local(11)
    # gusts: 15 mph is the limit, 5 mph the comfort width
    assert slot.margin == pytest.approx(min((15 - 4.5 / 0.44704) / 5, 1.0))
    (longer,) = on(find_slots(hours, 3.0))
    assert longer.best_start == local(10)
    assert longer.tightest == "gusts"


def test_access_hours_days_and_closed_dates() -> None:
    hours = score_hours(fortnight(), PLACE, NIGHT_OIL)
    (slot,) = on(find_slots(hours, access=Access(start_h=9.5, end_h=13)))
    assert (slot.start, slot.end) == (local(10), local(13))
    # a side left open is daylight's; the other may reach into the dark
    (early,) = on(find_slots(hours, access=Access(start_h=5)))
    assert (early.start, early.end) == (local(5), local(17))
    (late,) = on(find_slots(hours, access=Access(end_h=20)))
    assert (late.start, late.end) == (local(8), local(20))
    weekdays = find_slots(hours, access=Access(weekdays=frozenset({4})))
    assert {slot.start.date() for slot in weekdays} == {dt.date(2021, 1, 15)}  # a Friday
    closed = find_slots(hours, access=Access(closed=frozenset({DAY})))
    assert not on(closed)
    assert on(closed, DAY + dt.timedelta(days=1))
    answers = {
        day.date: day for day in slots_and_days(hours, access=Access(closed=frozenset({DAY})))[1]
    }
    assert (answers[DAY].verdict, answers[DAY].held_by) == ("no-go", NO_ACCESS)


def test_access_all_day_still_ends_at_midnight() -> None:
    slots = find_slots(score_hours(fortnight(), PLACE, NIGHT_OIL), access=ALL_DAY)
    (slot,) = on(slots)
    assert (slot.start, slot.end) == (local(0), local(24))


def test_a_half_hour_zone_works_whole_hours_inside_its_access() -> None:
    place = Place(28.6, 77.2, 200.0, "Asia/Kolkata")  # UTC+05:30
    hours = score_hours(fortnight(), place, OIL)
    slot = on(find_slots(hours, access=Access(start_h=9, end_h=12)))[0]
    assert (slot.start.strftime("%H:%M"), slot.end.strftime("%H:%M")) == ("09:30", "11:30")


def test_hours_already_begun_are_left_out() -> None:
    hours = score_hours(fortnight(), PLACE, OIL)
    now = local(12) + pd.Timedelta(minutes=10)
    slots = find_slots(hours, now=now)
    assert min(slot.start for slot in slots) == local(13)
    answers = slots_and_days(hours, now=now)[1]
    assert answers[0].date == DAY
    assert answers[0].start == local(13)
    assert slots_and_days(hours, now=local(23))[1][0].held_by == NO_ACCESS


def test_dry_hours_after_the_job_count_to_the_next_measurable_rain() -> None:
    table = fortnight(rain_mm={NOON + 100: 0.254, NOON + 60: 0.2})
    (slot,) = on(find_slots(score_hours(table, PLACE, OIL), access=Access(start_h=12, end_h=14)))
    assert slot.dry_h_after == 100 - 2
    gap = fortnight(rain_mm={NOON + 100: 9.0, NOON + 90: np.nan})
    (unknown,) = on(find_slots(score_hours(gap, PLACE, OIL), access=Access(start_h=12, end_h=14)))
    assert unknown.dry_h_after == 90 - 2


def test_slots_of_a_record_rank_by_margin_then_time() -> None:
    gusts = {row: 6.0 for row in range(NOON - 12, NOON + 12)}
    slots = find_slots(score_hours(fortnight(gust_ms=gusts), PLACE, OIL))
    assert slots == sorted(slots, key=lambda slot: (-slot.margin, slot.start))
    assert slots[-1].start.date() == DAY
    assert all(slot.chance == 1.0 for slot in slots)


def test_slots_of_a_forecast_rank_by_the_chance_that_they_hold() -> None:
    table = fortnight(cloud=0.9)
    table.attrs["forecast_from"] = table.index[NOON - 24]
    slots = find_slots(score_hours(table, PLACE, OIL), now=table.index[NOON - 24])
    chances = [slot.chance for slot in slots]
    assert chances == sorted(chances, reverse=True)
    assert slots[0].start.date() == DAY - dt.timedelta(days=1)
    # a soft limit lowers the margin of the nearer day, not its chance
    calm = fortnight(cloud=0.9, wind_ms={row: 1.0 for row in range(NOON - 36, NOON - 12)})
    calm.attrs = table.attrs
    ranked = find_slots(score_hours(calm, PLACE, OIL), now=table.index[NOON - 24])
    near, far = on(ranked, DAY - dt.timedelta(days=1))[0], on(ranked, DAY + dt.timedelta(days=2))[0]
    assert near.margin < far.margin
    assert ranked.index(near) < ranked.index(far)
    # rain that the limits allow makes a day less likely all the same
    soon = fortnight(rain_mm={NOON + 60: 1.0})
    soon.attrs = table.attrs
    risky = find_slots(score_hours(soon, PLACE, OIL), now=table.index[NOON - 24])
    assert on(risky)[0].chance < on(slots)[0].chance


def test_a_day_is_unknown_only_where_no_known_hour_forbids_it() -> None:
    def day(table: pd.DataFrame) -> tuple[str, str]:
        hours = score_hours(table, PLACE, OIL)
        answer = next(answer for answer in slots_and_days(hours)[1] if answer.date == DAY)
        return answer.verdict, answer.held_by

    rows = range(NOON - 12, NOON + 12)
    assert day(fortnight())[0] == "go"
    assert day(fortnight(gust_ms=dict.fromkeys(rows, np.nan))) == ("unknown", "gusts")
    assert day(fortnight(gust_ms=dict.fromkeys(rows, 20.0))) == ("no-go", "gusts")
    # a hair too gusty, but for two hours that nobody knows
    nearly = {row: np.nan if row in (NOON, NOON + 1) else 6.71 for row in rows}
    assert day(fortnight(gust_ms=nearly)) == ("unknown", "gusts")
    # every second hour gusty, the others unknown: no stretch of two hours is left
    mixed = {row: 20.0 if row % 2 else np.nan for row in rows}
    assert day(fortnight(gust_ms=mixed)) == ("no-go", "gusts")
    # go hours too few, unknown ones beside them
    some = {row: np.nan if row % 2 else 4.0 for row in rows}
    assert day(fortnight(gust_ms=some)) == ("unknown", "gusts")


def test_a_no_go_day_names_the_limit_nearest_to_letting_it_go() -> None:
    gusts = {row: 7.0 if row in (NOON, NOON + 1) else 30.0 for row in range(NOON - 12, NOON + 12)}
    hours = score_hours(fortnight(gust_ms=gusts), PLACE, OIL)
    answer = next(answer for answer in slots_and_days(hours)[1] if answer.date == DAY)
    assert (answer.verdict, answer.held_by, answer.start) == ("no-go", "gusts", local(12))
    assert answer.margin == pytest.approx((15 - 7.0 / 0.44704) / 5)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("access", [None, ALL_DAY, Access(start_h=9, weekdays=frozenset({0, 3}))])
def test_days_agree_with_the_slots(seed: int, access: Access | None) -> None:
    hours = score_hours(random_weather(seed, 300, 0.01), PLACE, COPPER)
    slots = find_slots(hours, 2.0, access=access)
    best: dict[dt.date, float] = {}
    for slot in slots:
        best[slot.start.date()] = max(slot.margin, best.get(slot.start.date(), -1.0))
    margins = day_margins(hours, 2.0, access=access)
    assert {stamp.date(): value for stamp, value in margins.dropna().items()} == best
    days = slots_and_days(hours, 2.0, access=access)[1]
    assert {day.date for day in days if day.verdict == "go"} == set(best)
    assert [day.date for day in days] == [stamp.date() for stamp in margins.index]
    assert all(day.margin == best[day.date] for day in days if day.verdict == "go")


@pytest.mark.parametrize("seed", range(4))
def test_slots_are_all_the_runs_there_are(seed: int) -> None:
    hours = score_hours(random_weather(seed, 300), PLACE, COPPER)
    usable = hours["go"].to_numpy() & open_hours(hours)
    runs, run = [], []
    for stamp, good in zip(hours.index.tz_convert("Europe/Athens"), usable, strict=True):
        if run and (not good or stamp.date() != run[0].date()):
            runs.append(run)
            run = []
        if good:
            run = [*run, stamp]
    expected = [(one[0], len(one)) for one in [*runs, run] if len(one) >= 2]
    found = sorted((slot.start, int(slot.duration_h)) for slot in find_slots(hours))
    assert found == expected


def test_a_frame_from_elsewhere_is_refused() -> None:
    with pytest.raises(ValueError, match="does not come from score_hours"):
        find_slots(fortnight().assign(go=True, margin=1.0))
