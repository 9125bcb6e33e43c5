"""Doubts of marker touches as findings that are not decided."""

from __future__ import annotations

from collections.abc import Sequence

from loomtest.diagnosis.markers.doubts import (
    ClipAstray,
    Damp,
    Doubt,
    LeaksAlone,
    LeftByMarkers,
    MaybeClipsTouch,
    MuchInWire,
    NotRegistered,
    OtherMeter,
    ReadsNothing,
    SettleByTouch,
)
from loomtest.diagnosis.verdict import Fault, Finding
from loomtest.harness.model import BoolArray, Harness


def marker_findings(
    harness: Harness, points: Sequence[str], doubts: Sequence[Doubt], tested: BoolArray
) -> tuple[Finding, ...]:
    """One undecided finding for each doubt that still leaves something open, in their order.

    `tested`: (W,) wires that readings proved: where a clip sat wrong and all wires there were proved anyhow,
    nothing is left open.
    """
    out: list[Finding] = []
    for doubt in doubts:
        if isinstance(doubt, ClipAstray) and _proved(harness, doubt.seat, tested):
            continue
        fault, codes = _place(doubt)
        names = tuple(points[code] for code in codes)
        same = next((f for f in out if f.points == names and f.fault == fault), None)
        if same is None:
            out.append(Finding(fault, names, why=LeftByMarkers(doubt), todo=SettleByTouch(doubt)))
    return tuple(out)


def _proved(harness: Harness, seat: int, tested: BoolArray) -> bool:
    if seat >= len(harness.points):
        return True
    return bool(tested[list(harness.nets[int(harness.net_of[seat])].conductors)].all())


def _place(doubt: Doubt) -> tuple[Fault, tuple[int, ...]]:
    """What it would be, and the points it is about."""
    if isinstance(doubt, NotRegistered):
        return ("crossed" if doubt.reads else "open"), (doubt.seat, doubt.point)
    if isinstance(doubt, MaybeClipsTouch):
        return "short", doubt.seats
    if isinstance(doubt, ClipAstray):
        return "open", (doubt.seat,)
    if isinstance(doubt, Damp):
        return "leakage", doubt.points
    if isinstance(doubt, LeaksAlone):
        return "leakage", (doubt.point,)
    if isinstance(doubt, MuchInWire):
        return "high-resistance", (doubt.seat, doubt.point)
    if isinstance(doubt, ReadsNothing):
        return "intermittent", (doubt.point,)
    assert isinstance(doubt, OtherMeter)
    return "high-resistance", ()
