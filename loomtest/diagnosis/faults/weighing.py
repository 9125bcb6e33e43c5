"""Which explanation of a scene stands: of those that fit alike, the one that the resistances like best.

A scene is weighed as a small loom of its own, with its own wires and the readings between its points, so
that a fault on a large loom costs what its scene costs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from loomtest.diagnosis.faults.explain import Explanation, explain
from loomtest.diagnosis.faults.findings import Explained
from loomtest.diagnosis.faults.scene import Scene
from loomtest.diagnosis.faults.scenes import likeliness_of
from loomtest.diagnosis.joints.report import alternative_log_likelihoods, estimate
from loomtest.diagnosis.wiring import Wiring, as_drawn
from loomtest.harness.copper import Expectation
from loomtest.harness.model import Harness, IntArray
from loomtest.readings.model import Instrument, Readings

_TRIED = 8  # explanations of equal cost, and of one fault more, tried against the resistances


@dataclass(frozen=True)
class MeasuredLoom:
    """A loom, its readings, and what its wires should show."""

    harness: Harness
    readings: Readings
    instrument: Instrument
    expectation: Expectation


def weighed(measured: MeasuredLoom, scenes: Sequence[Scene]) -> list[Explained]:
    """Each scene's explanations, weighed by the resistances where the placements differ."""
    return [
        _explained(measured, scene, rows)
        for scene, rows in zip(scenes, _rows(measured.readings, scenes), strict=True)
    ]


def _explained(measured: MeasuredLoom, scene: Scene, rows: IntArray) -> Explained:
    likeliness = likeliness_of(measured.harness, measured.readings.points, scene)
    explanations, dearer = explain(scene, likeliness)
    explained = Explained(measured.harness, measured.readings.points, scene, likeliness, tuple(explanations))
    if not len(rows):
        return explained
    own = _by_itself(measured, scene, rows)
    best = _with_fewest_joints(own, scene, [*explanations[:_TRIED], *dearer[:_TRIED]])
    alike = [s for s in explanations if _shape(s) == _shape(best)]  # the same readings are used in each
    if len(alike) < 2 or not best.move_faults:
        return replace(explained, explanations=(best, *(s for s in explanations if s is not best)))
    wirings = [_wiring(scene, explanation) for explanation in alike]
    fit = alternative_log_likelihoods(
        own.harness, wirings, own.readings, measured.instrument, own.expectation
    )
    weighed = [
        replace(explanation, log_weight=explanation.log_weight + float(gain))
        for explanation, gain in zip(alike, fit - fit.max(), strict=True)
        if np.isfinite(gain)
    ]
    return replace(explained, explanations=tuple(sorted(weighed, key=lambda s: -s.log_weight)))


def _with_fewest_joints(own: MeasuredLoom, scene: Scene, candidates: Sequence[Explanation]) -> Explanation:
    """The candidate with the fewest faults in all, counting the bad joints it makes necessary.

    What joins and parts may be explained cheaply by a terminal in another place, and the resistances then
    want bad joints that nobody made.
    """

    def faults(explanation: Explanation) -> int:
        wiring = _wiring(scene, explanation)
        report = estimate(own.harness, wiring, own.readings, own.instrument, own.expectation)
        return explanation.cost + sum(f.fault in ("high-resistance", "open") for f in report.findings)

    best, least = candidates[0], faults(candidates[0])
    for explanation in candidates[1:]:
        if least == candidates[0].cost:
            break  # no joint is bad under it
        if explanation.cost < least and (count := faults(explanation)) < least:
            best, least = explanation, count
    return best


def _shape(explanation: Explanation) -> tuple[int, tuple[int, ...], int]:
    return len(explanation.move_faults), explanation.repair.opens, len(explanation.repair.shorts)


def _rows(readings: Readings, scenes: Sequence[Scene]) -> list[IntArray]:
    """Per scene the indices of the readings between its points, clips left out."""
    told_of = np.zeros(len(readings.points), dtype=np.bool_)
    for scene in scenes:
        told_of[list(scene.codes)] = True
    some = told_of[readings.start] & told_of[readings.end]
    some[list(readings.bonded)] = False
    rows = np.flatnonzero(some)
    start, end = readings.start[rows], readings.end[rows]
    out = []
    for scene in scenes:
        inside = np.zeros(len(readings.points), dtype=np.bool_)
        inside[list(scene.codes)] = True
        out.append(rows[inside[start] & inside[end]])
    return out


def _by_itself(measured: MeasuredLoom, scene: Scene, rows: IntArray) -> MeasuredLoom:
    """The scene as a loom of its own: local points, the scene's wires, the readings between its points."""
    declared = len(measured.harness.points)
    names = [measured.readings.points[code] for code in scene.codes]
    local = np.full(len(measured.readings.points), -1, dtype=np.int64)
    local[list(scene.codes)] = np.arange(len(scene.codes))
    picked = _taken(measured.readings, rows)
    picked["start"], picked["end"] = local[picked["start"]], local[picked["end"]]
    readings = replace(measured.readings, points=tuple(names), bonded={}, notes={}, times={}, **picked)
    harness = replace(
        measured.harness,
        wires=tuple(measured.harness.wires[wire] for wire in scene.wire),
        points=tuple(name for name, code in zip(names, scene.codes, strict=True) if code < declared),
    )
    of_wires = _taken(measured.expectation, np.array(scene.wire, dtype=np.int64))
    return MeasuredLoom(harness, readings, measured.instrument, replace(measured.expectation, **of_wires))


def _taken(columns: Readings | Expectation, index: IntArray) -> dict[str, Any]:
    """The arrays among the fields, at these indices."""
    named = {field.name: getattr(columns, field.name) for field in fields(columns)}
    return {name: column[index] for name, column in named.items() if isinstance(column, np.ndarray)}


def _wiring(scene: Scene, explanation: Explanation) -> Wiring:
    """The scene's wiring under this explanation, in local points and the scene's own wires."""
    ends = np.array(explanation.moves.placement(scene), dtype=np.int64).reshape(-1, 2)
    joined = np.ones(len(ends), dtype=np.bool_)
    joined[list(explanation.repair.opens)] = False
    shorts = [(a, b) for a, b, _ in explanation.repair.shorts]
    return Wiring(ends[:, 0], ends[:, 1], joined, np.array(shorts, dtype=np.int64).reshape(-1, 2))


def wiring_found(harness: Harness, explained: Sequence[Explained]) -> Wiring:
    """The whole loom's wiring under each scene's best explanation."""
    drawn = as_drawn(harness)
    start, end, joined = drawn.start.copy(), drawn.end.copy(), drawn.joined.copy()
    shorts = [drawn.shorts]
    for one in explained:
        found, codes = _wiring(one.scene, one.best), np.array(one.scene.codes, dtype=np.int64)
        wires = list(one.scene.wire)
        start[wires], end[wires], joined[wires] = codes[found.start], codes[found.end], found.joined
        shorts.append(codes[found.shorts])
    return Wiring(start, end, joined, np.concatenate(shorts))


def nets_as_found(nets: IntArray, explained: Sequence[Explained]) -> IntArray:
    """(P,) the net of the terminal that sits at each point; what is not there any more has left its net."""
    found = nets.copy()
    for one in explained:
        for home, place in one.best.moves.cavity:
            found[one.scene.codes[place]] = nets[one.scene.codes[home]]
    return found
