"""Readings that do not fit what was found: nothing that a meter showed is passed over in silence.

One reading that contradicts several others is outvoted by the smallest explanation. It may have been taken at
another point, or a joint came and went just then: either way it stands between the loom and a `pass`.
"""

from __future__ import annotations

import math

import numpy as np

from loomtest.diagnosis.seen.observe import APART, JOINED, Observations
from loomtest.diagnosis.verdict import Finding
from loomtest.diagnosis.why import Contradicts, TouchAnew
from loomtest.harness.model import IntArray

MOST_TOLD = 10  # past it the explanation is at fault, and more of the same would not help


def unexplained(
    points: tuple[str, ...], seen: Observations, joined: IntArray, through_parts: IntArray
) -> tuple[Finding, ...]:
    """Suspicions, at most MOST_TOLD: pairs read apart that are joined as found, and the reverse.

    `joined`: (P,) labels of what wires, fuses and shorts join as found; `through_parts`: the same with every
    part as a join, for a lamp reads like a wire.
    """
    a, b = seen.pair_start, seen.pair_end
    apart = (seen.pair_state == APART) & (joined[a] == joined[b])
    together = (seen.pair_state == JOINED) & (through_parts[a] != through_parts[b])
    out = []
    for index in np.flatnonzero(apart | together)[:MOST_TOLD].tolist():
        names = points[int(a[index])], points[int(b[index])]
        ohm = math.inf if seen.pair_over[index] else float(seen.pair_low_ohm[index])
        out.append(
            Finding("intermittent", names, why=Contradicts(ohm, bool(apart[index])), todo=TouchAnew(*names))
        )
    return tuple(out)
