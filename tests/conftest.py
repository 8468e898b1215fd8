"""Real records that lie beside a checkout, where they are present; how properties are tried."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import settings

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
