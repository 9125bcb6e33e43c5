"""From circuits that read low to the leaks between them.

A leak of L between the circuits of clips A and B lowers both: A reads A ∥ (L + B), B reads B ∥ (L + A). Each
by itself gives L, and where the two agree they are one leak. A circuit that reads low alone leaks to
something that the other readings do not name; many of them are a damp loom.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from loomtest.diagnosis.markers.kit import DRIFT_SHARE
from loomtest.diagnosis.markers.touches import Block, MarkerTouch, side_by_side_ohm
from loomtest.readings.model import Range

_AGREE_SD = 4.0
_MANY = 3
_AGREE_SHARE = 0.02  # of the wires' own ohms, and of what else leaks a little


@dataclass(frozen=True, slots=True)
class Leak:
    """`one` and `other` leak to each other by `ohm`; `other` is () where no second circuit shows it."""

    one: Block
    other: Block
    ohm: float


@dataclass(frozen=True, slots=True)
class _Low:
    block: Block
    clips_ohm: float
    ohm: float  # what its touches read
    sd_ohm: float

    @property
    def way_ohm(self) -> float:
        """Ohms of the way through the leak to the common, the other circuit's clip included."""
        return 1.0 / max(1.0 / self.ohm - 1.0 / self.clips_ohm, 1e-12)

    @property
    def way_sd_ohm(self) -> float:
        return self.sd_ohm * (self.way_ohm / self.ohm) ** 2


def leaks_of(
    ohms: Sequence[float],
    touches: Sequence[MarkerTouch],
    blocks: Sequence[Block],
    leaking: Iterable[Block],
    held: Range,
) -> list[Leak]:
    """The leaks that explain every block which reads low; pairs that agree first, the nearest agreement
    first. `blocks`: what each touch reads; `leaking`: those that read low."""
    low = []
    for block in sorted(leaking):
        read = [t.ohm for t, own in zip(touches, blocks, strict=True) if own == block]
        if read:
            low.append(_low(block, ohms, read, held))
    gaps = {
        (i, j): gap for j in range(len(low)) for i in range(j) if (gap := _gap(low[i], low[j])) <= 1
    }  # the blocks ascend
    partners = Counter(index for pair in gaps for index in pair).values()
    if sum(count > 1 for count in partners) >= _MANY:  # each agrees with any other: damp all over
        return [Leak(one.block, (), one.way_ohm) for one in low]
    out, told = [], set[int]()
    for a, b in sorted(gaps, key=lambda pair: (gaps[pair], pair)):
        if not told & {a, b}:
            out.append(Leak(low[a].block, low[b].block, _between(low[a], low[b])))
            told |= {a, b}
    return out + [Leak(one.block, (), one.way_ohm) for index, one in enumerate(low) if index not in told]


def parted_by_ohms(
    block: Block, ohms: Sequence[float], read: Mapping[int, Sequence[float]], held: Range, short_ohm: float
) -> float | None:
    """Ohms between the two clips of a block that is no short, only a leak of hundreds of ohms; else None.

    `read`: what touches on either clip's own circuit read, by clip.
    """
    if len(block) != 2 or not all(read.get(clip) for clip in block):
        return None
    a, b = (_low((clip,), ohms, read[clip], held) for clip in block)
    between = _between(a, b)
    sd = math.hypot(a.way_sd_ohm, b.way_sd_ohm) / 2
    return between if _gap(a, b) <= 1 and between - 2 * sd > short_ohm else None


def _low(block: Block, ohms: Sequence[float], read: Sequence[float], held: Range) -> _Low:
    value = sum(read) / len(read)
    sd = math.sqrt((held.resolution_ohms**2 / 6 + (DRIFT_SHARE * value) ** 2) / len(read))
    return _Low(block, side_by_side_ohm(ohms[clip] for clip in block), value, sd)


def _ways(a: _Low, b: _Low) -> tuple[float, float]:
    return a.way_ohm - b.clips_ohm, b.way_ohm - a.clips_ohm


def _between(a: _Low, b: _Low) -> float:
    """The leak from both circuits, each counted by how well it tells."""
    ways, weights = _ways(a, b), (a.way_sd_ohm**-2, b.way_sd_ohm**-2)
    return max((ways[0] * weights[0] + ways[1] * weights[1]) / sum(weights), 0.0)


def _gap(a: _Low, b: _Low) -> float:
    """How far apart the two circuits put the leak, as a share of what they may: at most 1 agrees."""
    one, other = _ways(a, b)
    room = _AGREE_SD * math.hypot(a.way_sd_ohm, b.way_sd_ohm) + _AGREE_SHARE * max(abs(one), abs(other))
    return abs(one - other) / room
