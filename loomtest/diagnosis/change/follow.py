"""Readings and findings of the harness before a connector change, told in the points of the one after it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TypeVar

import numpy as np

from loomtest.diagnosis.verdict import Finding, Suspect, Verdict
from loomtest.harness.model import Harness
from loomtest.harness.origin import present_points
from loomtest.readings.model import Readings

Entry = TypeVar("Entry")


def follow_readings(readings: Readings, harness: Harness) -> Readings:
    """The readings on the points of `harness`; those at a point that is no more are left out.

    `readings` were loaded on the harness before the change. Wires keep their names, so the same wire is
    measured between the old points and between the new ones.
    """
    present = present_points(harness)
    codes = np.array(
        [harness.code_of.get(present.get(point, point), -1) for point in readings.points], dtype=np.int64
    )
    start, end = codes[readings.start], codes[readings.end]
    kept = (start >= 0) & (end >= 0) & (start != end)
    place = np.cumsum(kept) - 1

    def moved(table: Mapping[int, Entry], change: Callable[[Entry], Entry]) -> dict[int, Entry]:
        return {int(place[row]): change(entry) for row, entry in table.items() if kept[row]}

    def tied(clips: tuple[tuple[int, ...], tuple[int, ...]]) -> tuple[tuple[int, ...], tuple[int, ...]]:
        left, right = (tuple(int(codes[c]) for c in side if codes[c] >= 0) for side in clips)
        return left, right

    return replace(
        readings,
        points=harness.points,
        start=start[kept],
        end=end[kept],
        quantity=readings.quantity[kept],
        value=readings.value[kept],
        above_ohm=readings.above_ohm[kept],
        current_a=readings.current_a[kept],
        uncertainty=readings.uncertainty[kept],
        temperature_c=readings.temperature_c[kept],
        row=readings.row[kept],
        bonded=moved(readings.bonded, tied),
        notes=moved(readings.notes, str),
        times=moved(readings.times, str),
    )


def follow_verdict(verdict: Verdict, harness: Harness) -> Verdict:
    """The verdict with its findings at the points of `harness`; their sentences stay in the old words."""
    present = present_points(harness)

    def now(point: str) -> str:
        return present.get(point, point)

    def suspect(old: Suspect) -> Suspect:
        return replace(old, end=None if old.end is None else now(old.end))

    def finding(old: Finding) -> Finding:
        return replace(
            old,
            points=tuple(map(now, old.points)),
            suspects=tuple(map(suspect, old.suspects)),
            moves={now(at): now(to) for at, to in old.moves.items()},
            alternatives=tuple(
                replace(
                    other,
                    points=tuple(map(now, other.points)),
                    moves={now(at): now(to) for at, to in other.moves.items()},
                )
                for other in old.alternatives
            ),
        )

    return replace(
        verdict,
        findings=tuple(map(finding, verdict.findings)),
        undecided=tuple(map(finding, verdict.undecided)),
    )
