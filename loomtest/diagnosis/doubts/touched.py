"""Does the loom as found give every touch against marker clips?

A touch on a piece of copper reads at most the clips that sit on it, and 100 Ω of wire more; at least those
with every clip that a finding, a part or clips out of place may add, less what `isolation_ohms` lets leak. A
touch outside is doubted, unless a doubt of its own already leaves it open.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from loomtest.diagnosis.markers.decode import OWN_SD
from loomtest.diagnosis.markers.doubts import (
    Damp,
    Doubt,
    LeaksAlone,
    MaybeClipsTouch,
    MuchInWire,
    NotRegistered,
    OtherMeter,
    ReadsNothing,
)
from loomtest.diagnosis.markers.facts import MarkerFacts
from loomtest.diagnosis.markers.kit import JOINT_OHM, touch_sd_of
from loomtest.diagnosis.markers.rounds import RoundRead, really_joined
from loomtest.diagnosis.markers.touches import side_by_side_ohm
from loomtest.diagnosis.verdict import Doubted, DoubtKind
from loomtest.harness.model import IntArray
from loomtest.readings.marked import COMMON


@dataclass(frozen=True)
class CopperAsFound:
    """(P,) `labels`: what wires, fuses and shorts join; `linked`: what parts, leaks and findings join too."""

    labels: IntArray
    linked: IntArray


def doubted_touches(
    copper: CopperAsFound, points: Sequence[str], facts: MarkerFacts, isolation_ohm: float
) -> list[Doubted]:
    """The touches that the loom as found does not give, in the order of the rounds. Pure.

    `points`: the names of the codes. `isolation_ohm`: what may leak without being a fault.
    """
    out = []
    for one in facts.rounds:
        for index in range(len(one.touches)):
            if _left_open(copper, facts.doubts, one, index):
                continue
            least, most = _expected(copper, facts, one, index)
            kind = _misfit(one, one.touches[index].ohm, (least, most), isolation_ohm)
            if kind is not None:
                name, ohm = points[one.points[index]], one.touches[index].ohm
                given = most if kind == "joined" or ohm > most else least
                out.append(Doubted(one.rows[index], name, COMMON, kind, "resistance", ohm, given, given))
    return out


def _expected(copper: CopperAsFound, facts: MarkerFacts, one: RoundRead, index: int) -> tuple[float, float]:
    """(least, most) ohms of the clips that the touch may read; +inf of none."""
    point, block = one.points[index], one.decoded.blocks[index]
    loose = set(one.astray)
    for doubt in facts.doubts:
        if isinstance(doubt, NotRegistered) and doubt.round == one.number:
            loose |= {clip for clip, seat in enumerate(one.seats) if seat.clip.marker == doubt.clip}
    sure = {
        clip
        for clip, seat in enumerate(one.seats)
        if copper.labels[seat.point] == copper.labels[point] and clip not in loose
    }
    may = sure | (loose & set(block))
    may |= {
        clip for clip, seat in enumerate(one.seats) if copper.linked[seat.point] == copper.linked[point]
    } - loose
    touching = len(block) > 1 and _clips_may_touch(facts, one, index)
    if touching and sure & set(block):
        may |= set(block)
    return one.clips_ohm(tuple(sorted(may))), one.clips_ohm(tuple(sorted(sure)))


def _clips_may_touch(facts: MarkerFacts, one: RoundRead, index: int) -> bool:
    block = one.decoded.blocks[index]
    if really_joined(one, block, facts.rounds) is False:
        return True
    names = set(one.names(one.own(block)))
    return any(isinstance(doubt, MaybeClipsTouch) and names <= set(doubt.clips) for doubt in facts.doubts)


def _misfit(
    one: RoundRead, ohm: float, expected: tuple[float, float], isolation_ohm: float
) -> DoubtKind | None:
    least, most = expected
    if math.isinf(ohm):
        return None if math.isinf(most) else "joined"
    if math.isinf(least):
        # nothing is joined to the point: what is left may leak to all clips together
        return None if ohm >= isolation_ohm else "apart"
    low = side_by_side_ohm((least, isolation_ohm))
    if low - OWN_SD * touch_sd_of(low, one.held) > ohm:
        return "value"
    if math.isinf(most):
        return None
    return "value" if ohm > most + JOINT_OHM + OWN_SD * touch_sd_of(most, one.held) else None


def _left_open(copper: CopperAsFound, doubts: Sequence[Doubt], one: RoundRead, index: int) -> bool:
    """Whether a doubt that is told already speaks for this touch."""
    point = one.points[index]
    for doubt in doubts:
        if isinstance(doubt, OtherMeter) and doubt.round == one.number:
            return True
        if isinstance(doubt, ReadsNothing | MuchInWire | NotRegistered) and doubt.point == point:
            return True
        if isinstance(doubt, LeaksAlone) and copper.labels[doubt.point] == copper.labels[point]:
            return True
        if isinstance(doubt, Damp) and copper.labels[point] in copper.labels[list(doubt.points)]:
            return True
    return False
