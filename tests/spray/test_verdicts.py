"""Answers for a day of work."""

from __future__ import annotations

import math

import pytest

from spraywindow.spray.findings import Finding, hardest, not_above


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [(0, 25, "go"), (0, 25.1, "unknown"), (0, math.inf, "unknown"), (25.1, math.inf, "no-go")],
)
def test_bounds_against_a_most(low: float, high: float, verdict: str) -> None:
    assert not_above(low, high, 25.0, over="too much", unknown="unsure").verdict == verdict


def test_no_go_decides_before_unknown() -> None:
    findings = [Finding("go"), Finding("unknown", "a"), Finding("no-go", "b"), Finding("no-go")]
    assert hardest(findings) == Finding("no-go", "b")
    assert hardest(findings[:2]) == Finding("unknown", "a")
    assert hardest([]) == Finding("go")
