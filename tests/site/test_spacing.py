"""Days between sprays: one rule for the evening, the season ahead and how urgent a visit is."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from spraywindow.errors import InputError
from spraywindow.jobs.season.answer import prospect
from spraywindow.jobs.slots.answer import evening
from spraywindow.jobs.slots.first import urgency
from spraywindow.program.entry import MaterialRounds
from spraywindow.program.planner import may_spray
from spraywindow.program.program import Program
from spraywindow.site.done import in_season, next_day, spacing_finding
from spraywindow.site.site import Site, with_done
from spraywindow.sources.demo.samples import demo_forecast
from tests.season_values import late_winters, site

NOW = pd.Timestamp("2026-01-12 16:00", tz="UTC")
SULFUR = dt.date(2026, 1, 5)
OPEN = dt.date(2026, 2, 4)
"""Oil goes on 30 days after sulfur at the earliest: the catalogue's source."""


def after_sulfur() -> Site:
    """The demo's site with a spray outside its program, as the record gives it too."""
    return with_done(site(), {"sulfur": [SULFUR]})


def test_a_spray_outside_the_program_bars_its_materials() -> None:
    oil, copper = in_season(after_sulfur(), NOW.date()).program.entries
    one = dt.timedelta(days=1)
    assert oil.barred == ((SULFUR, OPEN - one),)
    assert copper.barred == ((SULFUR, SULFUR + one),)  # 2 days between different materials


@pytest.mark.parametrize("seed", range(20))
def test_the_planner_is_barred_on_the_days_that_the_evening_refuses(seed: int) -> None:
    rng = np.random.default_rng(seed)
    start = dt.date(2025, 12, 1)

    def some(most: int) -> list[dt.date]:
        return [start + dt.timedelta(days=int(n)) for n in rng.integers(0, 40, rng.integers(most))]

    here = with_done(
        site(), {"oil": some(3), "copper": some(3), "sulfur": some(3), "soap": some(2)}
    )
    here = in_season(here, start)
    # sprays done bar days before them too, for the planner alone: look at what comes after
    days = pd.date_range(start + dt.timedelta(days=40), periods=60)
    free = may_spray(days, here.program)
    for column, name in enumerate(here.program.materials):
        material = here.material(name)
        for row, day in enumerate(days):
            assert free[row, column] == (
                spacing_finding(here, material, day.date()).verdict == "go"
            ), (name, day)
            assert free[row, column] == (next_day(here, material, day.date()) == day.date())


def test_the_season_ahead_waits_as_long_as_the_evening_says() -> None:
    the = evening(after_sulfur(), demo_forecast(), NOW, "oil")
    assert str(the.tomorrow.why).endswith("so from Wed 4 Feb on")
    found = prospect(after_sulfur(), late_winters(), NOW, forecast=demo_forecast())
    oil, copper = found.upcoming
    assert (oil.allowed, copper.allowed) == (OPEN, dt.date(2026, 1, 13))
    assert oil.morning is None
    closed = (OPEN - found.outlook.season.first).days
    assert not found.outlook.season.usable[:closed, 0].any()
    assert found.outlook.season.usable[closed:, 0].any()
    assert any(note.startswith("oil: sulfur went on Mon 5 Jan: 30 days") for note in found.notes)
    without = prospect(site(), late_winters(), NOW, forecast=demo_forecast())
    assert without.outlook.season.usable[:closed, 0].any()


def test_a_spray_of_this_winter_does_not_hold_the_next_one_back() -> None:
    may = pd.Timestamp("2026-05-30", tz="UTC")
    found = prospect(after_sulfur(), late_winters(), may)
    without = prospect(site(), late_winters(), may)
    assert found.outlook.usable.tolist() == without.outlook.usable.tolist()


def test_days_that_stay_closed_are_no_chances() -> None:
    """Counted by hand: Saturdays are worked, Sundays not; the flowers open on 1 March."""
    day = dt.date(2026, 1, 13)
    later = {}
    for name in ("oil", "copper"):
        found = urgency(evening(after_sulfur(), demo_forecast(), NOW, name), day)
        assert found is not None
        later[name] = found.later_days
    # 4 to 18 February, less two Sundays: oil stops ten days before the flowers (P)
    assert later["oil"] == 13
    plain = evening(site(), demo_forecast(), NOW, "copper")
    known_to = max(each.date for each in plain.answers if each.verdict != "unknown")
    sundays = pd.date_range("2026-01-18", "2026-02-22", freq="7D").date
    days = (dt.date(2026, 2, 28) - known_to).days
    assert later["copper"] == days - sum(sunday > known_to for sunday in sundays)


def test_spans_are_days_in_order() -> None:
    span = (dt.date(2026, 1, 5), dt.date(2026, 1, 9))
    program = Program((MaterialRounds("oil", 3, 5, barred=(span,)),))
    free = may_spray(pd.date_range("2026-01-03", periods=9), program)[:, 0]
    assert list(np.flatnonzero(~free)) == [2, 3, 4, 5, 6]
    for bad in ((span[::-1],), (span[:1],), ("2026-01-05",), span):
        with pytest.raises(InputError, match="barred out of range"):
            MaterialRounds("oil", 3, 5, barred=bad)  # type: ignore[arg-type]
