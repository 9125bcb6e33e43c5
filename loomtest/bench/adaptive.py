"""The next best probing, given what was measured so far.

First the plan's own steps inside the nets. Then, for every net that is broken, the probing worth most:
expected information (the entropy of its outcome over the hypotheses that agree with the readings) per
second of arm movement, until what remains cannot be told apart or one explanation stands out. Then what
the broken wires hid: points that should still be joined under that explanation. Then the isolation steps,
and after them a bisection of any comb that conducts. At last the readings that an undecided joint wants.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from loomtest.bench.plan import Plan, Step, plan
from loomtest.bench.plan_route import station_of
from loomtest.bench.plan_suspects import Case, open_cases
from loomtest.bench.plan_words import SECONDS_PER_CLIP, SECONDS_PER_PROBING, SECONDS_PER_WALK
from loomtest.diagnosis.observe import JOINED, Observations, observe
from loomtest.harness.model import FloatArray, Harness
from loomtest.readings.instrument import generic_handheld
from loomtest.readings.model import Instrument, Quantity, Readings

STANDS_OUT = 0.9  # posterior of one distinguishable explanation at which it is looked for no further
LEAST_BITS = 1e-6


def next_probing(
    harness: Harness,
    readings: Readings,
    instrument: Instrument | None = None,
    planned: Plan | None = None,
) -> Step | None:
    """What to measure next, or None when no further probing can change the verdict.

    `planned`: the plan to work through, `plan(harness)` where None (pass it to save making it again).
    """
    meter = instrument or readings.instrument or generic_handheld()
    made = planned or plan(harness)
    number = len(readings) + 1
    done = _Done(harness, readings)
    inner = next((step for step in _unmeasured(made.steps, done, inside=True)), None)
    if inner is not None:
        return inner
    seen = observe(readings, meter, harness.limits)
    arms = _Arms.after(harness, readings)
    cases = open_cases(harness, seen)
    for case in cases:
        step = best_of_case(harness, case, arms, number)
        if step is not None:
            return step
    hidden = _hidden(harness, cases, seen, done, number)
    if hidden is not None:
        return hidden
    return next(_unmeasured(made.steps, done, inside=False), None)


@dataclass(frozen=True)
class _Arms:
    """Where the clip hangs and at which station the probe is."""

    clip: str = ""
    station: str = ""

    @classmethod
    def after(cls, harness: Harness, readings: Readings) -> _Arms:
        if not len(readings):
            return cls()
        last = int(np.argmax(readings.row))
        return cls(
            readings.points[int(readings.start[last])], station_of(readings.points[int(readings.end[last])])
        )

    def seconds(self, clip: str, probe: str) -> float:
        """Time to touch these two next."""
        out = SECONDS_PER_PROBING
        out += SECONDS_PER_CLIP * (clip != self.clip)
        return out + SECONDS_PER_WALK * (station_of(probe) != self.station)


class _Done:
    """Which steps the readings have done: by the pair, as often as the plan asks for it."""

    def __init__(self, harness: Harness, readings: Readings) -> None:
        names = readings.points
        self.plain: Counter[tuple[frozenset[str], bool]] = Counter()
        self.cleared: set[frozenset[str]] = set()
        self.combs: set[tuple[str, frozenset[str]]] = set()
        for index, (a, b, quantity, value) in enumerate(
            zip(
                readings.start.tolist(),
                readings.end.tolist(),
                readings.quantity.tolist(),
                readings.value.tolist(),
                strict=True,
            )
        ):
            tied_a, tied_b = readings.bonded.get(index, ((), ()))
            if not tied_a and not tied_b:
                self.plain[frozenset((names[a], names[b])), quantity == Quantity.DIODE] += 1
                continue
            one, other = [a, *tied_a], [b, *tied_b]
            if len(one) == 1:
                self.combs.add((names[a], frozenset(names[code] for code in other)))
            if len(other) == 1:
                self.combs.add((names[b], frozenset(names[code] for code in one)))
            if value == float("inf"):
                self.cleared.update(frozenset((names[x], names[y])) for x in one for y in other)

    def has(self, step: Step, before: int) -> bool:
        """True when the step is done, `before` being how many earlier steps of the plan ask for the same."""
        pair = frozenset((step.start, step.end))
        if step.bonded:
            others = frozenset((step.end, *step.bonded))
            if (step.start, others) in self.combs:
                return True
            return all(self._apart(frozenset((step.start, other))) for other in others)
        if step.what == "isolation":
            return self._apart(pair)
        return self.plain[pair, step.quantity == "diode"] > before

    def _apart(self, pair: frozenset[str]) -> bool:
        return pair in self.cleared or self.plain[pair, False] > 0


def _unmeasured(steps: Sequence[Step], done: _Done, inside: bool) -> Iterator[Step]:
    asked: Counter[tuple[frozenset[str], bool]] = Counter()
    for step in steps:
        if (step.what == "isolation") == inside:
            if inside:
                return
            continue
        key = frozenset((step.start, step.end)), step.quantity == "diode"
        if not done.has(step, asked[key]):
            yield step
        asked[key] += 1


def information(case: Case, reachable: Sequence[int]) -> tuple[FloatArray, FloatArray]:
    """Over the pairs of reachable points (columns of `case.labels`): (R, R) probability that they are joined,
    and (R, R) expected information of reading them in bits."""
    labels = case.labels[:, list(reachable)]
    joined = np.zeros((len(reachable), len(reachable)))
    for row, weight in zip(labels, case.weight, strict=True):
        joined += weight * (row[:, None] == row[None, :])
    p = np.clip(joined, 0.0, 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        bits = -(p * np.log2(p) + (1 - p) * np.log2(1 - p))
    bits[~np.isfinite(bits) | (bits < LEAST_BITS)] = 0.0
    return p, bits


def standing_out(case: Case, reachable: Sequence[int]) -> float:
    """Weight of the likeliest explanation, all that no probing tells from it included."""
    shown: dict[bytes, float] = {}
    for row, weight in zip(case.labels[:, list(reachable)], case.weight, strict=True):
        first = np.unique(row, return_inverse=True)[1]
        _, order = np.unique(first, return_index=True)
        canonical = np.argsort(np.argsort(order))[first]
        shown[canonical.tobytes()] = shown.get(canonical.tobytes(), 0.0) + float(weight)
    return max(shown.values(), default=1.0)


def best_of_case(harness: Harness, case: Case, arms: _Arms, number: int) -> Step | None:
    """The probing of most information per second, None when the case is as settled as it can be."""
    reachable = np.flatnonzero(harness.reachable[case.points]).tolist()
    if not len(case.weight) or standing_out(case, reachable) >= STANDS_OUT:
        return None
    p, bits = information(case, reachable)
    names = [harness.points[case.points[i]] for i in reachable]
    best: tuple[float, int, int] | None = None
    for i, clip in enumerate(names):
        for j, probe in enumerate(names):
            if bits[i, j] > 0:
                worth = float(bits[i, j]) / arms.seconds(clip, probe)
                if best is None or worth > best[0] * (1 + 1e-9):
                    best = (worth, i, j)
    if best is None:
        return None
    _, i, j = best
    expected = None if p[i, j] >= 0.5 else float("inf")
    return Step(number, "locate", names[i], names[j], expected, _decides(harness, case, names[i], names[j]))


def _decides(harness: Harness, case: Case, one: str, other: str) -> str:
    """What the probing decides, in words."""
    wires = sorted({wire for opens in case.opens for wire in opens})
    moved = any(case.moves)
    names = ", ".join(harness.wires[wire].name for wire in wires[:6])
    same_net = harness.net_of[harness.code_of[one]] == harness.net_of[harness.code_of[other]]
    if moved and not same_net:
        return f"crossed or broken: {names}"
    return f"which is open: {names}"


def _hidden(
    harness: Harness, cases: Sequence[Case], seen: Observations, done: _Done, number: int
) -> Step | None:
    """Two points that the likeliest explanation joins and no reading has shown joined."""
    for case in cases:
        if not len(case.weight):
            continue
        best = int(np.argmax(case.weight))
        joined = seen.pair_state == JOINED
        parent = {code: code for code in case.points.tolist()}

        def find(code: int, parent: dict[int, int] = parent) -> int:
            while parent[code] != code:
                code = parent[code]
            return code

        for a, b in zip(seen.pair_start[joined].tolist(), seen.pair_end[joined].tolist(), strict=True):
            if a in parent and b in parent:
                parent[find(a)] = find(b)
        first: dict[int, int] = {}
        for code, label in zip(case.points.tolist(), case.labels[best].tolist(), strict=True):
            if not harness.reachable[code]:
                continue
            other = first.setdefault(label, code)
            names = harness.points[other], harness.points[code]
            if find(code) != find(other) and not done.plain[frozenset(names), False]:
                return Step(number, "continuity", *names, None, f"{names[0]} and {names[1]} still joined")
    return None
