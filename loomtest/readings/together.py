"""Several runs of one loom as one: each keeps its own leads, meter and temperature.

Earlier readings are left out only where a later run's `[mended]` says that what they read was mended since;
all others count, so that a wire that was open once and read well later is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from loomtest.errors import InputError, Problem
from loomtest.harness.copper import expectation_of
from loomtest.harness.model import Harness
from loomtest.readings.generic import UNKNOWN_LEADS_OHM, generic_handheld, over_range_proves_ohm
from loomtest.readings.load import load_readings
from loomtest.readings.mended import mended_of, void
from loomtest.readings.model import Instrument, Quantity, Readings, Run, Sitting
from loomtest.readings.runfile import RUN_FILE, read_run_file

_TYPICAL_SPREAD_OHM = 0.07  # of a wire's own resistance where neither size nor length is known
_FEWEST = 3  # readings from which a run's own leads are told better than by their prior


def load_together(
    paths: Sequence[str | Path],
    harness: Harness,
    instrument: Instrument | None = None,
    markers: str | Path | None = None,
) -> Readings:
    """The readings of several runs, in that order; one path is read as `load_readings` does, `markers` too.

    Raises InputError as it does, where runs were rehearsed and others were not, and for runs of two units.
    """
    if len(paths) == 1:
        return load_readings(paths[0], harness, markers)
    loaded = [load_readings(path, harness) for path in paths]
    named = next((one.run.job.unit for one in loaded if one.run is not None and one.run.job.unit), "")
    for path, one in zip(paths, loaded, strict=True):
        _refuse_another_unit(named, one.run, path)
        if one.marked is not None:
            found, wanted = "touches with marker clips", "such a run by itself"
            raise InputError([Problem(str(path), None, "", found, wanted)])
        if (one.run is not None and one.run.rehearsal) != (
            loaded[0].run is not None and loaded[0].run.rehearsal
        ):
            found, wanted = "a rehearsal beside a run that was none", "runs of one kind"
            raise InputError([Problem(str(path), None, "", found, wanted)])
    return together(loaded, harness, instrument)


def together(runs: Sequence[Readings], harness: Harness, instrument: Instrument | None = None) -> Readings:
    """The runs as one. `instrument`: of all of them; None: each its own."""
    mended = [mended_of(one.run.raw) if one.run is not None else mended_of({}) for one in runs]
    kept: list[Readings] = []
    sittings: list[Sitting] = []
    for index, one in enumerate(runs):
        gone = np.zeros(len(one), dtype=np.bool_)
        for later in mended[index + 1 :]:
            gone |= void(one, harness, later)
        part = taken(one, np.flatnonzero(~gone))
        meter = instrument or one.instrument or generic_handheld()
        kept.append(_with_own(part, meter))
        sittings.append(
            Sitting(one.run, _with_leads(part, meter, harness), one.source, len(part), int(gone.sum()))
        )
    return replace(
        followed(kept),
        sitting=np.repeat(np.arange(len(kept)), [len(part) for part in kept]),
        sittings=tuple(sittings),
    )


def going_on(before: Readings, after: Readings, harness: Harness) -> Readings:
    """The run after as it counts: with what still stands of the run before, where it measured only what was
    mended (`[mended]` in its run.toml)."""
    mended = mended_of(after.run.raw) if after.run is not None else mended_of({})
    return together([before, after], harness) if mended else after


def _refuse_another_unit(named: str, run: Run | None, path: str | Path) -> None:
    unit = run.job.unit if run is not None else ""
    if named and unit and unit != named:
        found, wanted = f"unit {unit} beside a run of unit {named}", "runs of one and the same loom"
        raise InputError([Problem(str(path), None, "job.unit", found, wanted)])


def check_two_runs(before: Path, after: Path) -> None:
    """Raises InputError for one run given twice, and for runs of two units: the one is not what became of
    the other."""
    if before.resolve() == after.resolve():
        raise InputError([Problem(str(after), None, "", "the same run twice", "two different runs")])
    if (before / RUN_FILE).is_file() and (after / RUN_FILE).is_file():
        _refuse_another_unit(read_run_file(before).job.unit, read_run_file(after), after)


def check_goes_on(before: Path, after: Path) -> None:
    """Raises InputError as `check_two_runs`, and for a run of mended places that goes on from another run
    than `before`."""
    check_two_runs(before, after)
    if not (after / RUN_FILE).is_file():
        return
    mended = mended_of(read_run_file(after).raw)
    if mended and mended.after and Path(mended.after).name != before.resolve().name:
        found = f"a run of what was mended since {mended.after}"
        expected = f"{mended.after} as the run before it, or a run that measured everything again"
        raise InputError([Problem(str(after), None, "mended.after", found, expected)])


def odd_pair(before: Readings, after: Readings, path: str) -> list[Problem]:
    """Told, not refused, where two runs are compared: another unit, or a run after that was begun earlier
    than the one before (clocks differ). `after` may hold both."""
    last = after.sittings[-1].run if after.sittings else after.run
    if before.run is None or last is None:
        return []
    odd: list[Problem] = []
    one, other = before.run.job.unit, last.job.unit
    if one and other and one != other:
        wanted = "two runs of one loom, to call it better or worse"
        odd.append(Problem(path, None, "job.unit", f"unit {other} after unit {one}", wanted, "warning"))
    try:
        begun = [datetime.fromisoformat(run.started).astimezone() for run in (before.run, last)]
    except ValueError:  # a time that a person wrote, or none
        return odd
    if begun[1] < begun[0]:
        found = f"a run of {last.started[:10]} after one of {before.run.started[:10]}"
        wanted = "the earlier run first, unless a clock was wrong"
        odd.append(Problem(path, None, "started", found, wanted, "warning"))
    return odd


def followed(parts: Sequence[Readings]) -> Readings:
    """Readings one after another, on all their points; run, meter and source are the first's."""
    first = parts[0]
    declared = max((one.points for one in parts), key=len)
    extra = [p for one in parts for p in one.points if p not in set(declared)]
    points = (*declared, *dict.fromkeys(extra))
    code = {point: index for index, point in enumerate(points)}
    out: dict[str, Any] = {"points": points, "bonded": {}, "notes": {}, "times": {}}
    moved = [np.array([code[point] for point in one.points], dtype=np.int64) for one in parts]
    if any(one.turned is not None for one in parts):
        flags = [np.zeros(len(one), dtype=np.bool_) if one.turned is None else one.turned for one in parts]
        out["turned"] = np.concatenate(flags)
    for name in _columns(first):
        if name == "turned":
            continue
        columns = [getattr(one, name) for one in parts]
        if name in ("start", "end"):
            columns = [to[column] for to, column in zip(moved, columns, strict=True)]
        out[name] = np.concatenate(columns)
    before = 0
    for one, to in zip(parts, moved, strict=True):
        for row, tie in one.bonded.items():
            out["bonded"][row + before] = tuple(tuple(int(to[c]) for c in side) for side in tie)
        for name in ("notes", "times"):
            texts = getattr(one, name)
            out[name].update({row + before: texts.get(row, "") for row in range(len(one)) if texts.get(row)})
        before += len(one)
    out["warnings"] = tuple(problem for one in parts for problem in one.warnings)
    out["withdrawn"] = sum(one.withdrawn for one in parts)
    return replace(first, **out)


def taken(readings: Readings, index: np.ndarray) -> Readings:
    """The readings at these places."""
    where = {int(old): new for new, old in enumerate(index)}
    changed: dict[str, Any] = {name: getattr(readings, name)[index] for name in _columns(readings)}
    bonded = {where[old]: tie for old, tie in readings.bonded.items() if old in where}
    texts = {
        name: {where[old]: getattr(readings, name).get(old, "") for old in where}
        for name in ("notes", "times")
    }
    return replace(readings, **changed, bonded=bonded, notes=texts["notes"], times=texts["times"])


def _columns(readings: Readings) -> list[str]:
    return [f.name for f in fields(readings) if isinstance(getattr(readings, f.name), np.ndarray)]


def _with_own(part: Readings, meter: Instrument) -> Readings:
    """What a run's own meter and temperature say of its rows, written into them."""
    changed: dict[str, Any] = {}
    over = np.isinf(part.value) & np.isnan(part.above_ohm) & (part.quantity != Quantity.DIODE)
    if over.any():
        changed["above_ohm"] = np.where(over, over_range_proves_ohm(meter), part.above_ohm)
    own = part.run.temperature_c if part.run is not None else None
    if own is not None:
        at = np.where(np.isnan(part.temperature_c), own, part.temperature_c)
        changed["temperature_c"] = at
    return replace(part, **changed)


def _with_leads(part: Readings, meter: Instrument, harness: Harness) -> Instrument:
    """The meter with the leads of this run where nobody read or stated them: what its own readings of
    single wires have above those wires, the prior of unknown leads being one more reading."""
    zeroed = part.run is not None and part.run.lead_start_ohms is not None
    if zeroed or meter.lead_ohms is not None or meter.method == "four-wire":
        return meter
    over, spread = _over_single_wires(part, harness)
    if len(over) < _FEWEST:
        return meter
    low, high = UNKNOWN_LEADS_OHM
    prior_mean, prior_var = (low + high) / 2, (high - low) ** 2 / 12
    digit = min((r.resolution_ohms for r in meter.ranges), default=0.1)
    var = (np.median(spread) ** 2 * np.pi / 2 + digit**2 / 12 + meter.touch_ohms**2) / len(over)
    var += digit**2 / 12  # the display's own step is common to all that read alike
    mean = (np.median(over) / var + prior_mean / prior_var) / (1 / var + 1 / prior_var)
    lead, sd = float(np.clip(mean, low, high)), float(np.sqrt(1 / (1 / var + 1 / prior_var)))
    return replace(meter, lead_ohms=lead, lead_uncertainty_ohms=sd)


def _over_single_wires(part: Readings, harness: Harness) -> tuple[np.ndarray, np.ndarray]:
    expected = expectation_of(harness)
    between = {
        frozenset((int(a), int(b))): index
        for index, (a, b) in enumerate(zip(harness.start.tolist(), harness.end.tolist(), strict=True))
        if harness.wires[index].conducts
    }
    over, spread = [], []
    for a, b, value, kind in zip(
        part.start.tolist(), part.end.tolist(), part.value.tolist(), part.quantity.tolist(), strict=True
    ):
        wire = between.get(frozenset((a, b)))
        if wire is None or not value < 2.0 or kind != Quantity.RESISTANCE:
            continue
        ohm = float(expected.expected_ohm[wire])
        known = np.isfinite(ohm)
        over.append(value - (ohm if known else _TYPICAL_SPREAD_OHM))
        spread.append(0.1 * ohm if known else _TYPICAL_SPREAD_OHM)
    return np.array(over), np.array(spread)
