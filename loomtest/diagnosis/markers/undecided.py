"""Doubts of marker touches as findings that are not decided."""

from __future__ import annotations

from collections.abc import Sequence

from loomtest.diagnosis.markers.doubts import Doubt
from loomtest.diagnosis.verdict import Finding
from loomtest.harness.model import Harness


def marker_findings(harness: Harness, points: Sequence[str], doubts: Sequence[Doubt]) -> tuple[Finding, ...]:
    return tuple(Finding("open", (), text=str(d)) for d in doubts)
