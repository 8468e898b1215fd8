"""Volumes, mixes, calibration, crew time and season totals; sources named at each number."""

from __future__ import annotations

import math
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from spraywindow.errors import InputError
from spraywindow.handbook.calibration import (
    flow_from_catch_l_per_min,
    rate_given_l_per_ha,
    row_given_l_per_m,
    speed_from_run_ms,
    uneven_nozzles,
)
from spraywindow.handbook.use_limits import Use, UseLimit, limits_used, season_totals
from spraywindow.handbook.volumes import (
    DENSE_L_PER_M3,
    WELL_PRUNED_L_PER_M3,
    Crew,
    Rate,
    crew_time,
    product_mix,
    row_volume_l,
    tank_loads,
    tree_volume_l,
    walking_way_m,
)
from spraywindow.units import convert, quantity

FT = convert(1.0, "ft", "m")


def test_dilute_volume_per_acre() -> None:
    # Cornell and Penn State: 10 x 8 ft trees, 18 ft rows take 136-194 gal/acre
    row_m = convert(1.0, "acre", "m2") / (18 * FT)
    for rate, gallons in ((WELL_PRUNED_L_PER_M3, 136), (DENSE_L_PER_M3, 194)):
        volume = row_volume_l(10 * FT, 8 * FT, row_m, litres_per_m3=rate)
        assert convert(volume, "L", "gal") == pytest.approx(gallons, abs=0.6)


@pytest.mark.parametrize(
    ("width_ft", "height_ft", "least_gal", "most_gal"),
    [(10, 10, 1, 2), (16, 14, 3, 5)],  # extension sheets: 1-2 gal small or medium, 3-5 gal large
)
def test_single_trees(width_ft: float, height_ft: float, least_gal: float,
                      most_gal: float) -> None:  # fmt: skip
    assert (
        least_gal <= convert(tree_volume_l(width_ft * FT, height_ft * FT), "L", "gal") <= most_gal
    )


def test_single_tree_closed_form() -> None:
    # 10 x 10 x 10 ft = 1000 ft3: 1 gal dense, half as much again by hand
    volume = tree_volume_l(10 * FT, 10 * FT, litres_per_m3=DENSE_L_PER_M3)
    assert convert(volume, "L", "gal") == pytest.approx(1.5)


def test_calibration_identities() -> None:
    mph, inch = quantity("5 mph", "m/s"), quantity("222 in", "m")
    flow = quantity("3.75 gal", "L")
    rate = rate_given_l_per_ha(flow, mph, inch)
    # 5940 * 3.75 / (5 * 222) = 20.07 gal/acre (trade formula)
    assert convert(rate, "L/ha", "gal/acre") == pytest.approx(20.07, abs=5e-3)
    # gal/min = GPA * mph * row_ft / 495: 100 gal/acre at 2 mph in 18 ft rows
    needed = convert(100 * 2 * 18 / 495, "gal", "L")
    rate = rate_given_l_per_ha(needed, quantity("2 mph", "m/s"), 18 * FT)
    assert convert(rate, "L/ha", "gal/acre") == pytest.approx(100)
    # along a row the spacing falls out: rate = flow / speed
    assert row_given_l_per_m(60.0, 1.0) == pytest.approx(1.0)
    assert flow_from_catch_l_per_min(2.0, 30.0) == 4.0
    assert speed_from_run_ms(30.0, 20.0) == 1.5


def test_nozzles() -> None:
    assert uneven_nozzles((1.0, 1.0, 1.0, 1.2)) == (4,)
    with pytest.raises(InputError, match=r"nozzle 1.*nozzle 3"):
        uneven_nozzles((0.0, 1.0, -1.0))
    with pytest.raises(InputError, match="number of nozzles"):
        uneven_nozzles(())


def test_mix_published() -> None:
    # 200 mL in 10 L = 2 %; Rutgers: 200 gal/acre = 4 gal oil at 2 %
    assert product_mix(tank_loads(10.0, 10.0), Rate("oil", 0.02)).total == pytest.approx(0.2)
    gallons = product_mix(tank_loads(convert(200.0, "gal", "L"), 400.0), Rate("oil", 0.02)).total
    assert convert(gallons, "L", "gal") == pytest.approx(4.0)
    # Utah State: 2 gal per 100 gal is about 5 Tbsp/gal, which is 1.95 %
    assert 5 * quantity("1 Tbsp", "gal") == pytest.approx(0.0195, abs=5e-5)


def test_loads() -> None:
    loads = tank_loads(250.0, 100.0)
    assert (loads.full, loads.last_l, loads.count) == (2, pytest.approx(50.0), 3)
    tenths = tank_loads(0.3, 0.1)  # rounding makes neither a fourth load nor a part load
    assert (tenths.full, tenths.last_l, tenths.count) == (3, 0.0, 3)
    mix = product_mix(loads, Rate("powder", 0.004, "kg"))
    assert (mix.per_full_load, mix.last_load, mix.total) == pytest.approx((0.4, 0.2, 1.0))
    assert product_mix(tank_loads(50.0, 100.0), Rate("oil", 0.02)).per_full_load == 0


@given(total=st.floats(0.01, 1e5), tank=st.floats(1, 1e4))
def test_loads_add_up(total: float, tank: float) -> None:
    loads = tank_loads(total, tank)
    assert loads.full * tank + loads.last_l == pytest.approx(total, rel=1e-5, abs=2e-6 * tank)
    assert 0 <= loads.last_l < tank


def test_strong_mixes_are_warned_of_and_kept() -> None:
    loads = tank_loads(100.0, 100.0)
    assert product_mix(loads, Rate("oil", 0.03, usual_most=0.03)).warnings == ()
    strong = product_mix(loads, Rate("oil", 0.04, usual_most=0.03))
    assert strong.total == pytest.approx(4.0)
    assert "4 % is over the usual 3 %" in strong.warnings[0]
    assert product_mix(loads, Rate("oil", 0.02, usual_most=0.01)).warnings


def test_bad_sizes_are_refused_together() -> None:
    with pytest.raises(InputError, match=r"canopy width.*canopy height"):
        tree_volume_l(0.0, -1.0)
    with pytest.raises(InputError, match=r"spray volume.*tank"):
        tank_loads(float("nan"), 0.0)
    with pytest.raises(InputError, match="spray volume"):
        tank_loads(float("inf"), 100.0)
    with pytest.raises(InputError, match="rate"):
        Rate("oil", 1.5)
    with pytest.raises(InputError, match="row length"):
        row_volume_l(3.0, 3.0, -1.0)
    with pytest.raises(InputError, match="speed"):
        rate_given_l_per_ha(5.0, 0.0, 5.0)


def test_crew_time() -> None:
    crew = Crew(flow_l_per_min=10, set_up_h=0.5, refill_h=0.25, rinse_h=0.5, walking_ms=0.5)
    job = crew_time(crew, tank_loads(1200.0, 500.0), walking_m=1800.0)
    # 1200 L at 10 L/min: 2 h; 1800 m at 0.5 m/s: 1 h; two refills after the first filling
    assert (job.spraying_h, job.walking_h, job.refills_h) == pytest.approx((2.0, 1.0, 0.5))
    assert (job.slot_h, job.on_site_h, job.slot_whole_h) == pytest.approx((3.5, 4.5, 4))
    pair = Crew(flow_l_per_min=10, guns=2, walking_ms=0.5)
    assert crew_time(pair, tank_loads(1200.0, 500.0), walking_m=1800.0).slot_h == pytest.approx(2.0)
    assert walking_way_m(10, 4.0, 2.0) == pytest.approx(40 + 20 * 3.14159265, abs=1e-6)
    with pytest.raises(InputError, match=r"flow.*guns"):
        Crew(flow_l_per_min=0.0, guns=0)
    with pytest.raises(InputError, match="walking way"):
        crew_time(crew, tank_loads(1.0, 1.0), walking_m=-1.0)


TODAY = date(2020, 2, 29)
EU_COPPER = UseLimit("Reg. (EU) 2018/1981", years=7, copper_kg_per_ha=28.0)


def _copper(day: date, kg: float, *, planned: bool = False, block: str = "old") -> Use:
    return Use(day, block, "copper", kg, 5_000.0, copper_kg_per_unit=0.5, planned=planned)


def test_season_totals_add_copper_per_area() -> None:
    uses = [_copper(TODAY, 4.0), _copper(TODAY - timedelta(days=400), 4.0),
            Use(TODAY, "old", "oil", 10.0, 5_000.0)]  # fmt: skip
    copper, oil = season_totals(uses, date(2019, 11, 1), TODAY)
    # 4 kg of a half-copper powder on half a hectare: 4 kg/ha of metal
    assert (copper.rounds, copper.copper_kg_per_ha) == (1, pytest.approx(4.0))
    assert (oil.amount, oil.amount_per_ha, oil.copper_kg_per_ha) == (10.0, pytest.approx(20.0), 0)


def test_european_copper_limit() -> None:
    # 28 kg/ha in seven years, Reg. (EU) 2018/1981: seven years of 4 kg/ha reach it, no more
    uses = [_copper(TODAY - timedelta(days=365 * year), 4.0) for year in range(7)]
    (reached,) = limits_used(uses, [EU_COPPER], TODAY)
    assert (reached.used, reached.over) == (pytest.approx(28.0), False)
    (over,) = limits_used([*uses, _copper(TODAY, 0.1)], [EU_COPPER], TODAY)
    assert (over.used, over.over) == (pytest.approx(28.1), True)
    eighth = _copper(date(2013, 2, 28), 4.0)  # seven years to the day: out
    assert not limits_used([*uses, eighth], [EU_COPPER], TODAY)[0].over


def test_label_limits_by_block_and_material() -> None:
    label = UseLimit("label", material="copper", rounds=1, amount_per_ha=10.0)
    plan = TODAY + timedelta(days=6)
    uses = [_copper(TODAY, 4.0), _copper(plan, 4.0, planned=True), _copper(TODAY, 1.0, block="new"),
            Use(TODAY, "old", "oil", 10.0, 5_000.0)]  # fmt: skip
    found = {(f.block, f.counts): (f.used, f.over) for f in limits_used(uses, [label], TODAY)}
    assert found == {
        ("new", "copper per ha"): (pytest.approx(2.0), False),
        ("new", "rounds of copper"): (1.0, False),
        ("old", "copper per ha"): (pytest.approx(16.0), True),
        ("old", "rounds of copper"): (2.0, True),
    }


def test_parts_of_a_round_are_one_round() -> None:
    # plain arithmetic: what is finished on a second day is no second round
    label = UseLimit("label", material="oil", rounds=1)

    def oil(day: date, share: float) -> Use:
        return Use(day, "old", "oil", 10.0, 5_000.0, share=share)

    begun = TODAY - timedelta(days=3)
    for parts in ((0.6, 0.4), (0.1, 0.2, 0.7)):
        uses = [oil(begun + timedelta(days=n), share) for n, share in enumerate(parts)]
        (used,) = limits_used(uses, [label], TODAY)
        assert (used.used, used.over) == (1.0, False)
    (twice,) = limits_used([oil(begun, 0.6), oil(TODAY, 1.0)], [label], TODAY)
    assert (twice.used, twice.over) == (1.6, True)
    same_day = season_totals([oil(TODAY, 0.8), oil(TODAY, 0.8)], TODAY, TODAY)
    assert same_day[0].rounds == 1.0  # no day brings more than a round of a material


def test_a_season_begins_where_it_says() -> None:
    season = UseLimit("program", copper_kg_per_ha=4.0, since=date(2019, 7, 1))
    last_winter = _copper(date(2019, 6, 30), 4.0)
    (used,) = limits_used([last_winter, _copper(date(2019, 7, 1), 2.0)], [season], TODAY)
    assert used.used == pytest.approx(2.0)


def test_a_use_of_unknown_amount_is_a_round() -> None:
    limits = [UseLimit("label", material="copper", rounds=1, amount_per_ha=1.0), EU_COPPER]
    unknown = Use(TODAY, "old", "copper", None, 5_000.0, 0.5)
    assert [used.used for used in limits_used([unknown], limits, TODAY)] == [0.0, 1.0, 0.0]
    assert math.isnan(season_totals([unknown, _copper(TODAY, 1.0)], TODAY, TODAY)[0].amount)


def test_bad_uses() -> None:
    with pytest.raises(InputError, match="date in the future"):
        limits_used([_copper(TODAY + timedelta(days=1), 1.0)], [EU_COPPER], TODAY)
    with pytest.raises(InputError, match=r"amount.*area"):
        Use(TODAY, "old", "oil", 0.0, -1.0)
    with pytest.raises(InputError, match="no most is given"):
        UseLimit("label")
    with pytest.raises(InputError, match="needs its material"):
        UseLimit("label", rounds=2)
