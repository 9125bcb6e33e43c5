"""One touch condemns nobody: a probe that sits badly reads too much, and a second touch tells.

What readings through two leads say of a bad joint stands only when two touches show it, on one pair or on
two; a reading by another method stands by itself.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from loomtest.diagnosis.joints.estimate import Prior, Solution
from loomtest.diagnosis.joints.healthy import sensitivities
from loomtest.diagnosis.joints.layout import BY_ITSELF, Arranged
from loomtest.diagnosis.joints.sparse import OPEN_OHM
from loomtest.diagnosis.seen.consistency import Steadiness

ENOUGH = 2.0  # touches that condemn a joint
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
    begin, count = int(layout.pair_from[net]), int(layout.pair_count[net])
    touches = layout.touches[begin : begin + count]
    if count and not steady.unsteady.size and touches.min() >= BY_ITSELF:
        return True  # nobody held a probe
    link = s.link[layout.wire]
    found = np.clip(s.quantiles[1, link] / s.size[link], 1e-6, OPEN_OHM)
    healthy = found.copy()
    healthy[wires] = prior.mean[layout.wire[wires]]
    shown = []
    for ohm in (found, healthy):
        got, a, _ = sensitivities(layout, np.array([net]), ohm)
        shown.append(np.einsum("nm,m->n", a[0], ohm[got.wire[0]]))
    value = got.value[0] - s.shared_mean * got.shared[0]
    rise = shown[0] - shown[1]
    material = (got.weight[0] > 0) & (rise > _MATERIAL * rise.max(initial=0.0))
    shows = material & (np.abs(value - shown[0]) <= np.abs(value - shown[1]))
    unsteady = _in(arranged.pair[begin : begin + count], steady.unsteady)
    by_itself = material[:count] & ~unsteady & (touches >= BY_ITSELF)
    return bool(by_itself.any() or touches[shows[:count] & ~unsteady].sum() >= ENOUGH)


def _in(pairs: np.ndarray, unsteady: np.ndarray) -> np.ndarray:
    """(n,) which pairs of codes are among the unsteady ones."""
    known = {tuple(sorted(pair)) for pair in unsteady.tolist()}
    return np.array([tuple(sorted(pair)) in known for pair in pairs.tolist()], dtype=np.bool_)
