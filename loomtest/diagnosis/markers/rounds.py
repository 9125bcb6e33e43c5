"""Each round of touches decoded, and which clips are known to sit where they were said to.

A clip is *seen* where a touch on the very point it was put on reads it, and *trusted* where any touch on its
circuit does: put elsewhere, no point of that circuit would read it. A marker built into a plug is trusted
where any marker of its plug is read: the plug is on. Where the point itself was touched and
reads other clips or none, the clip is *astray*: it hangs on something else, or on nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from loomtest.diagnosis.markers.decode import Decoded, decode
from loomtest.diagnosis.markers.kit import range_for
from loomtest.diagnosis.markers.touches import Block, MarkerTouch, side_by_side_ohm
from loomtest.harness.model import Harness
from loomtest.readings.marked import Marked, Seat
from loomtest.readings.model import Instrument, Range

GENERIC_RANGE = Range(20_000.0, 0.8, 2.0, 10.0)  # 3½ digits: for an instrument file without a fitting range
_Key = tuple[str, int]  # a clip's name and the point that it sits on


@dataclass(frozen=True, kw_only=True)
class RoundRead:
    """One round. `points` (codes) and `touches` run alike; a touch's `clip` is an index into `seats`.
    `trusted`, `astray`, `read` (by its own circuit in this very round): indices of clips."""

    number: int
    seats: tuple[Seat, ...]
    points: tuple[int, ...]
    touches: tuple[MarkerTouch, ...]
    rows: tuple[int, ...]
    above_ohm: tuple[float, ...]
    held: Range
    decoded: Decoded
    trusted: frozenset[int]
    astray: frozenset[int]
    read: frozenset[int]

    @cached_property
    def ohms(self) -> tuple[float, ...]:
        """What each clip was measured at."""
        return tuple(seat.clip.ohms for seat in self.seats)

    def readers(self, block: Block) -> list[int]:
        """The touches that read this block."""
        return [index for index, own in enumerate(self.decoded.blocks) if own == block]

    def own(self, block: Block) -> Block:
        """The block less the clips that went astray: those whose circuits really take part."""
        return tuple(clip for clip in block if clip not in self.astray)

    def pullable(self, block: Block) -> Block:
        """The clips of a block to pull, one staying: the loose ones beside a marker of a plug."""
        own = self.own(block)
        loose = tuple(clip for clip in own if not self.seats[clip].clip.plug)
        return loose if len(loose) < len(own) else own[:-1]

    def names(self, block: Block) -> tuple[str, ...]:
        """The clips' names."""
        return tuple(self.seats[clip].clip.marker for clip in block)

    def clips_ohm(self, block: Block) -> float:
        """What the clips of a block have side by side."""
        return side_by_side_ohm(self.ohms[clip] for clip in block)


def read_rounds(harness: Harness, marked: Marked, instrument: Instrument) -> list[RoundRead]:
    """Every round that has touches, decoded. `instrument`: the meter of the kit and of the touches."""
    single = _still_astray([_read(harness, marked, instrument, number) for number in marked.rounds])
    trusted = {_key(one.seats[clip]) for one in single for clip in one.trusted}
    return [_carried(one, trusted) for one in single]


def circuit_of(harness: Harness, point: int) -> int:
    """The net of a point; an undeclared cavity is one of its own, after the others."""
    declared = len(harness.points)
    return int(harness.net_of[point]) if point < declared else len(harness.nets) + point - declared


def _key(seat: Seat) -> _Key:
    return seat.clip.marker, seat.point


def _read(harness: Harness, marked: Marked, instrument: Instrument, number: int) -> RoundRead:
    seats, mask = marked.of_round(number)
    index = np.flatnonzero(mask)
    home = {circuit_of(harness, seat.point): clip for clip, seat in enumerate(seats)}
    points = marked.point[index].tolist()
    touches = tuple(
        MarkerTouch(ohm=ohm, clip=home.get(circuit_of(harness, point), -1), point=point)
        for point, ohm in zip(points, marked.ohm[index].tolist(), strict=True)
    )
    ohms = [seat.clip.ohms for seat in seats]
    held = range_for(instrument, max(ohms)) or GENERIC_RANGE
    decoded = decode(ohms, touches, held)
    seen: set[int] = set()
    read: set[int] = set()
    astray: set[int] = set()
    for at, (point, touch, block) in enumerate(zip(points, touches, decoded.blocks, strict=True)):
        if touch.clip >= 0 and at not in decoded.doubtful:
            own = touch.clip in block
            if own:
                read.add(touch.clip)
            if point == seats[touch.clip].point:
                (seen if own else astray).add(touch.clip)
    return RoundRead(
        number=number,
        seats=tuple(seats),
        points=tuple(points),
        touches=touches,
        rows=tuple(marked.row[index].tolist()),
        above_ohm=tuple(marked.above_ohm[index].tolist()),
        held=held,
        decoded=decoded,
        trusted=frozenset((read | _in_plugs(seats, decoded)) - (astray - seen)),
        astray=frozenset(astray - seen),
        read=frozenset(read),
    )


def _in_plugs(seats: Sequence[Seat], decoded: Decoded) -> set[int]:
    """The markers of every plug of which at least one is read: it is on, and they sit where they are built
    in."""
    read = {seats[clip].clip.plug for block in decoded.blocks for clip in block} - {""}
    return {index for index, seat in enumerate(seats) if seat.clip.plug in read}


def _still_astray(rounds: Sequence[RoundRead]) -> list[RoundRead]:
    """Where only clips were pulled, one that sat wrong before still does, unless its own circuit reads it."""
    out: list[RoundRead] = []
    for one in rounds:
        keys = [_key(seat) for seat in one.seats]
        if out and set(keys) < {_key(seat) for seat in out[-1].seats}:
            before = {_key(out[-1].seats[clip]) for clip in out[-1].astray}
            astray = one.astray | ({clip for clip, key in enumerate(keys) if key in before} - one.read)
            one = replace(one, astray=astray, trusted=one.trusted - astray)
        out.append(one)
    return out


def _carried(one: RoundRead, trusted: Iterable[_Key]) -> RoundRead:
    """A clip that stayed on its point is trusted as it was in another round."""
    known = set(trusted)
    more = {clip for clip, seat in enumerate(one.seats) if _key(seat) in known and clip not in one.astray}
    return replace(one, trusted=one.trusted | more)


def really_joined(one: RoundRead, block: Block, rounds: Sequence[RoundRead]) -> bool | None:
    """Whether circuits that read alike are joined in the loom and not by clips that touch each other.

    Clips were pulled and their circuits touched again: True where each still reads the others, False where
    one reads nothing; None where nobody pulled one. Markers of plugs need no pulling where every circuit of
    the block reads it.
    """
    own = one.own(block)  # a clip that sits wrong is read wherever it sits: it joins nothing
    if len(own) > 1 and all(one.seats[clip].clip.plug for clip in own):
        tell = {one.touches[index].clip for index in one.readers(block)}
        return True if tell >= set(own) else None  # measured in their plugs, they do not touch each other
    seated = {_key(one.seats[clip]): clip for clip in own}
    readers = {one.points[index]: one.touches[index].clip for index in one.readers(block)}
    told: bool | None = None
    for other in rounds:
        kept = {_key(seat) for seat in other.seats} & seated.keys()
        if other is one or not kept or len(kept) == len(seated):
            continue
        for index, point in enumerate(other.points):
            clip = readers.get(point, -1)
            if clip not in own or _key(one.seats[clip]) in kept:
                continue
            reads = {_key(other.seats[c]) for c in other.decoded.blocks[index]} & seated.keys()
            if not other.decoded.blocks[index] and other.touches[index].ohm < float("inf"):
                continue  # more than the clips: hundreds of ohms stand between
            told = bool(reads) and told is not False
    return told
