"""Act, wait or either: what must hold of the one decision. No outside source: it is arithmetic."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from spraywindow.jobs.slots.advice import Decision
from spraywindow.jobs.slots.answer import Evening
from spraywindow.jobs.slots.decision import beyond_at_large, beyond_winters, decide
from spraywindow.jobs.slots.first import tonight
from spraywindow.jobs.slots.words import headline, next_chance, wait_words
from spraywindow.program.beyond import AT_LARGE, Beyond
from spraywindow.site.site import Site, read_site
from spraywindow.sources.demo import DEMO_NOW, demo_forecast, demo_winters, sample_path
from spraywindow.spray import Slot


@pytest.fixture(scope="module")
def site() -> Site:
    return read_site(sample_path("orchard.toml"))


@pytest.fixture(scope="module")
def evenings(site: Site) -> list[Evening]:
    return tonight(site, demo_forecast(), DEMO_NOW)


@pytest.fixture(scope="module")
def at_large(site: Site) -> Beyond:
    return beyond_at_large(site, DEMO_NOW)


@pytest.fixture(scope="module")
def winters(site: Site) -> Beyond:
    return beyond_winters(site, demo_winters(), DEMO_NOW, demo_forecast())


def with_chance(
    evenings: list[Evening], chance: float, verdict: str | None = None
) -> list[Evening]:
    """The evenings with another chance, or verdict, of the first morning, for each material."""
    out = []
    for each in evenings:
        old = each.answers[0]
        slot = old.slot if verdict in (None, "go") else None
        first = replace(
            old, chance=chance, chance_dry=chance, verdict=verdict or old.verdict, slot=slot
        )
        out.append(replace(each, answers=[first, *each.answers[1:]], tomorrow=first))
    return out


def with_slot(evening: Evening, slot: Slot | None) -> Evening:
    """The evening with a slot on every morning."""
    return replace(evening, answers=[replace(each, slot=slot) for each in evening.answers])


def test_acting_is_worth_more_the_likelier_the_morning_is(
    evenings: list[Evening], at_large: Beyond, winters: Beyond
) -> None:
    for beyond in (at_large, winters):
        found = [decide(with_chance(evenings, c), beyond) for c in np.linspace(0.0, 1.0, 11)]
        now = [each.worth_now or -np.inf for each in found]
        assert np.all(np.diff(now) > 0)
        assert len({each.worth_waiting for each in found}) == 1  # it is of the later mornings
        order = [("wait", "either", "spray").index(str(each.advice)) for each in found]
        assert order == sorted(order)
        assert {found[0].advice, found[-1].advice} == {"wait", "spray"}


def test_what_it_goes_by_is_named(
    site: Site, evenings: list[Evening], at_large: Beyond, winters: Beyond
) -> None:
    assert decide(evenings, at_large).basis == AT_LARGE
    assert decide(evenings, winters).basis == f"{winters.winters} past winters"
    record = demo_winters()
    short = record[record.index >= DEMO_NOW - dt.timedelta(days=800)]
    few = beyond_winters(site, short, DEMO_NOW, demo_forecast())
    assert decide(evenings, few).basis == AT_LARGE


def test_leaf_fall_lies_where_it_was(site: Site, winters: Beyond) -> None:
    # copper belongs at leaf fall, on 2 December: six weeks later no day is at it any more
    assert winters.nearness is not None
    assert site.program.materials[1] == "copper"
    assert (winters.nearness[0, 1] < 1).all()


def test_a_skip_costs_what_the_values_differ_by(evenings: list[Evening], winters: Beyond) -> None:
    found = decide(with_chance(evenings, 0.95), winters)
    assert found.skip is not None
    assert found.worth_now is not None
    assert found.worth_waiting is not None
    assert found.skip.rounds == pytest.approx(found.worth_now - found.worth_waiting)
    assert found.skip.finish_now is not None
    assert found.skip.finish_waiting is not None
    assert 0 <= found.skip.finish_waiting <= found.skip.finish_now <= 1


def test_only_a_go_morning_is_sprayed(evenings: list[Evening], at_large: Beyond) -> None:
    for verdict in ("no-go", "unknown"):
        found = decide(with_chance(evenings, 1.0, verdict), at_large)
        assert (found.verdict, found.advice, found.worth_now) == (verdict, None, None)
        assert found.wait_for is not None
        assert found.wait_for.date > found.date


def test_a_visit_that_costs_more_than_a_round_is_never_made(
    evenings: list[Evening], at_large: Beyond
) -> None:
    dear = [
        replace(each, site=replace(
            each.site, program=replace(each.site.program, visit_worth=1.5)
        ))
        for each in evenings
    ]  # fmt: skip
    found = decide(with_chance(dear, 1.0), at_large)
    assert found.advice == "wait"
    assert found.wait_for is None
    assert found.worth_waiting == 0.0
    assert wait_words(found) == "it is not worth its trip, and no later morning is likely to be"


def test_waiting_for_what_no_forecast_tells_says_so(
    evenings: list[Evening], winters: Beyond
) -> None:
    def poor(evening: Evening, chance: float | None) -> Evening:
        answers = [
            replace(each, chance=chance, chance_dry=chance, slot=each.slot, verdict="go")
            for each in evening.answers
        ]
        return replace(evening, answers=answers, tomorrow=answers[0])

    slot = next(each.tomorrow.slot for each in evenings if each.tomorrow.slot)
    never = [poor(with_slot(each, slot), 0.0) for each in evenings]
    found = decide(never, winters)
    assert (found.advice, found.wait_for) == ("wait", None)
    first = replace(never[0].tomorrow, decision=found)
    line = headline(replace(never[0], tomorrow=first))
    assert line.startswith("wait: a better morning is likely beyond the forecast's days, worth ")
    # a morning that the forecast calls go but puts no figure on is within its days all the same
    early = [
        replace(each, answers=[each.answers[0], poor(each, None).answers[1], *each.answers[2:]])
        for each in never
    ]
    aim = decide(early, winters).wait_for
    assert aim is not None
    assert (aim.date, aim.chance) == (early[0].answers[1].date, None)


def test_a_no_go_with_nothing_in_sight_names_what_lies_beyond(
    evenings: list[Evening], winters: Beyond
) -> None:
    closed = []
    for each in evenings:
        answers = [
            replace(old, verdict="no-go", slot=None, chance=None, chance_dry=None)
            for old in each.answers
        ]
        closed.append(replace(each, answers=answers, tomorrow=answers[0], slots=[]))
    assert next_chance(decide(closed, winters), closed[0]) == (
        "next chance: beyond the forecast's days"
    )
    over = replace(winters, offers=np.full(winters.offers.shape, np.nan))
    assert next_chance(decide(closed, over), closed[0]) == ""


def test_later_mornings_are_those_of_a_block_that_may_still_be_sprayed(site: Site) -> None:
    many, few = site.blocks  # here the rows flower first, the few others in March
    seen = dt.date(2026, 1, 11)
    open_now = replace(
        site,
        blocks=(
            many.model_copy(update={"stage": 65, "observed": seen, "usual_first_flower": (1, 20)}),
            few.model_copy(update={"stage": 0, "observed": seen, "usual_first_flower": (3, 20)}),
        ),
    )
    found = beyond_winters(open_now, demo_winters(), DEMO_NOW, demo_forecast())
    assert found.last > dt.date(2026, 2, 20)


def test_where_nothing_is_owed_it_says_so(evenings: list[Evening], at_large: Beyond) -> None:
    def done(evening: Evening) -> Evening:
        entries = tuple(
            replace(entry, done=tuple(dt.date(2025, 12, 3 + n) for n in range(entry.rounds)))
            for entry in evening.site.program.entries
        )
        program = replace(evening.site.program, entries=entries)
        return replace(evening, site=replace(evening.site, program=program))

    found: Decision = decide([done(each) for each in evenings], at_large)
    assert (found.advice, found.owed, found.materials) == (None, False, ())
    asked = decide(evenings, at_large, only="lime sulfur")
    assert (asked.advice, asked.owed) == (None, False)
