"""Small looms and readings for the tests of the joints, by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from loomtest.diagnosis.joints import report as joints
from loomtest.diagnosis.wiring import Wiring, as_drawn
from loomtest.harness.copper import expectation_of
from loomtest.harness.model import Expect, Harness, Limits, Wire
from loomtest.readings.model import Instrument, Quantity, Readings, Run

Row = tuple[str, str, float]
FOUR_WIRE = Instrument(
    "four-wire meter of the tests", method="four-wire", open_above_ohms=1e7, autorange=True
)


def harness_of(
    wires: Sequence[Wire],
    unreachable: Sequence[str] = (),
    limits: Limits | None = None,
    expect: Expect | None = None,
) -> Harness:
    points = tuple(dict.fromkeys(p for w in wires for p in (w.start, w.end)))
    return Harness(
        "test loom",
        tuple(wires),
        points,
        frozenset(unreachable),
        limits=limits or Limits(),
        expect=expect or Expect(),
    )


def wire(name: str, start: str, end: str, length_m: float | None = 1.0, **more: object) -> Wire:
    """A 1 mm² wire: 18 mΩ a metre and 4 mΩ of joints."""
    return replace(Wire(name, start, end, size_mm2=1.0, length_m=length_m), **more)


def readings_of(
    harness: Harness,
    rows: Sequence[Row],
    uncertainty: float | Sequence[float] = np.nan,
    quantity: Quantity | Sequence[Quantity] = Quantity.RESISTANCE_4W,
    **more: object,
) -> Readings:
    code = harness.code_of
    n = len(rows)
    blank = np.full(n, np.nan)
    built = Readings(
        points=harness.points,
        start=np.array([code[a] for a, _, _ in rows], dtype=np.int64),
        end=np.array([code[b] for _, b, _ in rows], dtype=np.int64),
        quantity=np.broadcast_to(np.array(quantity, dtype=np.int64), n).copy(),
        value=np.array([v for _, _, v in rows], dtype=np.float64),
        above_ohm=blank,
        current_a=blank,
        uncertainty=np.broadcast_to(np.array(uncertainty, dtype=np.float64), n).copy(),
        temperature_c=blank,
        row=np.arange(2, n + 2),
    )
    return replace(built, **more)


def report_of(
    harness: Harness, readings: Readings, instrument: Instrument = FOUR_WIRE, wiring: Wiring | None = None
) -> joints.JointReport:
    return joints.estimate(
        harness, wiring or as_drawn(harness), readings, instrument, expectation_of(harness)
    )


def with_run(readings: Readings, **run: object) -> Readings:
    return replace(readings, run=Run(**run))
