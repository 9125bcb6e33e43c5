"""What comes next in a sitting with marker clips: a clip to place or pull, or a point to touch.

Each touch is decoded with all others at once. A touch that does not read its own circuit's clip asks for one
more on the clip's own point. At the end of a round, clips that sat wrong are put right and their circuits
touched again; of circuits that read alike all clips but one are pulled, and what stays is in the loom. Every
other way of putting the clips on is a round of its own, so that the record alone tells what was done: nothing
is remembered here.
"""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass
from typing import Literal

from loomtest.bench.plan.marked_rounds import covered_points, half_of
from loomtest.bench.plan.markers import MarkedPlan, Placing
from loomtest.diagnosis.markers.facts import LEAKS_BELOW_OHM, may_leak_to, unregistered
from loomtest.diagnosis.markers.rounds import RoundRead, circuit_of, read_rounds, really_joined
from loomtest.diagnosis.markers.touches import Block
from loomtest.diagnosis.seen.isolation import empty_cavities, part_groups
from loomtest.harness.model import Harness, connector_of
from loomtest.readings.marked import Marked, Seat
from loomtest.readings.model import Instrument

MOST_TIMES = 2  # that clips are put right on one round's points: then the doubt stands in the verdict
Reason = Literal["place", "again", "pull", "apart", "move"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Seating:
    """Put the clips on: `placings` is the whole of the new round. `place`: all of them anew; `again`: `clips`
    onto their points; `pull`: take `clips` off; `apart`: all on, `clips` so that none touches another;
    `move`: `clips` to the other end of their wires."""

    round: int
    reason: Reason
    clips: tuple[str, ...]
    placings: tuple[Placing, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Touching:
    """Touch `point`, the black lead on the common. `itself`: it is the marked point; `again`: it was touched
    before. `expected_ohms`: +inf where no clip should be read; None where that is the question."""

    point: str
    round: int
    itself: bool = False
    again: bool = False
    expected_ohms: float | None = None


class _RoundSoFar:
    """One planned round as it stands in the record."""

    def __init__(
        self, harness: Harness, plan: MarkedPlan, read: list[RoundRead], seats: dict[int, list[Seat]]
    ) -> None:
        self.harness, self.plan, self.read, self.seats = harness, plan, read, seats
        self.numbers = sorted(seats)
        self.by_number = {one.number: one for one in read}

    def touched(self, number: int) -> list[int]:
        one = self.by_number.get(number)
        return list(one.points) if one else []


def next_in_round(
    harness: Harness,
    plan: MarkedPlan,
    marked: Marked | None,
    instrument: Instrument,
    skipped: Set[str] = frozenset(),
) -> Seating | Touching | None:
    """The next thing to do; None when no further touch can change what is told. Pure.

    `skipped`: points that the person leaves out.
    """
    actual = sorted({seat.round for seat in marked.seats}) if marked is not None else []
    planned = sorted({one.round for one in plan.placings})
    if not actual or marked is None:
        return _placed(plan, planned[0], 1) if planned else None
    skipped = skipped | covered_points(harness, marked.of_round(actual[-1])[0])
    base = {number: _base(harness, plan, marked, number) for number in actual}
    current = actual[-1]
    now = base[current]
    read = read_rounds(harness, marked, instrument)
    numbers = [n for n in actual if base[n] == now]
    seats = {n: marked.of_round(n)[0] for n in numbers}
    whole = {(one.clip.marker, one.point) for one in plan.placings if one.round == now}
    full = [n for n in numbers if {(s.clip.marker, harness.points[s.point]) for s in seats[n]} == whole]
    state = _RoundSoFar(harness, plan, read, seats)
    found = (
        _registering(state, current, skipped)
        or _planned_touch(state, now, full, skipped)
        or _carried(state, read, full, skipped)
        or _touch_again(state, full, skipped)
        or _pulled(state, current, full, skipped)
        or _put_right(state, plan, now, full, actual)
        or _stray(state, current, full, skipped)
        or _halved(state, marked, current, full, skipped)
    )
    if found is not None:
        return found
    later = [number for number in planned if number > now]
    return _placed(plan, later[0], current + 1) if later else None


def _placed(plan: MarkedPlan, number: int, actual: int) -> Seating:
    placings = _placings(plan, number, actual)
    clips = tuple(one.clip.marker for one in placings)
    return Seating(round=actual, reason="place", clips=clips, placings=placings)


def _placings(
    plan: MarkedPlan, number: int, actual: int, less: Set[str] = frozenset()
) -> tuple[Placing, ...]:
    return tuple(
        Placing(round=actual, clip=one.clip, point=one.point)
        for one in plan.placings
        if one.round == number and one.clip.marker not in less
    )


def _base(harness: Harness, plan: MarkedPlan, marked: Marked, number: int) -> int:
    """The planned round that a recorded one belongs to: its clips sit where that has them."""
    own = {(seat.clip.marker, seat.point) for seat in marked.of_round(number)[0]}
    wanted: dict[int, set[tuple[str, int]]] = {}
    for one in plan.placings:
        wanted.setdefault(one.round, set()).add((one.clip.marker, harness.code_of[one.point]))
    return max(wanted, key=lambda n: (len(wanted[n] & own), -n))


def _registering(state: _RoundSoFar, current: int, skipped: Set[str]) -> Touching | None:
    touched = set(state.touched(current))
    one = state.by_number.get(current)
    for doubt in unregistered(one) if one else ():
        point = state.harness.points[doubt.seat]
        if doubt.seat not in touched and point not in skipped:
            return Touching(point=point, round=current, itself=True)
    return None


def _planned_touch(state: _RoundSoFar, now: int, full: list[int], skipped: Set[str]) -> Touching | None:
    done = {point for number in full for point in state.touched(number)}
    for step in state.plan.steps:
        if step.round == now and state.harness.code_of[step.point] not in done and step.point not in skipped:
            return Touching(
                point=step.point,
                round=full[-1],
                itself=step.why == "itself",
                expected_ohms=step.expected_ohms,
            )
    return None


def _carried(
    state: _RoundSoFar, read: list[RoundRead], full: list[int], skipped: Set[str]
) -> Touching | None:
    """A wire that did not arrive in an earlier round may end where a clip sits now: both of its ends are
    touched again."""
    harness, last = state.harness, full[-1]
    done = {point for number in full for point in state.touched(number)}
    done |= {seat.point for seat in state.seats[last]}
    for one in read:
        if one.number in state.numbers or _arrived(state, one):
            continue
        for missing, clip in _missing(harness, one):
            for point in (missing, one.seats[clip].point):
                if point not in done and harness.points[point] not in skipped:
                    return Touching(point=harness.points[point], round=last, expected_ohms=float("inf"))
    return None


def _touch_again(state: _RoundSoFar, full: list[int], skipped: Set[str]) -> Touching | None:
    """Circuits whose clips were put right are touched again in the new round; what reads low or like nothing
    is touched twice, hands off the metal."""
    harness, last = state.harness, full[-1]
    done = state.touched(last)
    for number in full[:-1]:
        one = state.by_number.get(number)
        for point in _affected(harness, one, state.read) if one else ():
            if point not in done and harness.points[point] not in skipped:
                return Touching(point=harness.points[point], round=last, again=True)
    one = state.by_number.get(last)
    if one is None:
        return None
    for index, (point, block) in enumerate(zip(one.points, one.decoded.blocks, strict=True)):
        odd = block in one.decoded.leaking or index in one.decoded.doubtful
        odd |= not block and one.touches[index].ohm < float("inf")
        agree = len({one.decoded.blocks[i] for i, other in enumerate(one.points) if other == point}) == 1
        if odd and one.points.count(point) < (2 if agree else 3) and harness.points[point] not in skipped:
            above = one.touches[index].ohm > max(one.ohms)
            expected = float("inf") if above else None
            return Touching(point=harness.points[point], round=last, again=True, expected_ohms=expected)
    return None


def _affected(harness: Harness, one: RoundRead, rounds: list[RoundRead]) -> list[int]:
    """The touched points of circuits whose clips sat wrong or touched each other in a round."""
    wrong = set(one.astray)
    for block in _blocks(one):
        if really_joined(one, block, rounds) is False:
            wrong |= set(block)
    nets = {circuit_of(harness, one.seats[clip].point) for clip in wrong}
    out = []
    for point, touch, block in zip(one.points, one.touches, one.decoded.blocks, strict=True):
        if touch.clip in wrong or circuit_of(harness, point) in nets or wrong & set(block):
            out.append(point)
    return list(dict.fromkeys(out))


def _blocks(one: RoundRead) -> list[Block]:
    """Blocks of several circuits that take part themselves."""
    blocks = dict.fromkeys(one.decoded.blocks)
    return [block for block in blocks if len(one.own(block)) > 1]


def _missing(harness: Harness, one: RoundRead) -> list[tuple[int, int]]:
    """(point, clip) of touches that read nothing although their circuit's clip sits where it should."""
    return [
        (point, touch.clip)
        for point, touch, block in zip(one.points, one.touches, one.decoded.blocks, strict=True)
        if touch.clip in one.trusted and not block and point != one.seats[touch.clip].point
    ]


def _stray(state: _RoundSoFar, current: int, full: list[int], skipped: Set[str]) -> Seating | Touching | None:
    """A wire that does not arrive: its terminal may sit in an empty cavity, beside where it should arrive,
    or, once the clip is moved to that end, beside where it should begin."""
    harness, one = state.harness, state.by_number.get(full[-1])
    missing = _missing(harness, one) if one else []
    if one is None or not missing:
        return None
    found = _empty_beside(state, full[-1], {harness.points[p] for p, _ in missing}, skipped)
    if found is not None or _arrived(state, one):
        return found
    missing = [(point, clip) for point, clip in missing if not one.seats[clip].clip.plug]
    moved = {one.seats[clip].clip.marker: harness.points[p] for p, clip in missing}
    lost = {circuit_of(harness, point) for point, _ in missing}
    gone = {point for point, _ in missing}
    empty = empty_cavities(harness)
    roomy = {connector_of(p) for c, p in enumerate(harness.points) if empty[harness.net_of[c]]}
    begins = {
        point
        for code, point in enumerate(harness.points)
        if harness.net_of[code] in lost and code not in gone and connector_of(point) in roomy - {""}
    }
    there = [
        number
        for number in state.numbers
        if number > full[-1]
        and set(moved.items())
        <= {(seat.clip.marker, harness.points[seat.point]) for seat in state.seats[number]}
    ]
    if not moved or not begins or (there and there[-1] != current):
        return None
    if there:
        for point in moved.values():
            if harness.code_of[point] not in state.touched(there[-1]) and point not in skipped:
                return Touching(point=point, round=there[-1], itself=True)
        return _empty_beside(state, there[-1], begins, skipped)
    number = current + 1
    placings = tuple(
        Placing(round=number, clip=seat.clip, point=moved.get(seat.clip.marker, harness.points[seat.point]))
        for seat in one.seats
    )
    return Seating(round=number, reason="move", clips=tuple(sorted(moved)), placings=placings)


def _arrived(state: _RoundSoFar, one: RoundRead) -> bool:
    """Whether every circuit with a wire that does not arrive was found in some empty cavity."""
    empty = empty_cavities(state.harness)
    lost = {clip for _, clip in _missing(state.harness, one)}
    found = {
        clip
        for index, (point, block) in enumerate(zip(one.points, one.decoded.blocks, strict=True))
        if index not in one.decoded.doubtful
        and point < len(empty_points := state.harness.net_of)
        and empty[empty_points[point]]
        for clip in block
    }
    return lost <= found


def _empty_beside(state: _RoundSoFar, number: int, points: Set[str], skipped: Set[str]) -> Touching | None:
    harness = state.harness
    near = {connector_of(point) for point in points} - {""}
    touched, empty = state.touched(number), empty_cavities(harness)
    for code, point in enumerate(harness.points):
        looked = code in touched or not harness.reachable[code] or point in skipped
        if connector_of(point) in near and empty[harness.net_of[code]] and not looked:
            return Touching(point=point, round=number, expected_ohms=float("inf"))
    return None


def _halved(
    state: _RoundSoFar, marked: Marked, current: int, full: list[int], skipped: Set[str]
) -> Seating | Touching | None:
    """A circuit without a clip leaks to one that has one: half of the clips are pulled, then half of those
    left, until one is left that it leaks to."""
    one = state.by_number.get(full[-1])
    if one is None:
        return None
    far = [
        p
        for p, t in zip(one.points, one.touches, strict=True)
        if max(one.ohms) + 100 < t.ohm < LEAKS_BELOW_OHM
    ]
    for point in dict.fromkeys(far):
        left = may_leak_to(state.read, point)
        keep = half_of(left, one.seats)
        if not keep or state.harness.points[point] in skipped:
            continue
        seated = {(seat.clip.marker, seat.point) for seat in state.seats[current]}
        if current != full[-1] and point not in state.touched(current):
            return Touching(point=state.harness.points[point], round=current, expected_ohms=float("inf"))
        rest = {(seat.clip.marker, seat.point) for seat in one.seats} - left
        wanted = keep | (rest & seated)
        if wanted == seated:
            continue
        number = current + 1
        placings = tuple(
            Placing(round=number, clip=seat.clip, point=state.harness.points[seat.point])
            for seat in one.seats
            if (seat.clip.marker, seat.point) in wanted
        )
        on, off = wanted - seated, seated - wanted
        clips = tuple(sorted(name for name, _ in (off or on)))
        return Seating(round=number, reason="pull" if off else "again", clips=clips, placings=placings)
    return None


def _pulled(
    state: _RoundSoFar, current: int, full: list[int], skipped: Set[str]
) -> Seating | Touching | None:
    """Of circuits that read alike all clips but one are pulled, and a point of each pulled one touched."""
    one = state.by_number.get(full[-1])
    if one is None:
        return None
    wanted: dict[int, int] = {}  # clip to the point that tells
    for block in _blocks(one):
        if really_joined(one, block, state.read) is not None or _through_parts(state.harness, one, block):
            continue
        for clip in one.pullable(block):
            points = [one.points[i] for i in one.readers(block) if one.touches[i].clip == clip]
            points = [p for p in points if state.harness.points[p] not in skipped]
            if points:
                wanted[clip] = min(points, key=lambda p: p == one.seats[clip].point)
    if not wanted:
        return None
    names = {one.seats[clip].clip.marker for clip in wanted}
    if current == full[-1]:
        placings = _placings(state.plan, _base_of(state, one), current + 1, names)
        return Seating(round=current + 1, reason="pull", clips=tuple(sorted(names)), placings=placings)
    done = state.touched(current)
    for point in wanted.values():
        if point not in done:
            return Touching(point=state.harness.points[point], round=current, again=True)
    return None


def _base_of(state: _RoundSoFar, one: RoundRead) -> int:
    own = {(seat.clip.marker, state.harness.points[seat.point]) for seat in one.seats}
    numbers = {p.round for p in state.plan.placings}
    return max(
        numbers,
        key=lambda n: (
            len({(p.clip.marker, p.point) for p in state.plan.placings if p.round == n} & own),
            -n,
        ),
    )


def _through_parts(harness: Harness, one: RoundRead, block: Block) -> bool:
    group = part_groups(harness)
    nets = [circuit_of(harness, one.seats[clip].point) for clip in block]
    known = [int(group[net]) for net in nets if net < len(group)]
    return len(set(known)) < len(known)


def _put_right(
    state: _RoundSoFar, plan: MarkedPlan, now: int, full: list[int], actual: list[int]
) -> Seating | None:
    """Clips that sit wrong onto their points; clips that touched each other apart."""
    one = state.by_number.get(full[-1])
    if one is None or len(full) > MOST_TIMES:
        return None
    number = actual[-1] + 1
    placings = _placings(plan, now, number)
    if one.astray:
        clips = one.names(tuple(sorted(one.astray)))
        return Seating(round=number, reason="again", clips=clips, placings=placings)
    close = [b for b in _blocks(one) if really_joined(one, b, state.read) is False]
    if close:
        clips = tuple(sorted({name for block in close for name in one.names(block)}))
        return Seating(round=number, reason="apart", clips=clips, placings=placings)
    return None
