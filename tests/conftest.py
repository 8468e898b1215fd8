"""What several tests need: real records beside a checkout, how properties are tried."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import settings

from spraywindow.errors import SourceError

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


@pytest.fixture
def no_service(monkeypatch: pytest.MonkeyPatch) -> None:
    """No weather service answers."""

    def unreachable(*_: object, **__: object) -> None:
        raise SourceError("the service does not answer")

    monkeypatch.setattr("spraywindow.sources.forecast.get_forecast", unreachable)
