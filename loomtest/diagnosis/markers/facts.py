"""From decoded rounds to what readings of pairs would say: points joined, points apart, and what is in doubt.

Two points that read the same single clip are joined by the loom. Two that read different ones are apart, and
how far follows from how little lower than their clips they read: what leaks from a circuit leaks to all
others together. Circuits that read several clips alike are joined in the loom once a clip was pulled and the
short stayed; before that the clips may touch each other. Over-range is joined to no clip, apart by what the
meter's over-range proves.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from loomtest.diagnosis.markers.doubts import (
    ClipAstray,
    Damp,
    Doubt,
    LeaksAlone,
    MaybeClipsTouch,
    MuchInWire,
    NotRegistered,
    OtherMeter,
    ReadsNothing,
)
from loomtest.diagnosis.markers.kit import JOINT_OHM, touch_sd_ohm
from loomtest.diagnosis.markers.leaks import Leak, leaks_of, parted_by_ohms
from loomtest.diagnosis.markers.rounds import RoundRead, circuit_of, read_rounds, really_joined
from loomtest.diagnosis.markers.touches import Block
from loomtest.diagnosis.numbers.statistics import median
from loomtest.diagnosis.seen.isolation import part_groups
from loomtest.harness.model import Harness
from loomtest.readings.generic import over_range_proves_ohm
from loomtest.readings.marked import Marked, Seat
from loomtest.readings.model import Instrument

_SURE_SD = 2.0  # a reading may be so many standard uncertainties off before a leak is bounded by it
_MUCH_SD = 5.0  # ohms in the wire are told above so many
_OTHER_METER_SD = 4.0  # the median touch stands so far above its clip: no wire, another meter or range
_DAMP_CIRCUITS = 3
LEAKS_BELOW_OHM = 1.5e6  # a touch that reads more than the clips and less than this leaks to one of them
Pair = tuple[int, int]


@dataclass(frozen=True, kw_only=True)
class MarkerFacts:
    """`joined`: pairs of points (codes). `apart`: pairs with the least ohms that were shown between them, and
    whether that is only a bound (False: so much was read). `doubts`: what a further touch would settle.
    `rounds`: the touches themselves."""

    joined: tuple[Pair, ...] = ()
    apart: tuple[tuple[int, int, float, bool], ...] = ()
    doubts: tuple[Doubt, ...] = ()
    rounds: tuple[RoundRead, ...] = ()


@dataclass
class _Facts:
    harness: Harness
    instrument: Instrument
    rounds: Sequence[RoundRead]
    joined: list[Pair] = field(default_factory=list)
    apart: dict[Pair, tuple[float, bool]] = field(default_factory=dict)
    doubts: list[Doubt] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._group = part_groups(self.harness)

    def parts_join(self, a: int, b: int) -> bool:
        """Whether parts left plugged in may lead from one point's circuit to the other's."""
        nets = circuit_of(self.harness, a), circuit_of(self.harness, b)
        if nets[0] == nets[1] or max(nets) >= len(self._group):
            return False
        return bool(self._group[nets[0]] == self._group[nets[1]])

    def add_apart(self, a: int, b: int, ohm: float, bound: bool) -> None:
        """Keep the most that was shown; what was read goes before a bound."""
        if a == b or (not bound and self.parts_join(a, b)):
            return
        key = (min(a, b), max(a, b))
        before = self.apart.get(key)
        if before is None or (before[1] and not bound) or (before[1] == bound and before[0] < ohm):
            self.apart[key] = (ohm, bound)


def marker_facts(
    harness: Harness, marked: Marked, instrument: Instrument, settled: Iterable[Pair] = ()
) -> MarkerFacts:
    """What all touches of all rounds say together.

    `settled`: pairs of circuits (nets, ascending) that readings of pairs have shown joined or apart: no
    question about clips that touch each other is left there.
    """
    rounds = read_rounds(harness, marked, instrument)
    facts = _Facts(harness, instrument, rounds)
    known = set(settled)
    for one in rounds:
        _of_round(facts, one, known)
    joined = tuple(dict.fromkeys(facts.joined))
    gone = set(joined)
    apart = tuple((*pair, *told) for pair, told in sorted(facts.apart.items()) if pair not in gone)
    doubts = [doubt for doubt in dict.fromkeys(facts.doubts) if not _settled_later(doubt, rounds, joined)]
    return MarkerFacts(joined=joined, apart=apart, doubts=tuple(doubts), rounds=tuple(rounds))


def _settled_later(doubt: Doubt, rounds: Sequence[RoundRead], joined: Sequence[Pair]) -> bool:
    """Whether a later round, or a further touch, answered it: with other clips on, a touch says nothing about
    those that were in doubt."""
    if isinstance(doubt, ReadsNothing | LeaksAlone):
        asked = next(one for one in rounds if one.number == doubt.round)
        seats = {(seat.clip.marker, seat.point) for seat in asked.seats}
        reads = [
            (index, one)
            for one in rounds
            for index, point in enumerate(one.points)
            if point == doubt.point
            and one.decoded.blocks[index]
            and index not in one.decoded.doubtful
            and any(
                (one.seats[c].clip.marker, one.seats[c].point) in seats for c in one.decoded.blocks[index]
            )
        ]
        if any(one.decoded.blocks[index] not in one.decoded.leaking for index, one in reads):
            return True
        marked = {seat.point for seat in asked.seats}
        return isinstance(doubt, ReadsNothing) and any(
            doubt.point in pair and marked & set(pair) for pair in joined
        )
    if isinstance(doubt, NotRegistered | ClipAstray):
        wanted = {(doubt.clip, doubt.seat)}
    elif isinstance(doubt, MaybeClipsTouch):
        wanted = set(zip(doubt.clips, doubt.seats, strict=True))
    else:
        return False
    for one in rounds:
        own = {(one.seats[clip].clip.marker, one.seats[clip].point): clip for clip in one.read}
        if one.number > doubt.round and wanted <= own.keys():
            clips = {own[key] for key in wanted}
            if all(len(clips & set(block)) < 2 for block in one.decoded.blocks):
                return True
    return False


def _of_round(facts: _Facts, one: RoundRead, settled: set[Pair]) -> None:
    members = _members(one)
    leaks = leaks_of(one.ohms, one.touches, one.decoded.blocks, one.decoded.leaking, one.held)
    parted = _parted(facts, one, members)
    for block in members:
        own = one.own(block)
        if len(own) <= 1 or really_joined(one, block, facts.rounds):
            if block not in parted:
                _join(facts, members[block])
        elif block not in parted:
            _maybe_clips(facts, one, block, members[block], settled)
    _apart_between(facts, one, members, leaks)
    for leak in [*leaks, *parted.values()]:
        _leak(facts, one, members, leak, parted)
    _damp_or_alone(facts, one, leaks)
    _over_range(facts, one, members)
    _doubts(facts, one)


def _members(one: RoundRead) -> dict[Block, list[int]]:
    """The points of every block: touched ones, and where a trusted clip sits that was not touched."""
    out: dict[Block, list[int]] = {}
    for index, (point, block) in enumerate(zip(one.points, one.decoded.blocks, strict=True)):
        if block and index not in one.decoded.doubtful and point not in out.setdefault(block, []):
            out[block].append(point)
    for clip in sorted(one.trusted):
        block = next((block for block in out if clip in block), (clip,))
        if one.seats[clip].point not in one.points:
            out.setdefault(block, []).append(one.seats[clip].point)
    return out


def _join(facts: _Facts, points: Sequence[int]) -> None:
    for point in points[1:]:
        if not facts.parts_join(points[0], point):
            facts.joined.append((min(points[0], point), max(points[0], point)))


def _parted(facts: _Facts, one: RoundRead, members: dict[Block, list[int]]) -> dict[Block, Leak]:
    """Blocks of two that are no short: hundreds of ohms stand between them."""
    out = {}
    for block in members:
        read: dict[int, list[float]] = {}
        for index in one.readers(block):
            read.setdefault(one.touches[index].clip, []).append(one.touches[index].ohm)
        short = facts.harness.limits.short_below_ohms
        if block in one.decoded.leaking or really_joined(one, block, facts.rounds) is False:
            continue
        ohm = parted_by_ohms(block, one.ohms, read, one.held, short)
        if ohm is not None:
            out[block] = Leak((block[0],), (block[1],), ohm)
    return out


def _maybe_clips(
    facts: _Facts, one: RoundRead, block: Block, points: Sequence[int], settled: set[Pair]
) -> None:
    """Circuits read alike, and nobody pulled a clip: their clips may touch each other, or a part is in."""
    own = one.own(block)
    seats = [one.seats[clip].point for clip in own]
    nets = sorted({circuit_of(facts.harness, seat) for seat in seats})
    if any(facts.parts_join(seats[0], seat) for seat in seats[1:]):
        return
    if all((a, b) in settled for a in nets for b in nets if a < b):
        return
    if really_joined(one, block, facts.rounds) is None:
        built_in = all(one.seats[clip].clip.plug for clip in own)
        facts.doubts.append(MaybeClipsTouch(tuple(seats), one.names(own), one.number, built_in))


def _bound(one: RoundRead, block: Block, leaks: Sequence[Leak]) -> float:
    """The least ohms that may leak from a block's circuit to all others together, leaks between two named
    circuits left out; 0 where none was read."""
    read = [one.touches[index].ohm for index in one.readers(block)]
    if not read:
        return 0.0
    clips = one.clips_ohm(block)
    for leak in leaks:
        if leak.other and block in (leak.one, leak.other):
            far = leak.other if block == leak.one else leak.one
            clips = 1.0 / (1.0 / clips + 1.0 / (leak.ohm + one.clips_ohm(far)))
    low = min(min(read), clips) - _SURE_SD * float(touch_sd_ohm(np.array(clips), one.held))
    return 1.0 / (1.0 / low - 1.0 / clips) if low > 0 else 0.0


def _apart_between(
    facts: _Facts, one: RoundRead, members: dict[Block, list[int]], leaks: Sequence[Leak]
) -> None:
    bounds = {block: _bound(one, block, leaks) for block in members}
    blocks = list(members)
    for position, block in enumerate(blocks):
        for other in blocks[position + 1 :]:
            ohm = max(bounds[block], bounds[other])
            for a in members[block]:
                for b in members[other]:
                    facts.add_apart(a, b, ohm, True)


def _leak(
    facts: _Facts, one: RoundRead, members: dict[Block, list[int]], leak: Leak, parted: dict[Block, Leak]
) -> None:
    """A leak between two circuits: so much was read between their points."""
    if not leak.other:
        return
    sides = []
    for block in (leak.one, leak.other):
        if leak in parted.values():
            whole = next(b for b, own in parted.items() if own is leak)
            clip = block[0]
            home = circuit_of(facts.harness, one.seats[clip].point)
            sides.append([p for p in members[whole] if circuit_of(facts.harness, p) == home])
        else:
            sides.append(members.get(block, []))
    for side in sides:
        _join(facts, side)
    for a in sides[0]:
        for b in sides[1]:
            facts.add_apart(a, b, leak.ohm, False)


def _damp_or_alone(facts: _Facts, one: RoundRead, leaks: Sequence[Leak]) -> None:
    """Circuits that read low and name no other: one or two by themselves, or the whole loom is damp."""
    limit = facts.harness.limits.isolation_ohms
    alone = [leak for leak in leaks if not leak.other and leak.ohm < 3 * limit]
    if len(alone) >= _DAMP_CIRCUITS:
        points = tuple(one.seats[leak.one[0]].point for leak in alone)
        facts.doubts.append(Damp(points, min(leak.ohm for leak in alone), max(leak.ohm for leak in alone)))
        return
    for leak in alone:
        facts.doubts.append(LeaksAlone(one.seats[leak.one[0]].point, leak.ohm, one.number))


def _over_range(facts: _Facts, one: RoundRead, members: dict[Block, list[int]]) -> None:
    """Touches that read no clip are apart from every circuit with one."""
    proves = over_range_proves_ohm(facts.instrument)
    top = max(one.ohms, default=0.0)
    for index, (point, touch) in enumerate(zip(one.points, one.touches, strict=True)):
        if one.decoded.blocks[index] or index in one.decoded.doubtful:
            continue
        if math.isinf(touch.ohm):
            stated = one.above_ohm[index]
            low = proves if math.isnan(stated) else stated
        elif touch.ohm > top:
            low = touch.ohm - top
            partners = may_leak_to(facts.rounds, point)
            if len(partners) == 1:
                ((_, partner),) = partners
                clip = next((s.clip.ohms for s in one.seats if s.point == partner), top)
                facts.add_apart(point, partner, touch.ohm - clip, False)
                low = max(low, proves)  # to all the others nothing was read
            elif low < facts.harness.limits.isolation_ohms:
                facts.doubts.append(LeaksAlone(point, low, one.number))
        else:
            facts.doubts.append(ReadsNothing(point, touch.ohm, one.number))
            continue
        for points in members.values():
            for other in points:
                facts.add_apart(point, other, low, True)


def _doubts(facts: _Facts, one: RoundRead) -> None:
    """Touches that read other clips than their circuit's, where nobody touched the clip's own point."""
    for clip in sorted(one.astray):
        facts.doubts.append(ClipAstray(one.seats[clip].point, one.names((clip,))[0], one.number))
    facts.doubts += unregistered(one)
    above = []
    for index, (point, touch) in enumerate(zip(one.points, one.touches, strict=True)):
        block = one.decoded.blocks[index]
        if index in one.decoded.doubtful:
            facts.doubts.append(ReadsNothing(point, touch.ohm, one.number))
        elif block and block not in one.decoded.leaking and len(block) == 1:
            sd = float(touch_sd_ohm(np.array(one.clips_ohm(block)), one.held))
            above.append(((touch.ohm - one.clips_ohm(block)) / sd, point, touch, block))
    shift = median(np.array([sd for sd, *_ in above])) if len(above) > _DAMP_CIRCUITS else 0.0
    if shift > _OTHER_METER_SD:
        facts.doubts.append(OtherMeter(one.number))
        return
    for sd, point, touch, block in above:
        if sd > _MUCH_SD and touch.clip in block:
            more = touch.ohm - one.clips_ohm(block)
            facts.doubts.append(MuchInWire(one.seats[touch.clip].point, point, more))


def unregistered(one: RoundRead) -> list[NotRegistered]:
    """Touches that read other clips than their circuit's, or a clip of which nobody knows where it sits."""
    known = one.trusted | one.astray
    out = []
    for point, touch, block in zip(one.points, one.touches, one.decoded.blocks, strict=True):
        if touch.clip >= 0 and touch.clip not in block and touch.clip not in known:
            seat = one.seats[touch.clip]
            out.append(_not_registered(one, seat, point, block))
    asked = {doubt.clip for doubt in out}
    for point, touch, block in zip(one.points, one.touches, one.decoded.blocks, strict=True):
        for other in block:
            seat = one.seats[other]
            if other not in known and touch.clip not in (other, -1) and seat.clip.marker not in asked:
                out.append(_not_registered(one, seat, point, block))
    return out


def _not_registered(one: RoundRead, seat: Seat, point: int, block: Block) -> NotRegistered:
    return NotRegistered(
        seat=seat.point,
        point=point,
        clip=seat.clip.marker,
        reads=one.names(block),
        round=one.number,
        plug=seat.clip.plug,
    )


def may_leak_to(rounds: Sequence[RoundRead], point: int) -> set[tuple[str, int]]:
    """The clips, each with its point, that a point without one may leak to: on when it read something, and
    off when it read nothing."""
    left: set[tuple[str, int]] | None = None
    gone: set[tuple[str, int]] = set()
    for one in rounds:
        own = {(seat.clip.marker, seat.point) for seat in one.seats}
        for at, touch in zip(one.points, one.touches, strict=True):
            if at != point:
                continue
            if max(one.ohms) + JOINT_OHM < touch.ohm < LEAKS_BELOW_OHM:
                left = own if left is None else left & own
            elif touch.ohm >= LEAKS_BELOW_OHM:
                gone |= own
    return (left or set()) - gone
