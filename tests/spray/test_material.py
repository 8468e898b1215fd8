from __future__ import annotations

from dataclasses import FrozenInstanceError, replace

import pytest

from spraywindow.errors import InputError
from spraywindow.spray.catalogue import COPPER, OIL
from spraywindow.spray.material import season_order


def test_stages_are_ordered_from_leaf_fall_over_dormancy_to_bloom() -> None:
    # BBCH of stone fruit: 91-97 leaf fall of the old year, 00 dormancy, 53 bud burst, 60 bloom
    winter = [91, 93, 95, 97, 99, 0, 1, 9, 51, 53, 57, 59, 60, 65, 69]
    assert sorted(winter, key=season_order) == winter


def test_a_label_changes_takes_out_and_adds_limits() -> None:
    warmer = replace(OIL.limit("cold"), value=7.0)
    extra = replace(OIL.limit("cold"), name="night", quantity="lowest_temp", hours=12.0)
    label = OIL.with_limits(cold=warmer, gusts=None, night=extra)
    assert label.limit("cold").value == 7.0
    assert label.limit("night") is extra
    assert len(label.limits) == len(OIL.limits)
    with pytest.raises(InputError, match=r"unknown limit; expected one of cold, .*; got 'gusts'"):
        label.limit("gusts")
    assert OIL.limit("cold").value == 4.4


def test_the_dry_spell_is_the_longest_rain_window() -> None:
    assert OIL.dry_spell_h == 72
    assert COPPER.dry_spell_h == 24
    for wanted in (24.0, 48.0, 96.0):
        changed = OIL.with_dry_spell(wanted)
        assert changed.dry_spell_h == wanted
        assert changed.limit("rain in 24 h").hours == 24
        assert changed.limit("frost in 24 h") == OIL.limit("frost in 24 h")
    short = OIL.with_dry_spell(12.0)
    assert (short.dry_spell_h, short.limit("rain in 24 h").hours) == (12.0, 12.0)


def test_a_limit_that_cannot_be_is_refused_with_all_that_is_wrong() -> None:
    cold = OIL.limit("cold")
    with pytest.raises(InputError) as caught:
        replace(cold, width=0.0, bound="over", kind="firm", hours=999.0)  # type: ignore[arg-type]
    for part in ("comfort width; expected more than 0", "bound; ", "kind; ", "window; "):
        assert part in str(caught.value)
    with pytest.raises(InputError, match="limit margin: name; expected none of the columns"):
        replace(cold, name="margin")
    with pytest.raises(InputError, match="material oil: limits of one name; got 'cold'"):
        replace(OIL, limits=(cold, cold))
    with pytest.raises(FrozenInstanceError):
        cold.value = 1.0  # type: ignore[misc]
