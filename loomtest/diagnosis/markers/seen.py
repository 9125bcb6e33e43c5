"""What pairs and markers show together: one body of evidence, whoever measured it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from loomtest.diagnosis.markers.facts import MarkerFacts, marker_facts
from loomtest.diagnosis.markers.rounds import circuit_of
from loomtest.diagnosis.seen.observe import APART, JOINED, NO_VALUE_OHM, Observations, PairEvidence, observe
from loomtest.diagnosis.wiring import Wiring
from loomtest.harness.forest import components
from loomtest.harness.model import BoolArray, Harness
from loomtest.readings.model import Instrument, Readings


def seen_of(harness: Harness, readings: Readings, instrument: Instrument) -> tuple[Observations, MarkerFacts]:
    """The evidence of all readings, touches against marker clips included, and what those leave in doubt."""
    seen = observe(readings, instrument, harness.limits)
    if readings.marked is None or not len(readings.marked):
        return seen, MarkerFacts()
    settled = {
        (min(nets), max(nets))
        for a, b in zip(seen.pair_start.tolist(), seen.pair_end.tolist(), strict=True)
        if len(nets := {circuit_of(harness, a), circuit_of(harness, b)}) == 2
    }
    facts = marker_facts(harness, readings.marked, instrument, settled)
    return observe(readings, instrument, harness.limits, _as_pairs(facts)), facts


def _as_pairs(facts: MarkerFacts) -> PairEvidence:
    joined, apart = facts.joined, facts.apart
    return PairEvidence(
        start=np.array([a for a, *_ in (*joined, *apart)], dtype=np.int64),
        end=np.array([pair[1] for pair in (*joined, *apart)], dtype=np.int64),
        state=np.array([JOINED] * len(joined) + [APART] * len(apart), dtype=np.int8),
        low_ohm=np.array([NO_VALUE_OHM] * len(joined) + [ohm for _, _, ohm, _ in apart]),
        over=np.array([False] * len(joined) + [bound for *_, bound in apart], dtype=np.bool_),
    )


def wires_proved(harness: Harness, wiring: Wiring, joined: Sequence[tuple[int, int]], size: int) -> BoolArray:
    """(W,) True for the wires and fuses without which points that clips show joined would not be.

    `size`: number of points. A wire of a ring is none of them: the ring's other half would read alike.
    """
    out = np.zeros(len(harness.wires), dtype=np.bool_)
    if not joined:
        return out
    edges = [
        (wire, int(wiring.start[wire]), int(wiring.end[wire]))
        for wire in np.flatnonzero(harness.conducts & wiring.joined).tolist()
    ]
    shorts = [(int(a), int(b)) for a, b in wiring.shorts]
    whole = components(size, [(a, b) for _, a, b in edges] + shorts)
    pieces: dict[int, list[tuple[int, int, int]]] = {}
    for edge in edges:
        pieces.setdefault(whole[edge[1]], []).append(edge)
    asked: dict[int, list[tuple[int, int]]] = {}
    for a, b in joined:
        if whole[a] == whole[b]:
            asked.setdefault(whole[a], []).append((a, b))
    for piece, pairs in asked.items():
        own = pieces.get(piece, [])
        tied = [pair for pair in shorts if whole[pair[0]] == piece]
        codes = sorted({p for _, a, b in own for p in (a, b)} | {p for pair in [*pairs, *tied] for p in pair})
        local = {code: index for index, code in enumerate(codes)}
        for wire, _, _ in own:
            rest = [(local[a], local[b]) for other, a, b in own if other != wire]
            rest += [(local[a], local[b]) for a, b in tied]
            labels = components(len(codes), rest)
            out[wire] = any(labels[local[a]] != labels[local[b]] for a, b in pairs)
    return out
