"""Label overrides and new materials of the site file."""

from __future__ import annotations

import tomllib

import pytest

from spraywindow.errors import InputError
from spraywindow.site.materials import UNIT_OF, days_apart
from spraywindow.site.site import site_of
from spraywindow.spray.catalogue import COPPER, OIL
from spraywindow.spray.material import Material, Rainfast
from spraywindow.spray.quantities import QUANTITIES
from tests.site_files import SITE


def material(tables: str, name: str = "oil") -> Material:
    return site_of(tomllib.loads(SITE + tables)).material(name)


def test_fields_of_the_label_go_over_the_catalogue() -> None:
    oil = material(
        '[materials.oil]\nlast_stage = "petal tips"\napart = "7 days"\nrounds = 4\n'
        'dry_spell = "48 h"\nhighest_rate = "4 %"\ntitle = "our oil"\n'
        'days_apart = {captan = "3 weeks"}\n'
    )
    assert (oil.last_stage, oil.least_days, oil.rounds) == (57, 7, 4)
    assert (oil.dry_spell_h, oil.highest_rate, oil.title) == (48, 0.04, "our oil")
    assert oil.days_apart == {"sulfur": 30, "captan": 21}  # what the file leaves out stays
    assert oil.limit("cold") == OIL.limit("cold")


def test_limit_in_the_users_units() -> None:
    limits = '[materials.oil.limits.cold]\nvalue = "40 degF"\ncomfort = "9 degF"\n'
    cold = material(limits).limit("cold")
    assert cold.value == pytest.approx(40 / 9, abs=1 / 9)  # 4.44 °C
    assert cold.value == pytest.approx((40 - 32) * 5 / 9)
    assert cold.width == pytest.approx(5.0)
    assert cold.bound == "at least"
    assert "label" in cold.source


def test_plain_number_with_its_unit_beside_it() -> None:
    cold = material('[materials.oil.limits.cold]\nvalue = 40\nunit = "degF"\n').limit("cold")
    assert cold.value == pytest.approx((40 - 32) * 5 / 9)
    assert cold.unit == "degC"


def test_limit_taken_out_and_changed_in_kind() -> None:
    oil = material(
        '[materials.oil.limits."dry spell"]\noff = true\n'
        '[materials.oil.limits.gusts]\nkind = "soft"\n'
        '[materials.oil.limits."frost in 24 h"]\nhours = "36 h"\n'
    )
    assert "dry spell" not in [limit.name for limit in oil.limits]
    assert oil.limit("gusts").kind == "soft"
    assert oil.limit("frost in 24 h").hours == 36


def test_new_limit() -> None:
    new = '[materials.oil.limits."dry air"]\nquantity = "humidity"\nbound = "at least"\n'
    limit = material(new + 'value = "35 %"\ncomfort = "10 %"\n').limit("dry air")
    assert (limit.value, limit.width, limit.unit, limit.kind) == (35, 10, "%", "hard")


def test_new_material_has_the_general_limits() -> None:
    new = material('[materials.sulfur]\nrounds = 2\napart = "10 days"\n', "sulfur")
    assert (new.name, new.title, new.rounds, new.least_days) == ("sulfur", "sulfur", 2, 10)
    assert new.limits == COPPER.limits
    assert "label decides" in new.cautions[0]


def test_new_material_based_on_another() -> None:
    new = material('[materials."summer oil"]\nbased_on = "oil"\n', "summer oil")
    assert new.limits == OIL.limits
    assert new.name == "summer oil"
    assert (new.rainfast, new.targets, new.copper) == (OIL.rainfast, OIL.targets, False)
    assert material('[materials.mine]\nbased_on = "copper"\n', "mine").copper


def test_a_material_without_facts_is_on_the_cautious_side() -> None:
    new = material('[materials."copper paste"]\n', "copper paste")
    # no copper by its name alone, a day without rain as the longest known, no stage aimed at
    assert (new.copper, new.rainfast.hours, new.targets) == (False, OIL.rainfast.hours, ())


def test_the_labels_rainfast_hours() -> None:
    copper = material(
        '[materials.copper]\nrainfast = "90 min"\nsource = "label of 2025"\n', "copper"
    )
    assert copper.rainfast == Rainfast(1.5, "label of 2025", of_label=True)
    assert copper.dry_spell_h == COPPER.dry_spell_h


@pytest.mark.parametrize(
    ("tables", "said"),
    [
        ('limits.cold]\nvalue = "40 mph"', r"cold\.value: a speed where a temperature belongs"),
        ("limits.cold]\nvalue = 40", r"cold\.value: a number without its unit.*got 40"),
        ('limits.cold]\nvalue = 40\nunit = "mph"', r"cold\.value: a speed where a temperature"),
        ('limits.cold]\ncomfort = "0 degF"', r"cold\.comfort: out of range; expected more than 0"),
        ("limits.cold]\noff = 1", r"cold\.off: .*got 1"),
        ('limits.cold]\nhours = "24 h"', r"cold\.hours: temp looks at the hour itself"),
        ('limits.cold]\nquantity = "humidity"', r"cold: another quantity .* also value, comfort"),
        ('limits.cold]\nquantity = "tempp"', r"quantity: unknown quantity.*did you mean temp\?"),
        ('limits.colt]\nvalue = "40 degF"', r"colt: no limit of this name.*did you mean cold\?"),
        ("limits.colt]\noff = true", r"colt: no limit of this name.*did you mean cold\?"),
        ('limits.new]\nquantity = "rain_ahead"\nbound = "below"\nvalue = "1 mm"\ncomfort = "1 mm"',
         r"new\.hours: missing key"),
        ("limits.inversion]\nvalue = nan", r"inversion\.value: not a number"),
    ],
)  # fmt: skip
def test_limits_that_cannot_be_meant(tables: str, said: str) -> None:
    with pytest.raises(InputError, match=said) as caught:
        material(f"[materials.oil.{tables}\n")
    assert "materials.oil.limits" in str(caught.value)


@pytest.mark.parametrize(
    ("tables", "said"),
    [
        ('[materials.oli]\ndry_spell = "48 h"\n', r"almost as a known one.*did you mean oil\?"),
        ('[materials.mine]\nbased_on = "oyl"\n', r"mine\.based_on: unknown material"),
        ('[materials.oil]\nlast_satge = "pink"\n', r"last_satge: .*did you mean last_stage\?"),
        ('[materials.oil]\ndry_spell = "11 days"\n', r"dry_spell: out of range.*at most 240 h"),
        ('[materials.oil]\nrainfast = "0 h"\n', r"rainfast: out of range.*more than 0"),
        ("[materials.oil]\ndays_apart = {sulfur = 30}\n", r"sulfur: a number without its unit"),
    ],
)
def test_materials_that_cannot_be_meant(tables: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        material(tables)


def test_every_problem_of_every_material_at_once() -> None:
    tables = (
        '[materials.oil.limits.cold]\nvalue = "40 mph"\ncomfort = "1 m"\n'
        "[materials.copper.limits.wind]\nvalue = 3\n"
    )
    with pytest.raises(InputError, match=r"cold\.value.*cold\.comfort.*copper\.limits\.wind"):
        material(tables)


def test_each_quantity_has_a_unit_for_new_limits() -> None:
    assert set(UNIT_OF) == set(QUANTITIES)


@pytest.mark.parametrize(
    ("name", "days"), [("sulfur", 30), ("Lime Sulphur", 30), ("captan", 14), ("zinc", 0)]
)
def test_days_apart_by_any_form_of_a_name(name: str, days: int) -> None:
    # UC IPM (2017): 30 days from sulfur; Ontario (2006): 10-12 days from captan
    assert days_apart(OIL, name) == days


def test_days_apart_count_both_ways() -> None:
    sulfur = material("[materials.sulfur]\n", "sulfur")
    assert days_apart(sulfur, OIL) == days_apart(OIL, sulfur) == 30


def test_days_apart_by_what_a_material_is_based_on() -> None:
    tables = '[materials.zinc]\ndays_apart = {oil = "9 days"}\n[materials.wax]\nbased_on = "oil"\n'
    zinc, wax = material(tables, "zinc"), material(tables, "wax")
    assert days_apart(zinc, wax) == days_apart(wax, zinc) == 9
