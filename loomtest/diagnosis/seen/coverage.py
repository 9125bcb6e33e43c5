"""What was measured of what there is, and what was not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.numbers.distinct import distinct
from loomtest.diagnosis.numbers.network import component_labels
from loomtest.diagnosis.seen.isolation import RequiredPairs, required_pairs
from loomtest.diagnosis.seen.observe import APART, JOINED, Observations
from loomtest.diagnosis.verdict import Untested
from loomtest.harness.model import ISOLATION_LEVELS, BoolArray, Harness, IntArray, IsolationLevel

MOST_LISTED = 1000  # untested items that a verdict lists; the counts are always whole


@dataclass(frozen=True)
class Isolation:
    """`level` is what was asked for, `shown` the widest level whose pairs were all shown apart.

    `required`, `tested`: counts of net pairs; `unchecked`: pairs of `full` not shown apart. `net_untested`:
    (N,) True for a net with an untested pair, or with none of its own although there are other nets.
    `untested`: up to MOST_LISTED pairs of point codes that nobody probed; `unreachable_nets`: count."""

    level: IsolationLevel
    shown: IsolationLevel

    required: int
    tested: int
    unchecked: int
    net_untested: BoolArray
    untested: tuple[tuple[int, int], ...]
    unreachable_nets: int


def isolation_coverage(
    harness: Harness,
    seen: Observations,
    nets: IntArray,
    proven: IntArray,
    level: IsolationLevel,
    explained: BoolArray,
) -> Isolation:
    """Pairs of nets shown apart above `isolation_ohms`, whole net against whole net.

    `explained`: (m,) pairs of points of `seen` between nets that parts join through other nets, whose
    reading those parts explain: they show their nets apart as well.

    A net's reachable points fall into groups that readings join, or wires that readings showed to conduct
    (`proven`, (k, 2) their ends): a splice that could be probed and was not is no group of its own. A pair of
    nets is tested when every group of the one was read above the limit from every group of the other: the
    stub of a broken leg is a group of its own and wants a reading of its own. `nets`: (P,) net of what sits
    at every point as found; a code from N on is no net of the harness (an undeclared cavity).
    """
    limits = harness.limits
    required = required_pairs(harness, level)
    net_count = len(harness.nets)
    has_point = np.zeros(net_count, dtype=np.bool_)
    has_point[harness.net_of[harness.reachable]] = True
    has_point[harness.net_of[[harness.code_of[p] for p in harness.untouchable]]] = True  # counted apart
    joined = (seen.pair_state == JOINED) & ~explained
    groups = component_labels(
        len(nets),
        np.concatenate([seen.pair_start[joined], proven[:, 0]]),
        np.concatenate([seen.pair_end[joined], proven[:, 1]]),
    )
    reachable = np.flatnonzero(np.concatenate([harness.reachable, nets[len(harness.points) :] < net_count]))
    reachable = reachable[nets[reachable] < net_count]
    stride = len(nets) + 1
    owned = distinct(nets[reachable] * stride + groups[reachable])
    group_count = np.bincount(owned // stride, minlength=net_count)
    clear = (seen.pair_state == APART) & (seen.pair_low_ohm >= limits.isolation_ohms) | explained
    good = _shown(nets, groups, group_count, seen.pair_start[clear], seen.pair_end[clear])
    everything = required_pairs(harness, "full")
    all_good = good = good[everything.contains(*np.divmod(good, net_count))]
    if level != "full":
        good = good[required.contains(*np.divmod(good, net_count))]
    bad = _read_between(
        seen, nets, net_count, joined | ((seen.pair_state == APART) & ~seen.pair_over & ~clear)
    )
    net_untested, untested = _missing(harness, required, good, bad)
    shown = _widest_shown(harness, all_good, {"full": everything, level: required})
    return Isolation(
        level,
        shown,
        required.count,
        len(good),
        everything.count - len(all_good),
        net_untested,
        untested,
        int((~has_point).sum()),
    )


def _widest_shown(
    harness: Harness, good: IntArray, known: Mapping[IsolationLevel, RequiredPairs]
) -> IsolationLevel:
    """The widest level whose pairs are all among `good`, ascending codes a·N + b; `known`: those of some."""
    for level in ISOLATION_LEVELS[:-1]:
        wanted = known[level] if level in known else required_pairs(harness, level)
        if len(good) < wanted.count or wanted.alone.any():
            continue
        if level == "full" or wanted.contains(*np.divmod(good, len(harness.nets))).sum() == wanted.count:
            return level
    return "none"


def _shown(nets: IntArray, groups: IntArray, group_count: IntArray, a: IntArray, b: IntArray) -> IntArray:
    """Ascending codes a·N + b of pairs of nets, every group of the one cleared from every group of the other.

    `a`, `b`: (n,) points of the readings that clear; `nets`, `groups`: (P,) of every point; `group_count`:
    (N,) of every net.
    """
    net_count, stride = len(group_count), len(nets) + 1
    short = nets.astype(np.int32)  # half the memory, where there are millions of readings
    x, y = short[a], short[b]
    whole = np.zeros(max(net_count, int(nets.max(initial=0)) + 1), dtype=np.bool_)  # nets of one group
    whole[:net_count] = group_count == 1
    plain = whole[x] & whole[y] & (x != y)  # on a sound loom all of them: no need to look at groups
    low, high = np.minimum(x[plain], y[plain]), np.maximum(x[plain], y[plain])
    code = low.astype(np.int64)
    code *= net_count
    code += high
    shown = [distinct(code, net_count * net_count)]
    rest = ~plain & (x < net_count) & (y < net_count) & (x != y)
    if rest.any():
        a, b, flip = a[rest], b[rest], x[rest] > y[rest]
        a, b = np.where(flip, b, a), np.where(flip, a, b)
        pieces = distinct(
            (nets[a] * stride + groups[a]) * (stride * (net_count + 1)) + nets[b] * stride + groups[b]
        )
        one, other = np.divmod(pieces, stride * (net_count + 1))
        pair, count = np.unique((one // stride) * net_count + other // stride, return_counts=True)
        x, y = np.divmod(pair, net_count)
        shown.append(pair[count >= group_count[x] * group_count[y]])
    return distinct(np.concatenate(shown)) if len(shown) > 1 else shown[0]


def _read_between(seen: Observations, nets: IntArray, net_count: int, which: BoolArray) -> IntArray:
    """Ascending codes a·N + b of pairs of nets between which some of these readings conduct."""
    a, b = nets[seen.pair_start[which]], nets[seen.pair_end[which]]
    kept = (a != b) & (a < net_count) & (b < net_count)
    low, high = np.minimum(a[kept], b[kept]), np.maximum(a[kept], b[kept])
    return distinct(low * net_count + high)


def _missing(
    harness: Harness, required: RequiredPairs, good: IntArray, bad: IntArray
) -> tuple[BoolArray, tuple[tuple[int, int], ...]]:
    net_count = len(harness.nets)
    net_untested = required.alone
    listed: list[tuple[int, int]] = []
    if len(good) == required.count and not net_untested.any():
        return net_untested, ()
    first = np.full(net_count, -1, dtype=np.int64)
    for code in np.flatnonzero(harness.reachable)[::-1].tolist():
        first[harness.net_of[code]] = code
    for net in np.flatnonzero(net_untested).tolist():  # no pair is wanted of it: beside the next net
        other = required.nets[(np.searchsorted(required.nets, net) + 1) % len(required.nets)]
        listed.append((int(first[net]), int(first[other])))
    if len(good) == required.count:
        return net_untested, tuple(listed[:MOST_LISTED])
    rows = np.arange(net_count + 1, dtype=np.int64) * net_count
    from_good, from_bad = np.searchsorted(good, rows), np.searchsorted(bad, rows)
    for block in required.iterate():
        net, others = int(block[0, 0]), block[:, 1]
        shown, read = np.zeros((2, net_count), dtype=np.bool_)
        shown[good[from_good[net] : from_good[net + 1]] - rows[net]] = True
        left = others[~shown[others]]
        net_untested[left] = True
        net_untested[net] |= len(left) > 0
        if len(listed) < MOST_LISTED and len(left):
            read[bad[from_bad[net] : from_bad[net + 1]] - rows[net]] = True
            unread = left[~read[left]]
            listed.extend(
                (int(first[net]), int(first[y])) for y in unread[: MOST_LISTED - len(listed)].tolist()
            )
    return net_untested, tuple(listed)


def untested_items(
    harness: Harness, wires_tested: BoolArray, parts_tested: BoolArray, isolation: Isolation
) -> tuple[Untested, ...]:
    """Wires and parts that no reading proves, then pairs of nets nobody probed."""
    rows: Sequence[int] = np.flatnonzero(
        (harness.conducts & ~wires_tested) | (~harness.conducts & ~parts_tested)
    ).tolist()
    wires = [Untested((harness.wires[w].start, harness.wires[w].end), "continuity") for w in rows]
    pairs = [Untested((harness.points[a], harness.points[b]), "isolation") for a, b in isolation.untested]
    return tuple(wires + pairs)
