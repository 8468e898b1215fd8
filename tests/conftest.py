"""What several tests need: real records beside a checkout, how properties are tried."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import settings

from spraywindow.errors import SourceError
from tests.season_values import winters

ROOT = Path(__file__).resolve().parents[1]
SHARED = ROOT.parent / "shared"
"""Real records and recorded replies; absent in most checkouts."""

needs_records = pytest.mark.skipif(
    not SHARED.is_dir(), reason="the real records are not beside this checkout"
)

# the same examples in every run, on a machine of any speed; others are sought with
# --hypothesis-profile=default
settings.register_profile("same", derandomize=True, deadline=None)
settings.load_profile("same")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave benchmarks out unless they are asked for, with ``--benchmark-enable``."""
    if not (config.getoption("benchmark_enable") or config.getoption("benchmark_only")):
        timed = [item for item in items if "benchmark" in getattr(item, "fixturenames", ())]
        config.hook.pytest_deselected(items=timed)
        items[:] = [item for item in items if item not in timed]


@pytest.fixture(scope="session")
def few_winters(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A file of three of the demo's winters, where all of them would tell no more."""
    path = tmp_path_factory.mktemp("record") / "winters.csv"
    winters().loc["2013-09":"2016-08"].to_csv(path)
    return path


@pytest.fixture
def no_service(monkeypatch: pytest.MonkeyPatch) -> None:
    """No weather service answers."""

    def unreachable(*_: object, **__: object) -> None:
        raise SourceError("the service does not answer")

    monkeypatch.setattr("spraywindow.sources.get_forecast", unreachable)
