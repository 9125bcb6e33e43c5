"""Probings that follow from what was found: behind an open, along a comb, at a doubtful joint."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np

from loomtest.bench.plan.done import Done, Pairs
from loomtest.bench.plan.plan import Plan, Step, plan
from loomtest.bench.plan.suspects import Puzzle
from loomtest.diagnosis.seen.isolation import part_groups
from loomtest.diagnosis.seen.observe import APART, JOINED, Observations
from loomtest.harness.forest import join, root
from loomtest.harness.model import Harness
from loomtest.readings.model import Instrument, Readings

MOST_TOUCHES = 2  # of a doubtful joint's own two ends
Barred = Callable[[str, str], bool]
CLEAR, TOUCHES = "clear", "touches"


def hidden_behind(
    harness: Harness, puzzles: Sequence[Puzzle], seen: Observations, barred: Barred, number: int
) -> Step | None:
    """Two points that the likeliest explanation joins and no reading has shown joined."""
    for puzzle in puzzles:
        if not len(puzzle.weight):
            continue
        best = int(np.argmax(puzzle.weight))
        joined = seen.pair_state == JOINED
        shown = {code: code for code in puzzle.points.tolist()}
        for a, b in zip(seen.pair_start[joined].tolist(), seen.pair_end[joined].tolist(), strict=True):
            if a in shown and b in shown:
                join(shown, a, b)
        first: dict[int, int] = {}
        for code, label in zip(puzzle.points.tolist(), puzzle.labels[best].tolist(), strict=True):
            if not harness.reachable[code]:
                continue
            other = first.setdefault(label, code)
            names = harness.points[other], harness.points[code]
            if root(shown, code) != root(shown, other) and not barred(*names):
                return Step(
                    number,
                    "continuity",
                    *names,
                    None,
                    f"{names[0]} and {names[1]} joined, as follows from the rest",
                )
    return None


def along_comb(
    harness: Harness, readings: Readings, seen: Observations, done: Done, number: int
) -> Step | None:
    """A comb that conducts or leaks is halved until the net that does it is named; then its rest is read."""
    nets = harness.net_of
    state_of = _pair_states(harness, readings, seen)
    halved: list[tuple[int, list[int]]] = []  # (the net read against a comb, what of it is unsettled)
    rests: list[tuple[int, list[int]]] = []
    for index, (tied_start, tied_end) in readings.bonded.items():
        one, other = (int(readings.start[index]), *tied_start), (int(readings.end[index]), *tied_end)
        if len(one) != 1:
            one, other = other, one
        cleared = seen.low_ohm[index] >= harness.limits.isolation_ohms
        if cleared or len(one) != 1 or max(*one, *other) >= len(nets):
            continue
        states = {code: state_of.get(frozenset((int(nets[one[0]]), int(nets[code])))) for code in other}
        left = [code for code, state in states.items() if state is None]
        if left:
            (rests if TOUCHES in states.values() else halved).append((one[0], left))
    if halved:
        code, left = min(halved, key=lambda row: len(row[1]))
        name, teeth = harness.points[code], [harness.points[t] for t in left[: (len(left) + 1) // 2]]
        proves = f"which circuit of those clipped together {name} touches"
        return Step(number, "locate", name, teeth[0], None, proves, tuple(teeth[1:]), clip_at_end=True)
    if rests:
        code, left = max(rests, key=lambda row: len(row[1]))
        name, teeth = harness.points[code], [harness.points[t] for t in left]
        proves = f"{name} apart from the rest of the comb"
        return Step(
            number, "isolation", name, teeth[0], float("inf"), proves, tuple(teeth[1:]), clip_at_end=True
        )
    return None


def _pair_states(harness: Harness, readings: Readings, seen: Observations) -> dict[frozenset[int], str]:
    """Pairs of nets settled: by a reading of their own that conducts, or by any reading that clears them."""
    nets, limit = harness.net_of, harness.limits.isolation_ohms
    clear = (seen.pair_state == APART) & (seen.pair_low_ohm >= limit)
    alone = seen.low_ohm < limit
    alone[list(readings.bonded)] = False
    out: dict[frozenset[int], str] = {}
    for state, rows, start, end in (
        (CLEAR, clear, seen.pair_start, seen.pair_end),
        (TOUCHES, alone, readings.start, readings.end),
    ):
        rows = rows & (start < len(nets)) & (end < len(nets))
        for a, b in zip(nets[start[rows]].tolist(), nets[end[rows]].tolist(), strict=True):
            out[frozenset((a, b))] = state
    return out


def stubs_on_comb(
    harness: Harness, puzzles: Sequence[Puzzle], made: Plan, done: Done, number: int
) -> Step | None:
    """What lies beyond an open, read against the comb: it tells a broken wire from a misplaced one."""
    last = next((step for step in reversed(made.steps) if step.what == "isolation"), None)
    if last is None or not last.clip_at_end:
        return None
    comb = [harness.code_of[point] for point in (last.end, *last.bonded, last.start)]
    group = part_groups(harness)
    nets = harness.net_of
    for puzzle in puzzles:
        best = puzzle.labels[int(np.argmax(puzzle.weight))]
        label = dict(zip(puzzle.points.tolist(), best.tolist(), strict=True))
        on_comb = {label[code] for code in comb if code in label}
        fresh: dict[int, int] = {}
        for code in puzzle.points.tolist():
            if harness.reachable[code] and label[code] not in on_comb:
                fresh.setdefault(label[code], code)
        for code in fresh.values():
            teeth = [harness.points[t] for t in comb if group[nets[t]] != group[nets[code]]]
            if not teeth:
                continue
            name = harness.points[code]
            proves = f"the piece of {harness.nets[nets[code]].name} at {name} apart from the comb"
            step = Step(
                number, "isolation", name, teeth[0], float("inf"), proves, tuple(teeth[1:]), clip_at_end=True
            )
            if not done.has(step, 0):
                return step
    return None


class DoubtfulJoints:
    """The readings that undecided joints want: their nets' for joints, their own two ends, a second touch.

    The loom is judged once, and again when all that this asked for was read.
    """

    def __init__(self, harness: Harness) -> None:
        self._harness = harness
        self._rows = {wire.name: wire for wire in harness.wires}
        self._wanted: list[Step] = []
        self._judged = 0  # how many readings there were

    @cached_property
    def _joint_steps(self) -> list[Step]:
        return [step for step in plan(self._harness, "none", joints=True).steps if step.what == "joints"]

    def next(
        self, readings: Readings, instrument: Instrument, done: Done, skipped: Pairs, number: int
    ) -> Step | None:
        """The next one, None when no joint is undecided or nothing more would decide it."""
        step = self._left(done, skipped, number)
        if step is None and len(readings) != self._judged:
            self._wanted, self._judged = self._judge(readings, instrument, done), len(readings)
            step = self._left(done, skipped, number)
        return step

    def _left(self, done: Done, skipped: Pairs, number: int) -> Step | None:
        asked: Counter[frozenset[str]] = Counter()
        for step in self._wanted:
            pair = frozenset((step.start, step.end))
            asked[pair] += 1
            if pair not in skipped and done.plain[pair, False] < asked[pair]:
                return replace(step, step=number)
        return None

    def _judge(self, readings: Readings, instrument: Instrument, done: Done) -> list[Step]:
        from loomtest.diagnosis.judge import judge

        harness = self._harness
        verdict = judge(harness, readings, instrument)
        doubtful = {row.wire for row in verdict.wires if row.verdict == "undecided"}
        if not doubtful:
            return []
        nets = {int(harness.net_of[harness.code_of[self._rows[name].start]]) for name in doubtful}
        out = []
        for step in self._joint_steps:
            if int(harness.net_of[harness.code_of[step.start]]) in nets:
                out.append(step)
        fresh = [step for step in out if not done.plain[frozenset((step.start, step.end)), False]]
        if fresh:
            return fresh
        touches: list[Step] = []
        for name in sorted(doubtful):
            ends = (self._rows[name].start, self._rows[name].end)
            pair = frozenset(ends)
            if not pair & harness.unreachable and len(pair) == 2 and done.plain[pair, False] < MOST_TOUCHES:
                step = Step(0, "joints", *ends, None, f"the joints of {name}", wires=(name,))
                touches.extend([step] * MOST_TOUCHES)
        return touches
