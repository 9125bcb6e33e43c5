"""Readings that do not fit what was found: nothing that a meter showed is passed over in silence.

One reading that contradicts several others is outvoted by the smallest explanation. It may have been taken at
another point, or a joint came and went just then: either way it stands between the loom and a `pass`.
"""

from __future__ import annotations

import numpy as np

from loomtest.diagnosis.seen.observe import APART, JOINED, Observations
from loomtest.diagnosis.verdict import Finding
from loomtest.diagnosis.wording import capital, ohms_text, point_text
from loomtest.harness.model import Harness, IntArray

MOST_TOLD = 10  # past it the explanation is at fault, and more of the same would not help


def unexplained(
    harness: Harness, points: tuple[str, ...], seen: Observations, joined: IntArray, through_parts: IntArray
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
        one, other = (point_text(harness, name) for name in names)
        ohm = float(seen.pair_low_ohm[index])
        if apart[index]:
            read = "over-range" if seen.pair_over[index] else ohms_text(ohm)
            said = f"read {read}, and the other readings have them joined"
        else:
            said = f"read {ohms_text(ohm)}, and nothing that was found joins them"
        out.append(
            Finding(
                "intermittent",
                names,
                text=f"{capital(one)} and {other} {said}: a reading was taken at another point, or a joint "
                "comes and goes.",
                next=f"Measure {names[0]} to {names[1]} again, probes touched anew, and flex the loom "
                "meanwhile.",
            )
        )
    return tuple(out)
