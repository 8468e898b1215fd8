"""The catalogue's numbers beside the published ones."""

from __future__ import annotations

import pytest

from spraywindow.spray.catalogue import CATALOGUE, COPPER, OIL, general_material
from spraywindow.spray.material import Material
from spraywindow.spray.quantities import QUANTITIES
from spraywindow.units import convert


@pytest.mark.parametrize(
    ("material", "name", "bound", "published", "unit"),
    [
        (OIL, "cold", "at least", 40.0, "degF"),  # Kansas State
        (OIL, "heat", "at most", 85.0, "degF"),  # WSU
        (OIL, "frost in 24 h", "above", 32.0, "degF"),  # USU
        (OIL, "frost in 48 h", "above", 32.0, "degF"),  # Ontario 2006
        (OIL, "heat in 48 h", "below", 90.0, "degF"),  # UC IPM
        (OIL, "wind", "at most", 10.0, "mph"),  # 3 CCR 6960
        (OIL, "gusts", "at most", 15.0, "mph"),  # common practice, no source
        (OIL, "rain in 24 h", "below", 0.01, "in"),  # the least that a US gauge reports
        (COPPER, "wind", "at most", 10.0, "mph"),
        (COPPER, "cold", "above", 32.0, "degF"),  # common practice, no source
        (COPPER, "rain after drying", "below", 0.01, "in"),
    ],
)
def test_limits_are_the_published_ones(
    material: Material, name: str, bound: str, published: float, unit: str
) -> None:
    limit = material.limit(name)
    assert (limit.bound, limit.kind == "soft") == (bound, name == "frost in 48 h")
    # rounded to a tenth of a degree in the table of defaults
    assert limit.value == pytest.approx(convert(published, unit, limit.unit), abs=0.051)


def test_comfort_begins_where_published() -> None:
    def comfort(name: str, unit: str) -> float:
        limit = OIL.limit(name)
        inward = limit.width if limit.bound in ("at least", "above") else -limit.width
        return convert(limit.value + inward, limit.unit, unit)

    assert comfort("cold", "degF") == pytest.approx(50, abs=0.1)  # USU: ideal from 50 degF
    assert comfort("heat", "degC") == pytest.approx(26.0)  # common practice: ramp from 26
    assert comfort("frost in 24 h", "degF") == pytest.approx(40, abs=0.1)  # USU: ideally 40 degF
    assert comfort("wind", "mph") == pytest.approx(8.0)  # extension: 3-8 mph
    assert comfort("calm", "mph") == pytest.approx(3.0)
    assert comfort("humid", "%") == pytest.approx(85)  # common practice: soft over 85 %


def test_rounds_and_gaps() -> None:
    assert (OIL.rounds, OIL.least_days, OIL.last_stage) == (3, 5, 53)  # common practice
    assert (COPPER.rounds, COPPER.least_days, COPPER.last_stage) == (5, 5, 59)
    assert OIL.days_apart == {"sulfur": 30, "captan": 14}  # UC IPM; Ontario 2006: 10-12 d
    assert (OIL.usual_rate, OIL.highest_rate) == (0.02, 0.03)  # USU, Rutgers; common practice


@pytest.mark.parametrize("material", CATALOGUE.values(), ids=list(CATALOGUE))
def test_every_limit_says_why_and_from_where(material: Material) -> None:
    for limit in material.limits:
        assert limit.quantity in QUANTITIES
        assert limit.words
        assert limit.reason
        assert limit.source
    assert material.cautions
    assert material.source


def test_copper_waits_for_no_dry_wood_and_no_72_hours() -> None:
    # A protectant goes on before rain: no 72 h rule for copper.
    assert COPPER.limit("damp bark").kind == "caution"
    assert max(limit.hours or 0 for limit in COPPER.limits if limit.kind == "hard") == 24
    assert COPPER.limit("rain after drying").hours == 6


def test_a_material_of_another_name_starts_from_general_limits() -> None:
    sulfur = general_material("lime sulfur")
    assert sulfur.limits == COPPER.limits
    assert "the label decides" in sulfur.cautions[0]
