"""What each reading proves: bounds on a resistance, and whether it shows its two points joined or apart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loomtest.diagnosis.numbers.distinct import ranked
from loomtest.diagnosis.seen.budget import SILENT_VOLT
from loomtest.harness.model import BoolArray, FloatArray, IntArray, Limits
from loomtest.readings.generic import over_range_proves_ohm
from loomtest.readings.model import Instrument, Quantity, Readings

UNKNOWN, JOINED, APART = 0, 1, 2
NO_VALUE_OHM = 1e-12  # of points that are joined, and nobody read by how little
StateArray = NDArray[np.int8]


Clipped = tuple[int, tuple[int, ...], tuple[int, ...]]


@dataclass(frozen=True)
class Observations:
    """Bounds per reading and the evidence per unordered pair of points.

    `low_ohm`, `high_ohm`: (n,) the resistance that a reading proves lies in [low, high]; a plain number
    gives low = high; over-range gives high = inf; a diode test and a capacitance give [0, inf].
    `state`: (n,) UNKNOWN, JOINED or APART.
    `pair_start` < `pair_end`: (m,) codes of the pairs seen joined or apart by a reading without clips or by
    an over-range reading with clips (which clears every pair across); `pair_state` (m,);
    `pair_low_ohm` (m,): the least that a reading of the pair showed; where an apart pair showed no number,
    the most that its readings proved, and `pair_over` (m,) is True.
    `contradictory`: (k, 2) pairs read both joined and over-range: they stand as no evidence here.
    `clipped_joins`: readings with clips that conduct: (index of the reading, points of one side, other side);
    `clipped_numbers`: those that read a number of ohms above the short limit: some pair across leaks.
    """

    low_ohm: FloatArray
    high_ohm: FloatArray
    state: StateArray
    pair_start: IntArray
    pair_end: IntArray
    pair_state: StateArray
    pair_low_ohm: FloatArray
    pair_over: BoolArray
    contradictory: IntArray
    clipped_joins: tuple[Clipped, ...]
    clipped_numbers: tuple[Clipped, ...]


@dataclass(frozen=True, kw_only=True)
class PairEvidence:
    """What is known of pairs of points otherwise, as columns of (k,): codes `start` and `end`, `state` JOINED
    or APART, the least ohms between them, and whether that is only a bound (`over`)."""

    start: IntArray
    end: IntArray
    state: StateArray
    low_ohm: FloatArray
    over: BoolArray


def observe(
    readings: Readings, instrument: Instrument, limits: Limits, more: PairEvidence | None = None
) -> Observations:
    """Turn readings, and what `more` says of pairs, into bounds and joined or apart evidence; pure,
    O(n log n)."""
    low, high = bounds_ohm(readings, instrument)
    state = np.zeros(len(readings), dtype=np.int8)
    resistive = readings.quantity < Quantity.DIODE  # diode and capacitance, the last two codes, show no ohms
    state[resistive & (high < limits.short_below_ohms)] = JOINED
    state[resistive & (low >= limits.short_below_ohms)] = APART
    state[(readings.quantity == Quantity.VOLTAGE_DROP) & (np.abs(readings.value) < SILENT_VOLT)] = UNKNOWN
    beeps = readings.quantity == Quantity.CONTINUITY
    state[beeps] = np.where(readings.value[beeps] > 0.5, JOINED, APART)

    plain = state != UNKNOWN
    plain[list(readings.bonded)] = False
    kept = slice(None) if plain.all() else plain  # a scan of millions is not copied for nothing
    start, end, seen = [readings.start[kept]], [readings.end[kept]], [state[kept]]
    lows = [np.where(seen[0] == JOINED, high[kept], low[kept])]
    over = [np.isinf(high[kept])]
    joins, numbers = [], []
    for index, (with_start, with_end) in sorted(readings.bonded.items()):
        one = (int(readings.start[index]), *with_start)
        other = (int(readings.end[index]), *with_end)
        if state[index] == APART:
            across = np.array([(a, b) for a in one for b in other if a != b], dtype=np.int64).reshape(-1, 2)
            start.append(across[:, 0])
            end.append(across[:, 1])
            seen.append(np.full(len(across), APART, dtype=np.int8))
            lows.append(np.full(len(across), low[index]))
            over.append(np.ones(len(across), dtype=np.bool_))  # no pair by itself showed the number
            if np.isfinite(high[index]):
                numbers.append((index, one, other))
        elif state[index] == JOINED:
            joins.append((index, one, other))
    if more is not None:
        start.append(more.start)
        end.append(more.end)
        seen.append(more.state)
        lows.append(more.low_ohm)
        over.append(more.over)
    columns = _Evidence(
        _pair_keys(_whole(start), _whole(end), len(readings.points)), *map(_whole, (seen, lows, over))
    )
    pairs = _by_pair(columns, len(readings.points))
    return Observations(low, high, state, *pairs, tuple(joins), tuple(numbers))


def bounds_ohm(readings: Readings, instrument: Instrument) -> tuple[FloatArray, FloatArray]:
    """(n,) least and greatest resistance in ohms that each reading proves.

    What over-range proves: more than its own `range` or `>` value; without them more than open_above_ohms
    where the meter changes ranges by itself, else only more than its lowest range.
    """
    value = readings.value
    drop = readings.quantity == Quantity.VOLTAGE_DROP
    if drop.any():
        value = value.copy()
        value[drop] = value[drop] / readings.current_a[drop]
    low, over = value.copy(), np.isinf(value)
    low[over] = over_range_proves_ohm(instrument)
    over &= ~np.isnan(readings.above_ohm)
    low[over] = readings.above_ohm[over]
    beeps = readings.quantity == Quantity.CONTINUITY
    other = readings.quantity >= Quantity.DIODE
    if not beeps.any() and not other.any():
        return low, value
    high = value.copy()
    limit = 0.0 if instrument.beep_below_ohms is None else instrument.beep_below_ohms
    low[beeps] = np.where(value[beeps] > 0.5, 0.0, limit)
    high[beeps] = np.where(value[beeps] > 0.5, limit if limit else np.inf, np.inf)
    low[other], high[other] = 0.0, np.inf
    return low, high


@dataclass(frozen=True)
class _Evidence:
    key: IntArray  # the two codes of a pair as one number
    state: StateArray
    low_ohm: FloatArray
    over: BoolArray


def _whole(pieces: list[NDArray[Any]]) -> NDArray[Any]:
    return pieces[0] if len(pieces) == 1 else np.concatenate(pieces)


def _pair_keys(start: IntArray, end: IntArray, point_count: int) -> IntArray:
    key = np.minimum(start, end)
    key *= point_count
    key += np.maximum(start, end)
    return key


def _by_pair(
    seen: _Evidence, point_count: int
) -> tuple[IntArray, IntArray, StateArray, FloatArray, BoolArray, IntArray]:
    """One entry a pair. A finite apart value beside a joined one is a joint near the limit: joined."""
    key, inverse = ranked(seen.key, point_count * point_count)
    is_joined, is_apart = seen.state == JOINED, seen.state == APART
    joined, over, number = np.zeros((3, len(key)), dtype=np.bool_)
    joined[inverse[is_joined]] = True
    over[inverse[is_apart & seen.over]] = True
    number[inverse[~seen.over]] = True
    low = np.zeros(len(key))
    np.maximum.at(low, inverse[is_apart], seen.low_ohm[is_apart])
    told = joined | number  # those show the least that was read
    low[told] = np.inf
    least = is_joined | ~seen.over
    np.minimum.at(low, inverse[least], np.where(told[inverse[least]], seen.low_ohm[least], np.inf))
    first, second = np.divmod(key, point_count)
    state = np.where(joined, JOINED, APART).astype(np.int8)
    both = joined & over
    if not both.any():
        return first, second, state, low, ~told, np.empty((0, 2), dtype=np.int64)
    kept = ~both
    contradictory = np.column_stack([first[both], second[both]])
    return first[kept], second[kept], state[kept], low[kept], ~told[kept], contradictory
