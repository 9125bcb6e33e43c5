"""Many units out of an archive's index: what `yield` asks, as columns and tables of numbers."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from loomtest.diagnosis.units.report import ManyUnits, RunColumns, UnitOhms, last_tries, many_units
from loomtest.errors import ArchiveError
from loomtest.evidence.archive.folder import Archive
from loomtest.evidence.archive.index import Index, Wanted
from loomtest.harness.model import FloatArray, IntArray

NEWEST = 1000  # units whose resistances are looked at; yield and faults are of all
_FIELDS = ("sequence", "unit", "verdict", "bench")
_NUMBERS = ("measured_ohms", "ohms", "limit_ohms")


@dataclass(frozen=True, kw_only=True)
class KeptUnits:
    """What many units of one loom say. `rehearsed`: they are rehearsals, which are taken where nothing else
    has been kept. `first_day`, `last_day`: of the first and the last run that was kept. `date` and `operator`
    of the runs whose resistances are looked at, by their sequence."""

    units: ManyUnits
    rehearsed: bool
    first_day: str
    last_day: str
    date: dict[int, str]
    operator: dict[int, str]


def units_of(archive: Archive, wanted: Wanted, newest: int = NEWEST) -> KeptUnits:
    """What many units of one loom say. `wanted.harness` names the loom; `newest`: how many units' resistances
    are looked at.

    Raises ArchiveError where nothing of the kind has been kept, IndexAwayError.
    """
    if not archive.exists():
        raise ArchiveError(f"{archive.folder} is no archive: nothing has been kept there")
    index = Index(archive)
    index.catch_up()
    wanted = replace(wanted, rehearsal=False)
    columns = index.columns(wanted, _FIELDS)
    rehearsed = not columns["sequence"]
    if rehearsed:
        wanted = replace(wanted, rehearsal=True)
        columns = index.columns(wanted, _FIELDS)
    if not columns["sequence"]:
        kept = ", ".join(name for name, _ in index.distinct("harness")) or "nothing"
        raise ArchiveError(f"nothing of that kind has been kept in {archive.folder}; kept: {kept}")
    runs = RunColumns(**columns)
    tries, at = last_tries(runs, newest)
    ohms = _ohms(index, wanted, runs, at)
    faults = [
        (one.fault, tuple(one.points.split(" ")), one.units) for one in index.faults(wanted) if one.units
    ]
    looked_at = [runs.sequence[place] for place in at.tolist()]
    ends = [runs.sequence[0], runs.sequence[-1]]
    told = index.columns(wanted, ("sequence", "date", "operator"), [*ends, *looked_at])
    date = dict(zip(told["sequence"], told["date"], strict=True))
    return KeptUnits(
        units=many_units(runs, tries, faults, ohms),
        rehearsed=rehearsed,
        first_day=date[ends[0]],
        last_day=date[ends[1]],
        date=date,
        operator=dict(zip(told["sequence"], told["operator"], strict=True)),
    )


def _ohms(index: Index, wanted: Wanted, runs: RunColumns, at: IntArray) -> UnitOhms:
    """What was measured of each unit by itself, else its estimate. Runs with other lists of wires have their
    columns where the wires are the same, and further ones where not."""
    sequences = [runs.sequence[place] for place in at.tolist()]
    row_of = {sequence: row for row, sequence in enumerate(sequences)}
    column_of: dict[str, int] = {}
    circuits: list[str] = []
    parts: list[tuple[IntArray, IntArray, FloatArray, FloatArray]] = []
    for table in index.measured(wanted, _NUMBERS, sequences):
        for wires, circuit in zip(table.wires, table.circuits, strict=True):
            if wires not in column_of:
                column_of[wires] = len(circuits)
                circuits.append(circuit)
        rows = np.array([row_of[sequence] for sequence in table.sequences.tolist()], dtype=np.int64)
        columns = np.array([column_of[wires] for wires in table.wires], dtype=np.int64)
        own, estimate = table.values["measured_ohms"], table.values["ohms"]
        value = np.where(np.isfinite(own) & np.isfinite(estimate), own, estimate)
        parts.append((rows, columns, value, table.values["limit_ohms"]))
    ohm, limit = (np.full((len(at), len(circuits)), np.nan) for _ in range(2))
    for rows, columns, value, most in parts:
        ohm[np.ix_(rows, columns)] = value
        limit[np.ix_(rows, columns)] = most
    return UnitOhms(
        at=at,
        sound=np.array([runs.verdict[place] == "pass" for place in at.tolist()], dtype=np.bool_),
        ohm=ohm,
        limit_ohm=_latest(limit),
        wires=tuple(column_of),
        circuits=tuple(circuits),
    )


def _latest(values: FloatArray) -> FloatArray:
    """(C,) the last known value of each column; NaN where there is none."""
    known = np.isfinite(values)
    last = len(values) - 1 - np.argmax(known[::-1], axis=0) if len(values) else np.zeros(0, np.int64)
    return np.asarray(values[last, np.arange(values.shape[1])] if len(values) else np.zeros(0))


def unit_rows(kept: KeptUnits) -> dict[str, list[object]]:
    """The resistances as a table, one row a unit and circuit, in the order of making."""
    ohms, runs = kept.units.ohms, kept.units.runs
    row, column = np.nonzero(np.isfinite(ohms.ohm))
    at, number_of = ohms.at[row].tolist(), column.tolist()
    sequences = [runs.sequence[place] for place in at]
    limits = ohms.limit_ohm[column].tolist()
    return {
        "unit": [runs.unit[place] for place in at],
        "run": list(sequences),
        "date": [kept.date[sequence] for sequence in sequences],
        "bench": [runs.bench[place] for place in at],
        "operator": [kept.operator[sequence] for sequence in sequences],
        "verdict": [runs.verdict[place] for place in at],
        "circuit": [ohms.circuits[number] for number in number_of],
        "wires": [ohms.wires[number] for number in number_of],
        "ohms": ohms.ohm[row, column].tolist(),
        "limit_ohms": [None if value != value else value for value in limits],
    }
