"""What blocks have had, of record and site file: recorded amounts first, today's mix else."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from spraywindow.handbook.use_limits import UseLimit, limits_used
from spraywindow.jobs.mix.sprays import sprays_of
from spraywindow.jobs.mix.uses import Done, uses_done
from spraywindow.record.entry import Application
from spraywindow.site.site import Site, site_of
from tests.year_site import SPRAYER, tables

TODAY = dt.date(2026, 1, 12)
HECTARE = {"row_spacing": "5 m", "row_length": "2000 m", "area": "1 ha"}
MIX = {"copper": {"rate": "1 g/L", "copper": "50 %", "product": "Copper 50"}}


def orchard(**changes: Any) -> Site:
    """Two blocks of a hectare each, 60 and 20 trees alike."""
    site = tables(sprayer=SPRAYER, mix=MIX, block=HECTARE | {"name": "A", "trees": 60})
    site["blocks"].append(site["blocks"][0] | {"name": "B", "trees": 20})
    return site_of(site | changes)


def entry(day: str, **changes: Any) -> Application:
    start = dt.datetime.fromisoformat(f"{day}T10:00:00+02:00")
    plain = {"site": "Dry Creek", "timezone": "Europe/Athens", "start": start,
             "material": "copper", "product": "Copper 50"}  # fmt: skip
    return Application.read(plain | changes)


def had(site: Site, *entries: Application) -> Done:
    others = [each.material for each in entries]
    return uses_done(site, entries, TODAY, sprays_of(site, TODAY, others))


def copper_kg_per_ha(done: Done) -> dict[str, float]:
    return {
        used.block: used.used
        for used in limits_used(
            done.uses, [UseLimit("copper", years=7, copper_kg_per_ha=28.0)], TODAY
        )
    }


def test_recorded_amounts_of_earlier_winters_count_as_they_are() -> None:
    # 30 kg of copper metal on a hectare in each of three winters are 90 kg/ha; Reg. (EU)
    # 2018/1981 allows 28 in seven years
    winters = ("2023-12-20", "2024-12-18", "2025-12-10")
    entries = [entry(day, product_kg=60.0, area_m2=1e4, blocks=("A",)) for day in winters]
    assert copper_kg_per_ha(had(orchard(), *entries)) == {"A": pytest.approx(90)}
    older = entry("2019-01-12", product_kg=60.0, area_m2=1e4, blocks=("A",))
    assert copper_kg_per_ha(had(orchard(), older)) == {}  # seven years to the day


@pytest.mark.parametrize(
    ("fields", "kg_per_ha"),
    [
        ({"area_m2": 2e4}, {"A": 20.0, "B": 20.0}),  # 80 kg of a half-copper powder on 2 ha
        ({"area_m2": 1e4}, {"A": 40.0, "B": 40.0}),
        ({}, {"A": 30.0, "B": 10.0}),  # as the trees take spray: three quarters of them in A
        ({"blocks": ("B",), "share": 0.25}, {"B": 40.0}),
        # half of a round lies on half of the trees: over the blocks it is what they had
        ({"area_m2": 1e4, "share": 0.5}, {"A": 20.0, "B": 20.0}),
        ({"blocks": ("row 7",), "area_m2": 1e4}, {"A": 40.0, "B": 40.0}),
    ],
)
def test_amount_area_and_blocks_of_an_entry(
    fields: dict[str, Any], kg_per_ha: dict[str, float]
) -> None:
    # plain arithmetic: product times copper share over the ground
    done = had(orchard(), entry("2026-01-05", product_kg=80.0, **fields))
    assert copper_kg_per_ha(done) == {name: pytest.approx(kg) for name, kg in kg_per_ha.items()}
    assert sum(use.amount or 0.0 for use in done.uses) == pytest.approx(80)


def test_an_entry_without_an_amount_counts_as_todays_mix_for_its_share_and_blocks() -> None:
    site = orchard()
    whole = {spray.block: spray.amount for spray in sprays_of(site, TODAY)["copper"]}
    # three quarters of the round, on the block that makes up three quarters of it
    done = had(site, entry("2026-01-05", share=0.75, blocks=("A",)))
    assert [(use.block, use.amount, use.share) for use in done.uses] == [
        ("A", pytest.approx(whole["A"]), 1.0)
    ]
    half = had(site, entry("2026-01-05", share=0.5))
    assert [use.amount for use in half.uses] == pytest.approx([whole["A"] / 2, whole["B"] / 2])
    assert half.notes == (
        "No amount is recorded, counted as today's mix would take: copper on 1 day",
    )
    known = had(site, entry("2026-01-05", product_kg=1.0, area_m2=2e4))
    assert known.notes == ()


def test_the_record_stands_before_what_the_site_file_lists() -> None:
    rounds = [{"material": "copper", "done": ["2026-01-05", "2025-12-20"]}]
    used = [{"day": "2025-12-20", "copper": "3 kg/ha"}, {"day": "2026-01-05", "copper": "1 kg/ha"}]
    site = orchard(program={"rounds": rounds}, copper={"used": used})
    done = had(site, entry("2026-01-05", product_kg=40.0, area_m2=2e4))
    # 10 kg/ha as recorded, and 3 as [copper] tells; neither twice, nothing guessed
    assert copper_kg_per_ha(done) == {"A": pytest.approx(13), "B": pytest.approx(13)}
    assert done.notes == ()


def test_copper_without_a_place_in_the_program_counts_with_all_copper() -> None:
    mixes = MIX | {"bordeaux": {"rate": "10 g/L", "copper": "20 %"}}
    site = orchard(
        mix=mixes,
        materials={"bordeaux": {"based_on": "copper"}},
        other_sprays={"bordeaux": ["2025-12-20"]},
    )
    kg = {spray.block: spray.amount for spray in sprays_of(site, TODAY)["bordeaux"]}
    assert copper_kg_per_ha(had(site)) == {n: pytest.approx(0.2 * kg[n]) for n in ("A", "B")}
    recorded = entry("2025-12-20", material="bordeaux", product="B", product_kg=40.0, area_m2=2e4)
    assert copper_kg_per_ha(had(site, recorded)) == {"A": pytest.approx(4), "B": pytest.approx(4)}


def test_amounts_that_fit_no_mix_are_told_and_reckoned() -> None:
    site = orchard()
    litres = had(site, entry("2026-01-05", product_l=5.0))
    assert "copper is recorded by volume and mixed by weight" in litres.notes[1]
    assert sum(use.amount or 0.0 for use in litres.uses) == pytest.approx(
        sum(spray.amount for spray in sprays_of(site, TODAY)["copper"])
    )
    other = had(site, entry("2026-01-05", product_kg=5.0, area_m2=2e4, product="Copper 77"))
    assert other.notes == ("The copper in Copper 77 is counted as that of [mix.copper], 50 %",)
    sulfur = had(site, entry("2026-01-05", material="sulfur", product="S"))
    assert [use.amount for use in sulfur.uses] == [None, None]
    assert "neither an amount nor a rate is given: sulfur on 1 day" in sulfur.notes[0]


def test_nothing_after_today_counts() -> None:
    assert had(orchard(), entry("2026-01-13", product_kg=1.0, area_m2=1e4)).uses == ()
