"""Answers for a day of work."""

from __future__ import annotations

import math

import pytest

from spraywindow.reasons import Reason
from spraywindow.spray.findings import Finding, hardest, not_above


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [(0, 25, "go"), (0, 25.1, "unknown"), (0, math.inf, "unknown"), (25.1, math.inf, "no-go")],
)
def test_bounds_against_a_most(low: float, high: float, verdict: str) -> None:
    found = not_above(low, high, 25.0, over=Reason("too much"), unknown=Reason("unsure"))
    assert found.verdict == verdict


def test_no_go_decides_before_unknown() -> None:
    unsure, no = Finding("unknown", Reason("a")), Finding("no-go", Reason("b"))
    findings = [Finding("go"), unsure, no, Finding("no-go")]
    assert hardest(findings) == no
    assert hardest(findings[:2]) == unsure
    assert hardest([]) == Finding("go")
