"""What ``import spraywindow`` offers: the names that the design promises, loaded lazily."""

from __future__ import annotations

import subprocess
import sys

import pytest

import spraywindow as sw

PROMISED = (
    "Place", "read_weather", "check_hourly", "Material", "Limit", "OIL", "COPPER", "score_hours",
    "find_slots", "Program", "plan_rounds", "season_outlook", "backtest", "SprayWindowError",
)  # fmt: skip


@pytest.mark.parametrize("name", PROMISED)
def test_promised_name(name: str) -> None:
    assert name in sw.__all__
    assert name in dir(sw)
    assert getattr(sw, name) is not None


def test_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="No spraywindow attribute Orchard"):
        _ = sw.Orchard


def test_the_root_imports_nothing_heavy() -> None:
    code = "import sys, spraywindow; print({'numpy', 'pandas', 'pvlib'} & set(sys.modules))"
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout.strip() == "set()"


def test_short_form_of_a_program() -> None:
    program = sw.Program.of(oil=(3, 5), copper=(5, 5), between=2)
    assert program.days_between("oil", "oil") == 5
    assert program.days_between("oil", "copper") == 2
