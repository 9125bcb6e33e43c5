"""Many units of one loom, with healthy copper and joints of known truth, and what a meter shows of them."""

from __future__ import annotations

import shutil
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from loomtest.harness.model import Expect, Harness
from loomtest.readings.model import Instrument, Job, Quantity, Range, Readings, Run
from loomtest.readings.runfile import instrument_text, toml_value
from tests.looms.faults import Loom, _joint
from tests.looms.measure import continuity_pairs
from tests.looms.solve import FloatArray

Rng = np.random.Generator
RHO_OHM_MM2_PER_M = 0.017241  # IACS
MILLIOHM_METER = Instrument(
    "milliohm meter of the tests", method="four-wire", ranges=(Range(2.0, 0.3, 2.0, 0.0001),)
)


def unit_ohms(harness: Harness, rng: Rng, truth: Expect, off: FloatArray) -> FloatArray:
    """(W,) true ohms of one unit; `off`: (W,) by how much the wire list is off, the same in every unit."""
    warm = 1 + 0.00393 * rng.normal(0, truth.temperature_spread_c)
    ohms = np.empty(len(harness.wires))
    for index, wire in enumerate(harness.wires):
        assert wire.size_mm2 and wire.length_m
        own = 1 + off[index] + truth.copper_spread_percent / 100 * rng.normal()
        copper = truth.copper_factor * RHO_OHM_MM2_PER_M * wire.length_m / wire.size_mm2
        joints = [_joint(rng, truth.joint_milliohms, truth.joint_spread_milliohms) for _ in range(2)]
        ohms[index] = copper * own * warm + sum(joints)
    return ohms


def measured_units(harness: Harness, rng: Rng, truth: Expect, count: int) -> list[Readings]:
    """`count` units through one milliohm meter whose gain and offset are off by what its maker allows."""
    off = truth.length_spread_percent / 100 * rng.normal(size=len(harness.wires))
    gain = 1 + rng.uniform(-1, 1) * 0.003
    offset = rng.uniform(-1, 1) * 0.0002
    pairs = continuity_pairs(harness)
    return [
        _readings(harness, Loom(harness, unit_ohms(harness, rng, truth, off)), pairs, (gain, offset), number)
        for number in range(count)
    ]


def _readings(
    harness: Harness,
    loom: Loom,
    pairs: Sequence[tuple[int, int]],
    errors: tuple[float, float],
    number: int,
) -> Readings:
    start = np.array([a for a, _ in pairs], dtype=np.int64)
    end = np.array([b for _, b in pairs], dtype=np.int64)
    value = np.round(loom.matrix()[start, end] * errors[0] + errors[1], 4)
    blank = np.full(len(value), np.nan)
    run = Run(temperature_c=20.0, job=replace(Job(), unit=f"U{number + 1:03d}"))
    return Readings(
        points=harness.points,
        start=start,
        end=end,
        quantity=np.full(len(value), int(Quantity.RESISTANCE_4W), dtype=np.int64),
        value=value,
        above_ohm=blank.copy(),
        current_a=blank.copy(),
        uncertainty=blank.copy(),
        temperature_c=blank.copy(),
        row=np.arange(2, len(value) + 2, dtype=np.int64),
        instrument=MILLIOHM_METER,
        run=run,
    )


def write_loom(harness: Harness, folder: Path, name: str = "Orchard tractor, invented") -> Path:
    """The harness as a folder: harness.toml and wires.csv."""
    folder.mkdir(parents=True)
    taped = ", ".join(f'"{point}"' for point in sorted(harness.unreachable))
    (folder / "harness.toml").write_text(f'name = "{name}"\nunreachable = [{taped}]\n', "utf-8")
    rows = ["from,to,wire,size,length"]
    rows += [f"{w.start},{w.end},{w.name},{w.size_mm2!r},{w.length_m!r}" for w in harness.wires]
    (folder / "wires.csv").write_text("\n".join(rows) + "\n", "utf-8")
    return folder


def write_unit(
    folder: Path, loom: Path, readings: Readings, run: Mapping[str, str | float] | None = None
) -> Path:
    """A run folder of one unit; `run`: further keys of run.toml (started, operator, bench …)."""
    assert readings.run is not None and readings.instrument is not None
    folder.mkdir(parents=True)
    shutil.copytree(loom, folder / "harness")
    keys: dict[str, str | float] = {"format": "loomtest-run/1", "stage": "made", "temperature_c": 20.0}
    lines = [f"{key} = {toml_value(value)}" for key, value in {**keys, **(run or {})}.items()]
    lines += ["", "[job]", f"unit = {toml_value(readings.run.job.unit)}"]
    (folder / "run.toml").write_text("\n".join(lines) + "\n", "utf-8")
    (folder / "instrument.toml").write_text(instrument_text(readings.instrument), "utf-8")
    rows = ["from,to,value,quantity,unit"]
    for a, b, value, code in zip(
        readings.start.tolist(),
        readings.end.tolist(),
        readings.value,
        readings.quantity.tolist(),
        strict=True,
    ):
        shown = "OL" if np.isinf(value) else repr(float(value))
        kind = "resistance_4w" if code == int(Quantity.RESISTANCE_4W) else "resistance"
        rows.append(f"{readings.points[a]},{readings.points[b]},{shown},{kind},")
    (folder / "readings.csv").write_text("\n".join(rows) + "\n", "utf-8")
    return folder
