"""Readings between nets that parts join through other nets: two feeds with a lamp each on one ground.

They read two lamps in series, never over-range. A value that those parts explain shows the two nets apart: a
bridge between them would read less.
"""

from __future__ import annotations

import numpy as np

from loomtest.diagnosis.faults.parts import part_range
from loomtest.diagnosis.faults.scene import PartPaths
from loomtest.diagnosis.seen.observe import Observations
from loomtest.diagnosis.wiring import Wiring
from loomtest.harness.model import BoolArray, Harness, IntArray


def explained_by_parts(
    harness: Harness, wiring: Wiring, seen: Observations, labels: IntArray, slack_ohm: float
) -> BoolArray:
    """(m,) pairs of `seen` read within what the parts on the way give, none of them directly across.

    `labels`: (P,) what wires, fuses and shorts join as found. `slack_ohm`: what leads, touch and the wires
    on the way may add.
    """
    out = np.zeros(len(seen.pair_start), dtype=np.bool_)
    standing = harness.parts & wiring.joined & np.array([w.kind != "switch" for w in harness.wires])
    wires: list[int] = np.flatnonzero(standing).tolist()
    if len(wires) < 2:
        return out
    size = int(labels.max()) + 1
    ends = labels[wiring.start[wires]], labels[wiring.end[wires]]
    network = PartPaths(
        size,
        ((int(a), int(b), *part_range(harness.wires[w])) for w, a, b in zip(wires, *ends, strict=True)),
    )
    group = network.group_of(size)
    a, b = labels[seen.pair_start], labels[seen.pair_end]
    across = np.minimum(*ends) * size + np.maximum(*ends)
    between = (a != b) & (group[a] == group[b])
    between &= ~np.isin(np.minimum(a, b) * size + np.maximum(a, b), across)
    rows = np.flatnonzero(between)
    for row in rows.tolist():
        bounds = network.between(int(a[row]), int(b[row]))
        if bounds is None:
            continue
        ohm = float(seen.pair_low_ohm[row])
        out[row] = bounds[0] * 0.98 <= ohm and (seen.pair_over[row] or ohm <= bounds[1] * 1.02 + slack_ohm)
    return out
