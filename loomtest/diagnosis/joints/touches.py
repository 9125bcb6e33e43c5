"""One touch condemns nobody: a probe that sits badly reads too much, and a second touch tells.

What readings through two leads say of a bad joint stands only when two touches show it, on one pair or on
two; a reading by another method stands by itself.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from loomtest.diagnosis.joints.estimate import Prior, Solution
from loomtest.diagnosis.joints.healthy import nudged, sensitivities
from loomtest.diagnosis.joints.layout import ENOUGH, Arranged
from loomtest.diagnosis.joints.sparse import effect
from loomtest.diagnosis.seen.consistency import Steadiness

_SHOWN = 0.5  # a touch shows a joint when it is high by this share of what the joint adds there
_MATERIAL = 0.05  # share of the largest rise of any reading that another must have to be asked


def agreed(
    links: Sequence[int], solution: Solution, prior: Prior, arranged: Arranged, steady: Steadiness
) -> bool:
    """True when two touches, or one reading of another kind, show that one of these links of a net is bad."""
    s, layout = solution, arranged.layout
    wires = np.flatnonzero(np.isin(s.link[layout.wire], np.array(links)))
    if not wires.size:
        return False
    net = int(np.searchsorted(layout.wire_from, wires[0], side="right")) - 1
    got, a, loop = sensitivities(layout, np.array([net]), nudged(prior.mean[layout.wire]))
    expected = np.einsum("nm,m->n", a[0], prior.mean[layout.wire[got.wire[0]]])
    of = {int(link): int(np.flatnonzero(s.link[layout.wire[got.wire[0]]] == link)[0]) for link in links}
    excess = np.array([max(float(s.quantiles[1, link] - s.prior_mean[link]), 0.0) for link in of])
    column = np.array(list(of.values()))
    rise = a[0][:, column] * effect(excess, loop[0, column])
    most = np.max(rise, axis=1)
    high = got.value[0] - s.shared_mean * got.shared[0] - expected
    shows = (got.weight[0] > 0) & (most > _MATERIAL * most.max(initial=0.0)) & (high >= _SHOWN * most)
    begin, count = int(layout.pair_from[net]), int(layout.pair_count[net])
    touches = layout.touches[begin : begin + count]
    unsteady = _in(arranged.pair[begin : begin + count], steady.unsteady)
    return bool(touches[shows[:count] & ~unsteady].sum() >= ENOUGH)


def _in(pairs: np.ndarray, unsteady: np.ndarray) -> np.ndarray:
    """(n,) which pairs of codes are among the unsteady ones."""
    known = {tuple(sorted(pair)) for pair in unsteady.tolist()}
    return np.array([tuple(sorted(pair)) in known for pair in pairs.tolist()], dtype=np.bool_)
