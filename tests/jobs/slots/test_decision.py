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
from spraywindow.program.beyond import AT_LARGE, Beyond
from spraywindow.site.site import Site, read_site
from spraywindow.sources.demo import DEMO_NOW, demo_forecast, demo_winters, sample_path


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
