"""The dose, its parts and its nitrogen; sources named at each number."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spraywindow.errors import InputError
from spraywindow.handbook.fertilizer import (
    Dose,
    Fertilizer,
    Given,
    check_nitrogen,
    part_periods,
    plan_doses,
)
from spraywindow.units import convert, quantity

GRANULES = Fertilizer("10-10-10", 0.10)
WAKE = date(2021, 2, 20)


def test_four_cups_in_four_parts() -> None:
    # common practice: one cup four times a year = four cups
    plan = plan_doses(Dose(4.0, "cup"), GRANULES, (), wake=WAKE, last_day=date(2021, 8, 15),
                      today=WAKE, parts=4)  # fmt: skip
    assert [part.amount for part in plan.parts] == [1.0] * 4
    assert plan.parts[-1].stop == date(2021, 8, 15)


def test_six_monthly_parts_by_default() -> None:
    periods = part_periods(date(2021, 2, 20), date(2021, 8, 15))
    assert [start.month for start, _ in periods] == [2, 3, 4, 5, 6, 7]


@given(
    gifts=st.lists(st.tuples(st.integers(0, 170), st.floats(0.1, 1.0)), max_size=6),
    today=st.integers(0, 170),
)
def test_the_year_never_gets_more_than_its_dose(gifts: list[tuple[int, float]], today: int) -> None:
    wake, days = date(2021, 2, 20), pd.Timedelta(days=1)
    had = tuple(Given((pd.Timestamp(wake) + day * days).date(), Dose(cups, "cup"))
                for day, cups in gifts if day <= today)  # fmt: skip
    plan = plan_doses(Dose(4.0, "cup"), GRANULES, had, wake=wake, last_day=date(2021, 8, 15),
                      today=(pd.Timestamp(wake) + today * days).date())  # fmt: skip
    to_come = sum(part.amount for part in plan.parts)
    assert plan.given + to_come <= max(4.0, plan.given) + 1e-9
    assert all(part.amount == 0 or not part.given for part in plan.parts)


def test_odd_doses_are_warned_of() -> None:
    def warnings(cups: float, today: date, *given_: Given) -> str:
        plan = plan_doses(Dose(cups, "cup"), GRANULES, given_, wake=WAKE,
                          last_day=date(2021, 8, 15), today=today)  # fmt: skip
        return " | ".join(map(str, plan.warnings))

    assert "nothing to give" in warnings(0.0, WAKE)
    assert warnings(4.0, WAKE) == ""
    assert "catch up" in warnings(4.0, date(2021, 7, 25))
    gift = Given(date(2021, 3, 1), Dose(5.0, "cup"))
    assert "more than the year's 4" in warnings(4.0, date(2021, 3, 2), gift)
    early = Given(date(2021, 1, 10), Dose(1.0, "cup"))
    assert "before the trees woke: 2021-01-10" in warnings(4.0, WAKE, early)
    last = Given(date(2021, 8, 1), Dose(0.5, "cup"))
    assert "left over" in warnings(4.0, date(2021, 8, 2), last)
    hundred = check_nitrogen(Dose(100.0, "cup"), GRANULES)
    assert "usual of a grown tree" in str(hundred.warnings[0])
    assert hundred.nitrogen_kg == pytest.approx(100 * 0.5 * 0.45359237 * 0.1)  # not changed


def test_nitrogen_per_inch_of_trunk() -> None:
    # Colorado State: 1/8 lb per inch; 8 in take 1 lb = 10 lb of 10-10-10
    trunk = quantity("8 in", "m")
    check = check_nitrogen(Dose(10.0, "lb"), GRANULES, trunk_diameter_m=trunk, age_years=6)
    assert check.most_kg is not None
    assert convert(check.most_kg, "kg", "lb") == pytest.approx(1.0)
    assert check.warnings == ()
    assert check_nitrogen(Dose(10.1, "lb"), GRANULES, trunk_diameter_m=trunk).warnings
    assert check_nitrogen(Dose(1.0, "lb"), GRANULES, age_years=2).warnings
    # a pint is a pound (common practice): two cups of granules weigh a pound
    assert Dose(2.0, "cup").to("lb", GRANULES) == pytest.approx(1.0)
    assert Dose(1.0, "lb").to("cup", GRANULES) == pytest.approx(2.0)


def test_bad_doses() -> None:
    with pytest.raises(InputError, match=r"dose: out of range"):
        Dose(-1.0, "cup")
    with pytest.raises(InputError, match="not a measure of fertilizer"):
        Dose(1.0, "ft")
    with pytest.raises(InputError, match="unknown unit"):
        Dose(1.0, "handful")
    with pytest.raises(InputError, match=r"nitrogen.*density"):
        Fertilizer("x", 46.0, 0.0)
    with pytest.raises(InputError, match=r"trunk diameter.*age"):
        check_nitrogen(Dose(1.0, "lb"), GRANULES, trunk_diameter_m=0.0, age_years=-1)
