"""Which explanation of a scene stands: of those that fit alike, the one that the resistances like best.

A scene is weighed as a small loom of its own, with its own wires and the readings between its points, so
that a fault on a large loom costs what its scene costs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from loomtest.diagnosis.faults.explain import Solution, explain
from loomtest.diagnosis.faults.findings import Told
from loomtest.diagnosis.faults.scene import Scene
from loomtest.diagnosis.faults.scenes import likeliness_of
from loomtest.diagnosis.joints.report import alternative_log_likelihoods, estimate
from loomtest.diagnosis.wiring import Wiring, as_drawn
from loomtest.harness.copper import Expectation
from loomtest.harness.model import Harness, IntArray
from loomtest.readings.model import Instrument, Readings

_TRIED = 8  # explanations of equal cost, and of one fault more, tried against the resistances


@dataclass(frozen=True)
class Run:
    """A loom, its readings, and what its wires should show."""

    harness: Harness
    readings: Readings
    instrument: Instrument
    expectation: Expectation


def weighed(run: Run, scenes: Sequence[Scene]) -> list[Told]:
    """Each scene's explanations, weighed by the resistances where the placements differ."""
    return [_told(run, scene, rows) for scene, rows in zip(scenes, _rows(run.readings, scenes), strict=True)]


def _told(run: Run, scene: Scene, rows: IntArray) -> Told:
    likeliness = likeliness_of(run.harness, run.readings.points, scene)
    solutions, dearer = explain(scene, likeliness)
    told = Told(run.harness, run.readings.points, scene, likeliness, tuple(solutions))
    if not len(rows):
        return told
    own = _by_itself(run, scene, rows)
    best = _with_fewest_joints(own, scene, [*solutions[:_TRIED], *dearer[:_TRIED]])
    alike = [s for s in solutions if _shape(s) == _shape(best)]  # the same readings are used in each
    if len(alike) < 2 or not best.move_faults:
        return replace(told, solutions=(best, *(s for s in solutions if s is not best)))
    wirings = [_wiring(scene, solution) for solution in alike]
    fit = alternative_log_likelihoods(own.harness, wirings, own.readings, run.instrument, own.expectation)
    weighed = [
        replace(solution, log_weight=solution.log_weight + float(gain))
        for solution, gain in zip(alike, fit - fit.max(), strict=True)
        if np.isfinite(gain)
    ]
    return replace(told, solutions=tuple(sorted(weighed, key=lambda s: -s.log_weight)))


def _with_fewest_joints(own: Run, scene: Scene, candidates: Sequence[Solution]) -> Solution:
    """The candidate with the fewest faults in all, counting the bad joints it makes necessary.

    What joins and parts may be explained cheaply by a terminal in another place, and the resistances then
    want bad joints that nobody made.
    """

    def faults(solution: Solution) -> int:
        wiring = _wiring(scene, solution)
        report = estimate(own.harness, wiring, own.readings, own.instrument, own.expectation)
        return solution.cost + sum(f.fault in ("high-resistance", "open") for f in report.findings)

    best, least = candidates[0], faults(candidates[0])
    for solution in candidates[1:]:
        if least == candidates[0].cost:
            break  # no joint is bad under it
        if solution.cost < least and (count := faults(solution)) < least:
            best, least = solution, count
    return best


def _shape(solution: Solution) -> tuple[int, tuple[int, ...], int]:
    return len(solution.move_faults), solution.repair.opens, len(solution.repair.shorts)


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


def _by_itself(run: Run, scene: Scene, rows: IntArray) -> Run:
    """The scene as a loom of its own: local points, the scene's wires, the readings between its points."""
    declared = len(run.harness.points)
    names = [run.readings.points[code] for code in scene.codes]
    local = np.full(len(run.readings.points), -1, dtype=np.int64)
    local[list(scene.codes)] = np.arange(len(scene.codes))
    picked = _taken(run.readings, rows)
    picked["start"], picked["end"] = local[picked["start"]], local[picked["end"]]
    readings = replace(run.readings, points=tuple(names), bonded={}, notes={}, times={}, **picked)
    harness = replace(
        run.harness,
        wires=tuple(run.harness.wires[wire] for wire in scene.wire),
        points=tuple(name for name, code in zip(names, scene.codes, strict=True) if code < declared),
    )
    of_wires = _taken(run.expectation, np.array(scene.wire, dtype=np.int64))
    return Run(harness, readings, run.instrument, replace(run.expectation, **of_wires))


def _taken(columns: Readings | Expectation, index: IntArray) -> dict[str, Any]:
    """The arrays among the fields, at these indices."""
    named = {field.name: getattr(columns, field.name) for field in fields(columns)}
    return {name: column[index] for name, column in named.items() if isinstance(column, np.ndarray)}


def _wiring(scene: Scene, solution: Solution) -> Wiring:
    """The scene's wiring under this solution, in local points and the scene's own wires."""
    ends = np.array(solution.moves.placement(scene), dtype=np.int64).reshape(-1, 2)
    joined = np.ones(len(ends), dtype=np.bool_)
    joined[list(solution.repair.opens)] = False
    shorts = [(a, b) for a, b, _ in solution.repair.shorts]
    return Wiring(ends[:, 0], ends[:, 1], joined, np.array(shorts, dtype=np.int64).reshape(-1, 2))


def wiring_found(harness: Harness, told: Sequence[Told]) -> Wiring:
    """The whole loom's wiring under each scene's best solution."""
    drawn = as_drawn(harness)
    start, end, joined = drawn.start.copy(), drawn.end.copy(), drawn.joined.copy()
    shorts = [drawn.shorts]
    for one in told:
        found, codes = _wiring(one.scene, one.best), np.array(one.scene.codes, dtype=np.int64)
        wires = list(one.scene.wire)
        start[wires], end[wires], joined[wires] = codes[found.start], codes[found.end], found.joined
        shorts.append(codes[found.shorts])
    return Wiring(start, end, joined, np.concatenate(shorts))


def nets_as_found(nets: IntArray, told: Sequence[Told]) -> IntArray:
    """(P,) the net of the terminal that sits at each point; what is not there any more has left its net."""
    found = nets.copy()
    for one in told:
        for home, place in one.best.moves.cavity:
            found[one.scene.codes[place]] = nets[one.scene.codes[home]]
    return found
