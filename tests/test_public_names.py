"""What ``import spraywindow`` offers: the names that the design promises, loaded lazily."""

from __future__ import annotations

import inspect
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path
from typing import Any, get_args, get_type_hints

import pytest

import spraywindow as sw

PROMISED = (
    "Place", "read_weather", "check_hourly", "Material", "Limit", "OIL", "COPPER", "score_hours",
    "find_slots", "Program", "plan_rounds", "season_outlook", "backtest", "SprayWindowError",
    "read_site", "Site", "Answer", "Setting", "Access", "Slot", "Stage", "parse_stage",
    "MaterialRounds", "PastWinters", "Foresight", "ErrorModel", "day_margins", "get_forecast",
    "demo_forecast", "demo_winters", "DEMO_NOW", "false_go_ratio", "missed_go_rate",
    "save_week_picture", "save_season_picture", "__version__", "score_region", "usable_mornings",
    "season_region", "sites_dataset",
)  # fmt: skip


@pytest.mark.parametrize("name", PROMISED)
def test_promised_name(name: str) -> None:
    assert name in sw.__all__
    assert name in dir(sw)
    assert getattr(sw, name) is not None


def test_only_public_names_are_shown_and_each_is_there() -> None:
    assert dir(sw) == sorted(sw.__all__)
    assert [name for name in dir(sw) if name.startswith("_")] == ["__version__"]
    for name in dir(sw):
        assert getattr(sw, name) is not None


def test_the_version_is_that_of_the_installed_package() -> None:
    assert sw.__version__ == version("spraywindow")


def classes_in(hint: object) -> set[type]:
    """Our classes in a type hint, inside unions, lists and mappings too."""
    parts = {part for arg in get_args(hint) for part in classes_in(arg)}
    ours = isinstance(hint, type) and hint.__module__.startswith("spraywindow")
    return parts | {hint} if ours and isinstance(hint, type) else parts


GIVEN = {"Answer", "PastWinters", "Site"}
"""Classes that people get and do not build."""
ASKING = [
    face
    for name, face in ((name, getattr(sw, name)) for name in PROMISED if name not in GIVEN)
    if inspect.isclass(face) or (inspect.isroutine(face) and face is not sw.get_forecast)
] + [sw.Site.tonight, sw.Site.season, sw.Site.backtest]


@pytest.mark.parametrize("asking", ASKING, ids=lambda face: face.__qualname__)
def test_what_a_signature_asks_for_is_public(asking: Any) -> None:
    hints = get_type_hints(asking.__init__ if inspect.isclass(asking) else asking)
    hints.pop("return", None)
    wanted = {kind.__name__ for hint in hints.values() for kind in classes_in(hint)}
    assert wanted <= set(sw.__all__)


def test_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="No spraywindow attribute Orchard"):
        _ = sw.Orchard


def test_the_root_imports_nothing_heavy() -> None:
    code = "import sys, spraywindow; print({'numpy', 'pandas', 'pvlib'} & set(sys.modules))"
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout.strip() == "set()"


@pytest.mark.parametrize("command", ["slots", "visits"])
def test_a_command_for_one_site_loads_nothing_of_a_region(command: str, tmp_path: Path) -> None:
    code = (
        f"import sys; sys.argv = ['spraywindow', *{command.split()!r}]\n"
        "from spraywindow.main import run\n"
        "try: run()\n"
        "except SystemExit as left: assert not left.code, left.code\n"
        "heavy = {'xarray', 'dask', 'distributed', 'zarr'} & set(sys.modules)\n"
        "assert not heavy, heavy"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, cwd=tmp_path)
    assert done.returncode == 0, done.stderr.decode()


def test_short_form_of_a_program() -> None:
    program = sw.Program.of(oil=(3, 5), copper=(5, 5), between=2)
    assert program.days_between("oil", "oil") == 5
    assert program.days_between("oil", "copper") == 2
