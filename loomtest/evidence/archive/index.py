"""Asking an archive's index: which runs were kept, what was wrong with them, what their wires measured.

    index = Index(archive)
    index.catch_up()                                  # what was kept since, also by other benches
    wanted = Wanted(harness="tractor", since="2026-05-01")
    index.kept(wanted, newest=20)                      # the runs, in the order of keeping
    index.columns(wanted, ("unit", "verdict"))         # the same as columns, for 100,000 of them
    index.faults(wanted)                               # faults by kind and place, the commonest first
    index.measured(wanted)                             # ohms as a table, runs by wires

The index is derived, and never trusted further than `differing` goes, which holds it against the bags.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import sqlalchemy as sql

from loomtest.errors import ArchiveError, IndexDamagedError
from loomtest.evidence.archive.database.address import index_address
from loomtest.evidence.archive.database.opened import Database
from loomtest.evidence.archive.database.rows import PACKED
from loomtest.evidence.archive.database.tables import bag, finding, layout, measured
from loomtest.evidence.archive.database.upkeep import begin_anew, catch_up, differing, known_state, read_bags
from loomtest.evidence.archive.folder import Archive, Entry
from loomtest.harness.model import FloatArray, IntArray

MOST_FOLLOWED = 5_000  # runs whose wires are followed over time
_MOST_NUMBERS = 10_000  # in one query: SQLite takes 32,766, PostgreSQL 65,535
_RUNS_A_UNIT = 20
MOST_COMPARED = 100  # of the newest runs that a history shows


class Kept(NamedTuple):
    """One kept run as the index has it; `sequence` is its place in the ledger, from 1, and says what was kept
    before what, whatever the clocks of several benches say. `readings` is the digest of its readings file.
    `date`: YYYY-MM-DD, when it was begun by its own clock; `day`: the same moment in days since 2000-01-01
    UTC; both of the time of keeping where no beginning is known."""

    sequence: int
    folder: str
    digest: str
    previous: str
    harness: str
    stage: str
    operator: str
    started: str
    kept: str
    tool: str
    verdict: str
    wiring: str
    joints: str
    findings: int
    readings: str
    key: str
    rehearsal: int  # 1 where the meter was a simulated one
    job: str
    unit: str
    customer: str
    bench: str = ""
    date: str = ""
    day: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Which kept runs are wanted; what is left out is any. `since` and `until`: YYYY-MM-DD, both included.
    `fault`: a kind of fault found in the run; `place`: a point that one of its faults names. `rehearsal`:
    True for rehearsals only, False for none of them."""

    harness: str | None = None
    job: str | None = None
    unit: str | None = None
    customer: str | None = None
    operator: str | None = None
    bench: str | None = None
    stage: str | None = None
    verdict: str | None = None
    readings: str | None = None
    fault: str | None = None
    place: str | None = None
    since: str | None = None
    until: str | None = None
    rehearsal: bool | None = None


ANYTHING = Wanted()
_COLUMNS = tuple(bag.c[name] for name in Kept._fields)


@dataclass(frozen=True, slots=True)
class WireOhms:
    """The resistance of a wire, or of wires that cannot be told apart, in one kept run. `measured_ohms`: what
    its own readings gave, whatever the other wires of that run showed; None in runs kept before it was."""

    sequence: int
    wires: str
    circuit: str
    ohms: float
    uncertainty_ohms: float | None
    limit_ohms: float | None
    measured_ohms: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultCount:
    """A kind of fault at one place: its points, its circuits, in how many runs and of how many units (a run
    without a unit's number is none of them)."""

    fault: str
    points: str
    circuits: str
    runs: int
    units: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What runs with the same wires measured, in the order of keeping. `wires` and `circuits`: one name a
    column; `sequences`: one a row; `values`: for each name asked for a table of ohms, shape (runs, wires),
    NaN where nothing is known."""

    wires: tuple[str, ...]
    circuits: tuple[str, ...]
    sequences: IntArray
    values: dict[str, FloatArray]


class Index:
    """The index of an archive: in a file beside the bags, or in a database that several benches share.

    Every method raises IndexAwayError where that database cannot be reached.
    """

    def __init__(self, archive: Archive) -> None:
        self.archive = archive
        self.database = Database(index_address(archive))

    def catch_up(self) -> int:
        """Bring the index up to the ledger; the number of bags added. The archive must not be locked by this
        program. Raises ArchiveError."""
        return catch_up(self.database, self.archive)

    def differing(self, entries: Sequence[Entry]) -> list[str]:
        """Folders of those bags of which the index says something else than the bags, after making it anew.

        An index that is not there differs in nothing, and a bag that is not there from nothing.
        """
        if known_state(self.database) is None:
            return []
        there = [entry for entry in entries if (self.archive.folder / entry.folder).is_dir()]
        try:
            found = differing(self.database, list(read_bags(self.archive, there)))
        except IndexDamagedError:
            found = ["all of it"]
        if found:
            self.make_anew()
        return found

    def make_anew(self) -> None:
        """Make the index from the bags. The archive must not be locked. Raises ArchiveError."""
        begin_anew(self.database, self.archive, known_state(self.database))
        self.catch_up()

    def kept(self, wanted: Wanted = ANYTHING, newest: int | None = None) -> list[Kept]:
        """Kept runs in the order of keeping; `newest`: at most so many, the last ones."""
        query = sql.select(*_COLUMNS).where(*_conditions(wanted))
        if newest is not None:
            query = query.order_by(bag.c.sequence.desc()).limit(newest)
        else:
            query = query.order_by(bag.c.sequence)
        rows = self._rows(query)
        return [Kept._make(row) for row in (rows if newest is None else reversed(rows))]

    def newest_units(self, wanted: Wanted, most: int) -> tuple[list[str], int]:
        """The units of the kept runs, "" for runs without one, at most so many, the last kept first; and how
        many there are."""
        conditions = _conditions(wanted)
        newest = sql.select(bag.c.unit).where(*conditions).order_by(bag.c.sequence.desc())
        rows = self._rows(newest.limit(most * _RUNS_A_UNIT))
        units = list(dict.fromkeys(str(unit) for (unit,) in rows))[:most]
        if len(units) < most and len(rows) == most * _RUNS_A_UNIT:  # units with many runs each
            last = sql.func.max(bag.c.sequence).desc()
            of_each = sql.select(bag.c.unit).where(*conditions).group_by(bag.c.unit).order_by(last)
            units = [str(unit) for (unit,) in self._rows(of_each.limit(most))]
        counted = sql.select(sql.func.count(sql.distinct(bag.c.unit))).where(*conditions)
        return units, int(self._rows(counted)[0][0])

    def kept_of_units(self, wanted: Wanted, units: Sequence[str]) -> list[Kept]:
        """The newest runs of these units, in the order of keeping: of all of them at most `MOST_FOLLOWED`."""
        own = bag.c.unit.in_(list(units))
        query = sql.select(*_COLUMNS).where(*_conditions(wanted), own)
        rows = self._rows(query.order_by(bag.c.sequence.desc()).limit(MOST_FOLLOWED))
        return [Kept._make(row) for row in reversed(rows)]

    def counted(self, wanted: Wanted = ANYTHING) -> int:
        """How many kept runs there are."""
        return int(
            self._rows(sql.select(sql.func.count()).select_from(bag).where(*_conditions(wanted)))[0][0]
        )

    def columns(
        self, wanted: Wanted, names: Sequence[str], sequences: Sequence[int] | None = None
    ) -> dict[str, list[Any]]:
        """Some fields of `Kept`, each as a list over the kept runs in the order of keeping; `sequences`: only
        of these runs."""
        query = sql.select(*(bag.c[name] for name in names)).where(*_conditions(wanted))
        rows = [row for each in _of_runs(query, bag.c.sequence, sequences) for row in self._bare_rows(each)]
        columns = zip(*rows, strict=True) if rows else ([] for _ in names)
        return {name: list(column) for name, column in zip(names, columns, strict=True)}

    def distinct(self, name: str, wanted: Wanted = ANYTHING) -> list[tuple[str, int]]:
        """Every value of a text field of `Kept` and how many runs have it, in the order of the values."""
        column = bag.c[name]
        query = sql.select(column, sql.func.count()).where(*_conditions(wanted)).group_by(column)
        return sorted((str(value), int(count)) for value, count in self._rows(query))

    def faults(self, wanted: Wanted = ANYTHING) -> list[FaultCount]:
        """Faults of the kept runs by kind and place, those of most runs first."""
        what = (finding.c.fault, finding.c.points, finding.c.circuits)
        runs = sql.func.count(sql.distinct(bag.c.sequence))
        units = sql.func.count(sql.distinct(sql.func.nullif(bag.c.unit, "")))
        joined = finding.join(bag, finding.c.sequence == bag.c.sequence)
        query = sql.select(*what, runs, units).select_from(joined).where(*_conditions(wanted)).group_by(*what)
        found = [
            FaultCount(fault=fault, points=points, circuits=circuits, runs=int(runs), units=int(units))
            for fault, points, circuits, runs, units in self._rows(query)
        ]
        return sorted(found, key=lambda one: (-one.runs, one.fault, one.points))

    def measured(
        self,
        wanted: Wanted = ANYTHING,
        names: Sequence[str] = ("ohms",),
        sequences: Sequence[int] | None = None,
    ) -> list[Measured]:
        """What the wires of the kept runs measured: one table for each list of wires, runs by wires.

        `names`: of `ohms` (the estimate), `measured_ohms`, `uncertainty_ohms`, `limit_ohms` (see `WireOhms`).
        `sequences`: only of these runs.
        """
        columns = [measured.c[name] for name in names]
        joined = measured.join(bag, measured.c.sequence == bag.c.sequence)
        query = sql.select(measured.c.layout, measured.c.sequence, *columns).select_from(joined)
        of_layout: dict[str, list[Any]] = {}
        for each in _of_runs(query.where(*_conditions(wanted)), measured.c.sequence, sequences):
            for row in self._rows(each):
                of_layout.setdefault(row[0], []).append(row)
        if not of_layout:
            return []
        shapes = dict(self._rows(sql.select(layout.c.layout, layout.c.wires)))
        return [_measured(shapes.get(name, ""), rows, names) for name, rows in of_layout.items()]

    def wires(self, sequences: Sequence[int]) -> list[WireOhms]:
        """The wires of the given kept runs, in the order of keeping."""
        columns = [measured.c[name] for name in PACKED]
        joined = measured.join(layout, measured.c.layout == layout.c.layout)
        query = sql.select(layout.c.wires, measured.c.sequence, *columns).select_from(joined)
        chosen = query.where(measured.c.sequence.in_(list(sequences))).order_by(measured.c.sequence)
        return [wire for row in self._rows(chosen) for wire in _wires(row, PACKED)]

    def last_of(self, harness: str) -> tuple[int, Kept | None]:
        """How many runs the index holds, and the newest one of a harness that was kept in this archive (not
        one from elsewhere)."""
        state = known_state(self.database)
        own = sql.not_(bag.c.folder.contains("/"))
        query = sql.select(*_COLUMNS).where(bag.c.harness == harness, own)
        rows = self._rows(query.order_by(bag.c.sequence.desc()).limit(1))
        return (state.runs if state is not None else 0), (Kept._make(rows[0]) if rows else None)

    def _bare_rows(self, query: sql.Executable) -> Sequence[Any]:
        """As the driver gives them: an object for each of 100,000 rows takes as long as all else."""
        try:
            with self.database.reading() as base:
                cursor = base.execute(query).cursor
                assert cursor is not None  # there is an answer to read
                return cursor.fetchall()
        except IndexDamagedError as error:
            raise ArchiveError(f"{self.database.address} cannot be read: {error}") from error

    def _rows(self, query: sql.Executable) -> Sequence[Any]:
        try:
            with self.database.reading() as base:
                return base.execute(query).fetchall()
        except IndexDamagedError as error:
            raise ArchiveError(f"{self.database.address} cannot be read: {error}") from error


def _of_runs(
    query: sql.Select[Any], column: sql.Column[int], sequences: Sequence[int] | None
) -> list[sql.Select[Any]]:
    """The query in the order of keeping; of some runs only, it is as many queries as their numbers need."""
    ordered = query.order_by(column)
    if sequences is None:
        return [ordered]
    wanted = sorted(set(sequences))
    return [
        ordered.where(column.in_(wanted[first : first + _MOST_NUMBERS]))
        for first in range(0, len(wanted), _MOST_NUMBERS)
    ]


def _conditions(wanted: Wanted) -> list[sql.ColumnElement[bool]]:
    plain = ("harness", "job", "unit", "customer", "operator", "bench", "stage", "verdict", "readings")
    found = [bag.c[name] == getattr(wanted, name) for name in plain if getattr(wanted, name) is not None]
    if wanted.since is not None:
        found.append(bag.c.date >= wanted.since)
    if wanted.until is not None:
        found.append(bag.c.date <= wanted.until)
    if wanted.rehearsal is not None:
        found.append(bag.c.rehearsal == int(wanted.rehearsal))
    if wanted.fault is not None:
        of_kind = sql.select(finding.c.sequence).where(finding.c.fault == wanted.fault)
        found.append(bag.c.sequence.in_(of_kind))
    if wanted.place is not None:
        between = sql.literal(" ") + finding.c.points + sql.literal(" ")
        at_place = sql.select(finding.c.sequence).where(
            between.contains(f" {wanted.place} ", autoescape=True)
        )
        found.append(bag.c.sequence.in_(at_place))
    return found


def _named(shape: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The wires and circuits of a layout. Raises ArchiveError."""
    try:
        pairs = [(str(wires), str(circuit)) for wires, circuit in json.loads(shape)]
    except (ValueError, TypeError, RecursionError):
        raise ArchiveError("the index names wires in another way than ours: loomtest verify") from None
    return tuple(wires for wires, _ in pairs), tuple(circuit for _, circuit in pairs)


def _numbers(packed: Sequence[bytes], count: int) -> FloatArray:
    joined = b"".join(packed)
    if any(len(one) != 8 * count for one in packed):
        raise ArchiveError("the index has numbers that are not one a wire: loomtest verify")
    return np.frombuffer(joined, "<f8").reshape(len(packed), count)


def _measured(shape: str, rows: Sequence[Any], names: Sequence[str]) -> Measured:
    wires, circuits = _named(shape)
    packed = {name: [row[at] for row in rows] for at, name in enumerate(names, 2)}
    return Measured(
        wires=wires,
        circuits=circuits,
        sequences=np.array([row[1] for row in rows], dtype=np.int64),
        values={name: _numbers(column, len(wires)) for name, column in packed.items()},
    )


def _wires(row: Any, names: Sequence[str]) -> list[WireOhms]:
    wires, circuits = _named(row[0])
    columns = [_numbers([packed], len(wires))[0].tolist() for packed in row[2 : 2 + len(names)]]
    known = [[None if value != value else value for value in column] for column in columns]
    ohms, measured, uncertainty, limit = known
    return [
        WireOhms(row[1], name, circuit, own, spread, most, read)
        for name, circuit, own, spread, most, read in zip(
            wires, circuits, ohms, uncertainty, limit, measured, strict=True
        )
        if own is not None
    ]
