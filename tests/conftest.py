"""What several tests need: real records beside a checkout, how properties are tried."""

from __future__ import annotations

import gc
import os
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


MOST_WORKERS = 4
"""Each collects and loads for itself."""


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """Share whole folders among the cores; none for what is quick, timed or looked at by itself."""
    alone = config.option.collectonly or config.option.capture == "no" or _timed(config)
    given = [Path(each.partition("::")[0]) for each in config.args]
    if alone or any(path.is_file() for path in given):
        return 0
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return min(cores or 1, MOST_WORKERS)


def _timed(config: pytest.Config) -> bool:
    return bool(config.option.benchmark_enable or config.option.benchmark_only)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave benchmarks out unless they are asked for, with ``--benchmark-enable``."""
    if not _timed(config):
        timed = [item for item in items if "benchmark" in getattr(item, "fixturenames", ())]
        config.hook.pytest_deselected(items=timed)
        items[:] = [item for item in items if item not in timed]


def pytest_collection_finish() -> None:
    """Look for garbage no more among all that is loaded: an eighth of the suite's time."""
    gc.collect()
    gc.freeze()


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
