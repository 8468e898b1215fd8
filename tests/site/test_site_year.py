"""The site file's tables of the year: what people write, what is refused."""

from __future__ import annotations

from typing import Any

import pytest

from spraywindow.errors import InputError
from spraywindow.site.fields import parse_dose, parse_rate
from spraywindow.site.site import Site, site_of
from tests.year_site import FEEDING, SPRAYER, tables


def site(**changes: Any) -> Site:
    return site_of(tables(**changes))


@pytest.mark.parametrize(
    ("text", "per_litre", "base"),
    [
        ("2 %", 0.02, "L"),
        ("2 gal/100 gal", 0.02, "L"),
        ("5 Tbsp/gal", 5 / 256, "L"),  # Utah State: about the same, 1.95 %
        ("200 mL in 10 L", 0.02, "L"),
        ("0.3 kg per 100 L", 0.003, "kg"),
        ("3 g/L", 0.003, "kg"),
        ("4 lb/100 gal", 4 * 0.45359237 / 378.5411784, "kg"),
    ],
)
def test_a_rate_is_read_as_people_write_it(text: str, per_litre: float, base: str) -> None:
    rate = parse_rate(text)
    assert rate.per_litre == pytest.approx(per_litre)
    assert rate.base == base


@pytest.mark.parametrize("text", ["2", "0 %", "-1 %", "120 %", "3 g", "2 m/L", "3 L/0 L", 2, "x/y"])
def test_a_rate_that_cannot_be_is_refused(text: object) -> None:
    with pytest.raises(InputError, match="not a rate of mixing"):
        parse_rate(text)


def test_a_dose_keeps_the_users_own_measure() -> None:
    assert (parse_dose("1.5 cups").amount, parse_dose("1.5 cups").measure) == (1.5, "cups")


@pytest.mark.parametrize("text", ["4", 4, "4 scoops", "4 ft", "cups"])
def test_a_dose_without_a_measure_of_fertilizer_is_refused(text: object) -> None:
    with pytest.raises(InputError, match="not an amount for one tree"):
        parse_dose(text)


def test_a_negative_dose_is_refused() -> None:
    with pytest.raises(InputError, match="out of range"):
        parse_dose("-1 cup")


def test_all_that_is_wrong_is_told_at_once_with_its_key() -> None:
    with pytest.raises(InputError) as caught:
        site(
            feeding=FEEDING | {"soil": "mud", "nitrogen": "120 %", "parts": 0},
            ground={"compost": "-3 cm"},
            hosing={"every": "0 days", "months": [13], "lastwash": "2026-06-01"},
            sprayer=SPRAYER | {"tank": "0 L", "guns": -1},
            mix={"copper": {"rate": "5 cats/gal"}},
            copper={"limits": [{"name": "law", "most": "0 kg/ha"}]},
        )
    for key in ("feeding.soil", "feeding.nitrogen", "feeding.parts", "ground.compost",
                "hosing.every", "hosing.months[1]", "hosing.lastwash", "sprayer.tank",
                "sprayer.guns", "mix.copper.rate", "copper.limits[1].most"):  # fmt: skip
        assert f"site, {key}: " in str(caught.value)
    assert "did you mean last_wash?" in str(caught.value)


@pytest.mark.parametrize(
    ("table", "match"),
    [
        ({"ground": {"trunk_gap": "20 cm"}}, "no layer"),
        ({"sprayer": {"tank": "200 L"}}, "either flow"),
        ({"sprayer": SPRAYER | {"caught": "2 L", "caught_in": "30 s"}}, "either flow"),
        ({"sprayer": SPRAYER | {"speed": "4 km/h", "run": "30 m", "run_in": "20 s"}}, "speed"),
        ({"mix": {"oil": {"rate": "2 %", "measure": "lb"}}}, "measure does not fit"),
        ({"mix": {"copper": {"rate": "1 %", "copper": "50 %"}}}, "copper of a liquid"),
        ({"mix": {"copper": {"rate": "3 g/L", "copper": "120 %"}}}, "copper: out of range"),
        ({"mix": {"copper": {"rate": "3 g/L", "copper_per_year": "4 kg/ha"}}}, "without copper"),
        ({"mix": {"oil": {"rate": "2 %", "product_per_year": "0 L/ha"}}}, "product_per_year"),
    ],
)
def test_tables_that_contradict_themselves_are_refused(table: dict[str, Any], match: str) -> None:
    with pytest.raises(InputError, match=match):
        site(**table)


def test_a_timed_catch_gives_the_flow_of_one_gun_or_of_the_whole_sprayer() -> None:
    caught = {"tank": "200 L", "caught": ["2 L", "3 L"], "caught_in": "30 s"}
    gun, rows = site(sprayer=caught).sprayer, site(sprayer=caught | {"way": "rows"}).sprayer
    assert gun is not None
    assert rows is not None
    assert gun.flow_l_per_min == pytest.approx(5.0)  # litres in half a minute: closed form
    assert rows.flow_l_per_min == pytest.approx(10.0)


def test_a_timed_run_gives_the_speed() -> None:
    sprayer = site(sprayer=SPRAYER | {"way": "rows", "run": "88 ft", "run_in": "60 s"}).sprayer
    assert sprayer is not None
    # 88 feet in a minute are a mile an hour
    assert sprayer.speed_ms == pytest.approx(0.44704)
