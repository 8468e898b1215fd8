"""One rule for which material goes first: that of the plan, of the calendar, and of the visits."""

from __future__ import annotations

from dataclasses import replace

import pytest

from spraywindow.jobs.slots.answer import Evening
from spraywindow.jobs.slots.first import planned_first, planned_slots, urgency
from tests.jobs.slots.test_evening import answer, day, site


@pytest.fixture(scope="module")
def one_day() -> list[Evening]:
    """Oil and copper, both go on the same single day, oil the less likely."""
    both = [answer(site(), material=name) for name in ("copper", "oil")]
    found = []
    for evening, chance in zip(both, (0.9, 0.5), strict=True):
        slot = next(slot for slot in evening.slots if slot.start.date() == day(13))
        alone = replace(slot, chance=chance)
        first = replace(evening.tomorrow, slot=alone)
        answers = [first, *(replace(a, verdict="no-go", slot=None) for a in evening.answers[1:])]
        found.append(replace(evening, slots=[alone], answers=answers, tomorrow=first))
    return found


def test_the_material_with_fewer_chances_left_goes_first(one_day: list[Evening]) -> None:
    """Common practice, no source: what can wait waits."""
    copper, oil = (urgency(evening, day(13)) for evening in one_day)
    assert copper is not None
    assert oil is not None
    assert oil.value > copper.value  # 3 rounds on fewer mornings than 5 of copper get
    assert [slot.material for slot in planned_slots(one_day)] == ["oil"]
    assert planned_first(one_day)[0].material.name == "oil"


def test_without_a_slot_on_the_first_day_the_order_stays(one_day: list[Evening]) -> None:
    none = [replace(e, tomorrow=replace(e.tomorrow, slot=None), slots=[]) for e in one_day]
    assert planned_first(none) == none


def test_a_material_that_owes_nothing_is_not_urgent() -> None:
    done = '[[program.rounds]]\nmaterial = "oil"\nrounds = 1\ndone = [2025-12-20]\n'
    assert urgency(answer(site(done)), day(13)) is None
