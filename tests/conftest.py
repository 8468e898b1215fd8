"""Fixtures: real records that lie beside a checkout, where they are present."""

from __future__ import annotations

from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
SHARED = ROOT.parent / "shared"
"""Real records and recorded replies; absent in most checkouts."""

needs_records = pytest.mark.skipif(
    not SHARED.is_dir(), reason="the real records are not beside this checkout"
)
