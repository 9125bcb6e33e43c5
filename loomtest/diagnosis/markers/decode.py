"""Which clips each touch of one round reads, decoded from all of its touches together.

Theory of operation. Circuits that conduct form *blocks*: a touch anywhere on a block reads all clips of the
block side by side, whichever of its points is touched, so that the blocks of one round are a partition of the
clips, and a touch belongs to one of them or to none (over-range). A decoding is a partition with a block for
each touch. It is weighed like this, in natural logarithms:

- a touch beside its block's value: a normal error of `touch_sd_ohm`, now and then a wider one, or, rarely,
  up to 100 Ω more (the wire); touches on one point that agree read one block;
- a circuit that does not read its own clip but another block costs MOVED: a crossed wire, or a clip that
  sits wrong, whatever the number of touches that show it;
- every clip beyond the first in a block costs JOINED: a short;
- a block that leaks to the rest reads lower, alike at all of its touches, and costs LEAKS.

Two leaks that agree (`leaks.py`) are one between the two circuits, and cost LEAKS once.

A touch that is put down to another circuit's clips only with ohms in the wire is doubtful: two faults in one
wire are less likely than anything else that reads so.

Most clips are read alone and true at once. The others are few, and a beam search over the touches that are
left walks through the blocks that they can form.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

from loomtest.diagnosis.markers.kit import APART_SD, DRIFT_SHARE, JOINT_OHM
from loomtest.diagnosis.markers.leaks import leaks_of
from loomtest.diagnosis.markers.touches import Block, MarkerTouch, side_by_side_ohm
from loomtest.readings.model import Range

MOVED, JOINED, LEAKS = 7.0, 7.0, 13.0  # a leak may bring a reading down to anywhere: it fits too easily
_ROUGH_SHARE = 0.03  # of touches have more in the wire than shows, spread up to JOINT_OHM
_WIDE_SHARE, _WIDE_SD = 0.02, 2.5  # of touches err by more than the meter says, so many times as much
_NEAR_SD = 4.0  # a touch within so many standard uncertainties reads its clip
OWN_SD = 5.0  # and within so many it may read the clip of its own circuit
_NEARLY = math.log(100.0)  # a decoding as likely as a hundredth of the likeliest leaves a doubt
_WIDTH = 200  # decodings kept at each step
_MOST_IN_BLOCK = 4
_MOST_CLOSE = 40  # blocks tried for one touch
_LEAST_LEAK_SHARE = 0.004  # by which a leak lowers a reading before it is one


@dataclass(frozen=True, slots=True)
class Decoded:
    """`blocks`: for each touch the clips it reads. `leaking`: the blocks that read lower than their clips
    give. `doubtful`: the touches that read other clips in a decoding nearly as likely. `weight`: the
    logarithm that the search made greatest."""

    blocks: tuple[Block, ...]
    leaking: frozenset[Block]
    doubtful: frozenset[int]
    weight: float


def log_fit(ohm: float, value_ohm: float, sd_ohm: float) -> float:
    """Log density of reading `ohm` where the clips give `value_ohm`, the wire's own ohms in it or not."""
    z = (ohm - value_ohm) / sd_ohm
    normal = (1 - _ROUGH_SHARE - _WIDE_SHARE) * math.exp(-0.5 * z * z)
    wide = _WIDE_SHARE / _WIDE_SD * math.exp(-0.5 * (z / _WIDE_SD) ** 2)
    exact = (normal + wide) / (sd_ohm * math.sqrt(2 * math.pi))
    within = 0.5 * (math.erf(z / math.sqrt(2)) - math.erf((z - JOINT_OHM / sd_ohm) / math.sqrt(2)))
    density = exact + _ROUGH_SHARE * max(within, 0.0) / JOINT_OHM
    return math.log(density) if density > 0 else -math.inf


@dataclass(frozen=True)
class _TouchedRound:
    ohms: tuple[float, ...]
    touches: tuple[MarkerTouch, ...]
    held: Range
    known: dict[Block, tuple[float, float]] = field(default_factory=dict)

    def value(self, block: Block) -> float:
        return self.gives(block)[0]

    def gives(self, block: Block) -> tuple[float, float]:
        """Ohms of the block's clips, and the standard uncertainty of a touch there."""
        if block not in self.known:
            ohm = side_by_side_ohm(self.ohms[clip] for clip in block)
            self.known[block] = ohm, self.sd(ohm)
        return self.known[block]

    def sd(self, ohm: float) -> float:
        return math.sqrt(self.held.resolution_ohms**2 / 6 + (DRIFT_SHARE * ohm) ** 2)

    def reads(self, touch: MarkerTouch, block: Block) -> bool:
        value, sd = self.gives(block)
        return abs(touch.ohm - value) <= _NEAR_SD * sd

    def fits(self, touch: MarkerTouch, block: Block) -> bool:
        value, sd = self.gives(block)
        least = -(OWN_SD if block == (touch.clip,) else _NEAR_SD) * sd
        return least <= touch.ohm - value <= JOINT_OHM + _NEAR_SD * sd

    def moved(self, touch: MarkerTouch, block: Block) -> float:
        home = touch.clip in block if touch.clip >= 0 else not block
        return 0.0 if home else -MOVED


def decode(
    ohms: Sequence[float], touches: Sequence[MarkerTouch], held: Range, pair_leaks: bool = True
) -> Decoded:
    """The likeliest decoding of one round. `ohms`: what each clip was measured at, on the range `held`.

    `pair_leaks`: two circuits whose leaks agree have one between them, and it costs LEAKS once. Pure. Touches
    that read more than every clip read none; so do over-range ones.
    """
    told = _TouchedRound(tuple(ohms), tuple(touches), held)
    top = max(ohms, default=0.0) + JOINT_OHM
    settled = {t.clip for t in touches if t.clip >= 0 and told.reads(t, (t.clip,))}
    blocks: list[Block] = [()] * len(touches)
    open_touches = []
    for index, touch in enumerate(touches):
        if not touch.ohm <= top + 2 * _NEAR_SD * told.sd(top):
            continue
        if touch.clip in settled and told.reads(touch, (touch.clip,)):
            blocks[index] = (touch.clip,)
        else:
            open_touches.append(index)
    open_touches.sort(key=lambda index: (touches[index].clip, touches[index].point))
    loose = [clip for clip in range(len(ohms)) if clip not in settled]
    found = _search(told, open_touches, settled, loose)
    if pair_leaks:
        odd = [touches[index] for index in open_touches]
        found = _all_paired(found, ohms, odd, held)
    base = sum(
        log_fit(touch.ohm, *told.gives(block)) if block else told.moved(touch, ())
        for index, (touch, block) in enumerate(zip(touches, blocks, strict=True))
        if index not in set(open_touches)
    )
    best = found[0]
    for index, block in zip(open_touches, best.blocks, strict=True):
        blocks[index] = block
    doubtful = {
        index
        for other in found[1:]
        if other.weight > best.weight - _NEARLY
        for index, one, two in zip(open_touches, best.blocks, other.blocks, strict=True)
        if one != two or (one in best.leaking) != (two in other.leaking)
    }
    doubtful |= _far_fetched(told, open_touches, best)
    doubtful |= _at_odds(touches, blocks)
    return Decoded(tuple(blocks), best.leaking, frozenset(doubtful), base + best.weight)


def _at_odds(touches: Sequence[MarkerTouch], blocks: Sequence[Block]) -> set[int]:
    """Touches on one point that read different clips: those that the most of them do not bear out."""
    by_point: dict[int, list[int]] = {}
    for index, touch in enumerate(touches):
        if touch.point >= 0:
            by_point.setdefault(touch.point, []).append(index)
    out: set[int] = set()
    for own in by_point.values():
        counts = Counter(blocks[index] for index in own)
        most = max(counts.values())
        clear = sum(count == most for count in counts.values()) == 1
        out |= {index for index in own if not clear or counts[blocks[index]] < most}
    return out


def _far_fetched(told: _TouchedRound, order: Sequence[int], best: _State) -> set[int]:
    """Touches put down to another circuit's clips with ohms in the wire, where none there reads them closely;
    and those that may read their own clip as well, or one too near it."""
    values = dict(best.values)
    close: set[tuple[int, Block]] = set()
    far: list[tuple[int, tuple[int, Block]]] = []
    for index, block in zip(order, best.blocks, strict=True):
        touch = told.touches[index]
        if not block or touch.clip in block:
            continue
        value = values.get(block) or told.value(block)
        if abs(touch.ohm - value) <= _NEAR_SD * told.sd(value):
            close.add((touch.clip, block))
        else:
            far.append((index, (touch.clip, block)))
    found = {index for index, key in far if key not in close}
    for index, block in zip(order, best.blocks, strict=True):
        touch = told.touches[index]
        if block and touch.clip >= 0 and touch.clip not in block:
            value, sd = told.gives((touch.clip,))
            near = abs(touch.ohm - value) <= OWN_SD * sd
            if near or abs(told.value(block) - value) < APART_SD * sd:
                found.add(index)
    return found


def _all_paired(
    found: Sequence[_State], ohms: Sequence[float], odd: Sequence[MarkerTouch], held: Range
) -> list[_State]:
    """The decodings that may still be the likeliest or leave a doubt, the best first."""
    out: list[_State] = []
    best = -math.inf
    for one in found:
        if one.weight + LEAKS * (len(one.leaking) // 2) < best - _NEARLY:
            continue
        out.append(_paired(one, ohms, odd, held))
        best = max(best, out[-1].weight)
    return sorted(out, key=lambda one: -one.weight)


def _paired(state: _State, ohms: Sequence[float], odd: Sequence[MarkerTouch], held: Range) -> _State:
    """The same decoding, leaks that agree counted once."""
    if len(state.leaking) < 2:
        return state
    found = leaks_of(ohms, odd, state.blocks, state.leaking, held)
    pairs = [leak for leak in found if leak.other and leak.ohm > JOINT_OHM]  # under it they are joined
    return replace(state, weight=state.weight + LEAKS * len(pairs))


@dataclass(frozen=True, slots=True)
class _State:
    weight: float = 0.0
    blocks: tuple[Block, ...] = ()
    leaking: frozenset[Block] = frozenset()
    used: frozenset[int] = frozenset()
    values: tuple[tuple[Block, float], ...] = ()  # of leaking blocks: what their first touch read
    moved: frozenset[tuple[int, Block]] = frozenset()  # circuits that were found to read another's block


def _search(
    told: _TouchedRound, order: Sequence[int], settled: set[int], loose: Sequence[int]
) -> list[_State]:
    """Decodings of the touches `order`, the best first."""
    pool = _pool(told, [told.touches[index].ohm for index in order], loose)
    singles = [(clip,) for clip in sorted(settled)]
    beam = [_State(used=frozenset())]
    for position, index in enumerate(order):
        touch = told.touches[index]
        fresh: dict[tuple[tuple[Block, ...], frozenset[Block]], _State] = {}
        options = [block for block in (*singles, *pool) if told.fits(touch, block)]
        options.sort(key=lambda block: _first_guess(told, touch, block))
        leaky = _leaky(told, touch, loose, order)
        alike = _same_point(told, order, position)
        for state in beam:
            asked = _Asked(touch, options[:_MOST_CLOSE], leaky, *alike)
            for further in _next_states(told, state, asked):
                key = (further.blocks, further.leaking)
                if key not in fresh or fresh[key].weight < further.weight:
                    fresh[key] = further
        beam = sorted(fresh.values(), key=lambda one: -one.weight)[:_WIDTH]
    return beam


def _same_point(told: _TouchedRound, order: Sequence[int], position: int) -> tuple[int, float]:
    """(position of an earlier touch on the same point that agrees, -1 for none; mean of all that agree)."""
    touch = told.touches[order[position]]
    if touch.point < 0:
        return -1, touch.ohm
    near = 2 * _NEAR_SD * told.sd(touch.ohm)
    same = [
        (place, told.touches[index].ohm)
        for place, index in enumerate(order)
        if told.touches[index].point == touch.point and abs(told.touches[index].ohm - touch.ohm) <= near
    ]
    first = same[0][0]
    return (first if first < position else -1), sum(ohm for _, ohm in same) / len(same)


def _first_guess(told: _TouchedRound, touch: MarkerTouch, block: Block) -> float:
    return abs(touch.ohm - told.value(block)) / 30 + JOINED * len(block) - told.moved(touch, block)


def _pool(told: _TouchedRound, values: Iterable[float], loose: Sequence[int]) -> list[Block]:
    """Blocks of loose clips that give what some open touch reads."""
    wanted = sorted(set(values))
    siemens = [1.0 / ohm for ohm in told.ohms]
    room = OWN_SD * told.sd(max(told.ohms, default=0.0))  # no less than any block's own
    out: list[Block] = []
    for size in range(1, _MOST_IN_BLOCK + 1):
        if math.comb(len(loose), size) > 20_000:
            break
        for block in combinations(sorted(loose), size):
            rough = 1.0 / sum([siemens[clip] for clip in block])
            nearest = bisect_left(wanted, rough - room)
            if nearest == len(wanted) or wanted[nearest] > rough + JOINT_OHM + room:
                continue
            value, sd = told.gives(block)
            least = -(OWN_SD if size == 1 else _NEAR_SD) * sd
            nearest = bisect_left(wanted, value + least)
            if nearest < len(wanted) and wanted[nearest] <= value + JOINT_OHM + _NEAR_SD * sd:
                out.append(block)
    return out


def _leaky(
    told: _TouchedRound, touch: MarkerTouch, loose: Sequence[int], order: Sequence[int]
) -> list[Block]:
    """Blocks that a leak would bring down to this touch: the clip of its own circuit, one that would not need
    to come down far, and its own with that of another circuit that reads alike."""
    out: list[Block] = [(clip,) for clip in loose if clip == touch.clip]
    out += [(clip,) for clip in loose if told.ohms[clip] > touch.ohm and clip != touch.clip][:2]
    for index in order:
        other = told.touches[index]
        both = {other.clip, touch.clip}
        alike = abs(other.ohm - touch.ohm) <= _NEAR_SD * told.sd(touch.ohm)
        if alike and len(both) == 2 and both <= set(loose):
            out.append((min(both), max(both)))
    return [block for block in dict.fromkeys(out) if touch.ohm < told.value(block) * (1 - _LEAST_LEAK_SHARE)]


@dataclass(frozen=True, slots=True)
class _Asked:
    """A touch and what it may read: `options` as they are, `leaky` by a leak. `before`: the position of a
    touch on the same point, whose block it reads, or -1; `mean_ohm` of those touches."""

    touch: MarkerTouch
    options: Sequence[Block]
    leaky: Sequence[Block]
    before: int
    mean_ohm: float


def _next_states(told: _TouchedRound, state: _State, asked: _Asked) -> list[_State]:
    out = []
    touch, known = asked.touch, dict(state.values)
    only = state.blocks[asked.before] if asked.before >= 0 else ()
    for block in (only,) if only else asked.options:
        fresh = block not in state.blocks
        if block in state.leaking or (fresh and state.used & set(block)):
            continue
        weight = log_fit(touch.ohm, *told.gives(block)) - (JOINED * (len(block) - 1) if fresh else 0.0)
        if weight > -math.inf:
            out.append(_with(told, state, touch, block, weight))
    for block in (only,) if only else {*asked.leaky, *known}:
        if block in known:
            value = known[block]
            if abs(touch.ohm - value) <= JOINT_OHM + 2 * _NEAR_SD * told.sd(value):
                out.append(_with(told, state, touch, block, log_fit(touch.ohm, value, told.sd(value))))
        elif not only and not state.used & set(block):
            value = asked.mean_ohm
            weight = log_fit(touch.ohm, value, told.sd(value)) - LEAKS - JOINED * (len(block) - 1)
            further = _with(told, state, touch, block, weight)
            values = (*state.values, (block, value))
            out.append(replace(further, leaking=state.leaking | {block}, values=values))
    unexplained = state.weight - 60.0
    if all(further.weight < unexplained for further in out):
        out.append(replace(state, weight=unexplained, blocks=(*state.blocks, ())))
    return out


def _with(told: _TouchedRound, state: _State, touch: MarkerTouch, block: Block, weight: float) -> _State:
    moved = (touch.clip, block)
    if moved not in state.moved:
        weight += told.moved(touch, block)
    return _State(
        state.weight + weight,
        (*state.blocks, block),
        state.leaking,
        state.used | frozenset(block),
        state.values,
        state.moved | {moved},
    )
