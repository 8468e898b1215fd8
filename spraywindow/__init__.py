"""Which hours to spray dormant stone-fruit trees, and whether the winter holds the program.

The public names, loaded when they are first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from spraywindow.errors import SprayWindowError as SprayWindowError
    from spraywindow.place import Place as Place
    from spraywindow.season.backtest import backtest as backtest
    from spraywindow.season.outlook import season_outlook as season_outlook
    from spraywindow.season.past import Need as Need
    from spraywindow.season.past import past_season as past_season
    from spraywindow.season.planner import plan_rounds as plan_rounds
    from spraywindow.season.program import Program as Program
    from spraywindow.season.requirement import cultivar_group as cultivar_group
    from spraywindow.sources.tables import read_weather as read_weather
    from spraywindow.spray.catalogue import COPPER as COPPER
    from spraywindow.spray.catalogue import OIL as OIL
    from spraywindow.spray.hours import score_hours as score_hours
    from spraywindow.spray.material import Limit as Limit
    from spraywindow.spray.material import Material as Material
    from spraywindow.spray.slots import find_slots as find_slots
    from spraywindow.weather.hourly import check_hourly as check_hourly

_WHERE = {
    "Place": "spraywindow.place",
    "SprayWindowError": "spraywindow.errors",
    "read_weather": "spraywindow.sources.tables",
    "check_hourly": "spraywindow.weather.hourly",
    "Material": "spraywindow.spray.material",
    "Limit": "spraywindow.spray.material",
    "OIL": "spraywindow.spray.catalogue",
    "COPPER": "spraywindow.spray.catalogue",
    "score_hours": "spraywindow.spray.hours",
    "find_slots": "spraywindow.spray.slots",
    "Program": "spraywindow.season.program",
    "plan_rounds": "spraywindow.season.planner",
    "Need": "spraywindow.season.past",
    "past_season": "spraywindow.season.past",
    "season_outlook": "spraywindow.season.outlook",
    "backtest": "spraywindow.season.backtest",
    "cultivar_group": "spraywindow.season.requirement",
}
__all__ = sorted(_WHERE)


def __getattr__(name: str) -> Any:
    if name not in _WHERE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_WHERE[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
