"""All that many units of one loom say together: yield, faults, what is usual of each circuit, the benches."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.units.benches import BenchShift, bench_shifts
from loomtest.diagnosis.units.chart import Chart, chart_of
from loomtest.diagnosis.units.shares import (
    CONFIDENCE,
    FaultShare,
    Right,
    Share,
    Tries,
    commonest,
    right_of,
    share_of,
    tries_of,
)
from loomtest.diagnosis.units.spread import Usual, usual_of
from loomtest.harness.model import BoolArray, FloatArray, IntArray

PASS = "pass"


@dataclass(frozen=True, kw_only=True)
class RunColumns:
    """Runs of one loom in the order in which they were kept, one entry each."""

    sequence: Sequence[int]
    unit: Sequence[str]
    verdict: Sequence[str]
    bench: Sequence[str]


@dataclass(frozen=True, eq=False, kw_only=True)
class UnitOhms:
    """What the last try of n units measured, in the order of their last tries: `at`: (n,) places in the run
    columns; `sound`: (n,) those that pass; `ohm`: (n, C), NaN where not known; `limit_ohm`: (C,) that of the
    latest unit which has one. `wires`, `circuits`: one name a column."""

    at: IntArray
    sound: BoolArray
    ohm: FloatArray
    limit_ohm: FloatArray
    wires: tuple[str, ...]
    circuits: tuple[str, ...]


@dataclass(frozen=True, eq=False, kw_only=True)
class CircuitOverUnits:
    """One circuit (or wires that cannot be told apart) over the units: what is usual of the sound ones, and
    the control chart of all; `places`: (k,) rows of `UnitOhms` that the chart's values come from. None where
    too few units are sound."""

    wires: str
    circuit: str
    limit_ohm: float | None
    usual: Usual | None
    chart: Chart | None
    places: IntArray

    @property
    def outside(self) -> int:
        """How many units lie outside the chart's limits."""
        return 0 if self.chart is None else int(self.chart.outside.sum())


@dataclass(frozen=True, kw_only=True)
class ManyUnits:
    """The whole answer. `by_bench`: units right at their first try, by the bench of that try; benches without
    a name are left out. `shifts` name benches by their place in `benches` and circuits by their place in
    `circuits`, which stand in the order of the columns of `ohms`."""

    runs: RunColumns
    tries: Tries
    right: Right
    by_bench: tuple[tuple[str, Share], ...]
    faults: tuple[FaultShare, ...]
    ohms: UnitOhms
    circuits: tuple[CircuitOverUnits, ...]
    benches: tuple[str, ...]
    shifts: tuple[BenchShift, ...]
    confidence: float


def last_tries(runs: RunColumns, newest: int) -> tuple[Tries, IntArray]:
    """The units' tries, and where the last tries of the `newest` units stand, in the order of keeping."""
    tries = tries_of(runs.unit)
    return tries, np.sort(np.array(tries.last, dtype=np.int64))[-newest:] if newest else np.zeros(0, np.int64)


def many_units(
    runs: RunColumns,
    tries: Tries,
    faults: Sequence[tuple[str, tuple[str, ...], int]],
    ohms: UnitOhms,
    confidence: float = CONFIDENCE,
) -> ManyUnits:
    """Put the statistics together; `faults`: (kind, points, units that had it)."""
    names = sorted({runs.bench[at] for at in ohms.at.tolist()} - {""})
    code = {name: number for number, name in enumerate(names)}
    bench = np.array([code.get(runs.bench[at], -1) for at in ohms.at.tolist()], dtype=np.int64)
    told = ohms.sound & (bench >= 0)
    return ManyUnits(
        runs=runs,
        tries=tries,
        right=right_of(tries, runs.verdict, confidence),
        by_bench=_by_bench(runs, tries, confidence),
        faults=tuple(commonest(faults, len(tries.unit), confidence)),
        ohms=ohms,
        circuits=tuple(_circuit(ohms, column, confidence) for column in range(len(ohms.wires))),
        benches=tuple(names),
        shifts=tuple(bench_shifts(ohms.ohm[told], bench[told], confidence)),
        confidence=confidence,
    )


def _circuit(ohms: UnitOhms, column: int, confidence: float) -> CircuitOverUnits:
    places = np.flatnonzero(np.isfinite(ohms.ohm[:, column]))
    value, sound = ohms.ohm[places, column], ohms.sound[places]
    limit = float(ohms.limit_ohm[column])
    return CircuitOverUnits(
        wires=ohms.wires[column],
        circuit=ohms.circuits[column],
        limit_ohm=limit if np.isfinite(limit) else None,
        usual=usual_of(value[sound], confidence),
        chart=chart_of(value, sound),
        places=places,
    )


def _by_bench(runs: RunColumns, tries: Tries, confidence: float) -> tuple[tuple[str, Share], ...]:
    count = Counter((runs.bench[at], runs.verdict[at]) for at in tries.first)
    total: Counter[str] = Counter()
    for (bench, _), units in count.items():
        total[bench] += units
    del total[""]
    return tuple(
        (bench, share_of(count[bench, PASS], units, confidence)) for bench, units in sorted(total.items())
    )
