"""The archive's index: what `history` needs of every bag, in SQLite.

It is derived, and never trusted: `Index.catch_up` adds the bags that the ledger names and the index does not
have yet, and makes a new one when the old one is gone, damaged, not of our making, or of another ledger;
`Index.differing` holds it against the bags. The file may come from anybody: only the tables that we make are
read, without triggers, views or links, in a bounded number of steps.
"""

from __future__ import annotations

import json
import sqlite3
import time
from collections.abc import Mapping, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from loomtest.errors import ArchiveError
from loomtest.evidence.archive import bag as archive_bag
from loomtest.evidence.archive.folder import INDEX, Archive, Entry
from loomtest.harness.document import finite_number

_VERSION = "3"
_TABLES = """
CREATE TABLE about (version TEXT NOT NULL);
CREATE TABLE bag (
    sequence INTEGER PRIMARY KEY, folder TEXT NOT NULL, digest TEXT NOT NULL, previous TEXT NOT NULL,
    harness TEXT NOT NULL, stage TEXT NOT NULL, operator TEXT NOT NULL, started TEXT NOT NULL,
    kept TEXT NOT NULL, tool TEXT NOT NULL, verdict TEXT NOT NULL, wiring TEXT NOT NULL,
    joints TEXT NOT NULL, findings INTEGER NOT NULL, readings TEXT NOT NULL, key TEXT NOT NULL,
    rehearsal INTEGER NOT NULL, job TEXT NOT NULL, unit TEXT NOT NULL, customer TEXT NOT NULL
);
CREATE INDEX bag_of_harness ON bag (harness, sequence);
CREATE TABLE wire (
    sequence INTEGER NOT NULL, wires TEXT NOT NULL, circuit TEXT NOT NULL, ohms REAL NOT NULL,
    uncertainty_ohms REAL, limit_ohms REAL, measured_ohms REAL
);
CREATE INDEX wire_of_bag ON wire (sequence);
"""
_STATEMENTS = frozenset(statement.strip() for statement in _TABLES.split(";") if statement.strip())
_LONGEST_CELL = 1_000_000  # bytes; a circuit's name and a list of wires are far shorter
_STEPS = 10_000  # SQLite's instructions between two looks at the clock
_LONGEST_S = 60.0  # the index of 100,000 runs is read in a second or two
MOST_COMPARED = 200


@dataclass(frozen=True, slots=True)
class Kept:
    """One kept run as the index has it; `readings` is the digest of its readings file."""

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


class Index:
    """The index of an archive. Use it while the archive is locked, or for reading only."""

    def __init__(self, archive: Archive) -> None:
        self.archive = archive
        self.path = archive.folder / INDEX

    def catch_up(self) -> int:
        """Bring the index up to the ledger; the number of bags added. Raises ArchiveError."""
        entries = self.archive.entries()
        try:
            return self._catch_up(entries)
        except sqlite3.DatabaseError:
            # Derived, so the cure is to make it again; if that fails too, the disk is at fault.
            self.path.unlink(missing_ok=True)
            try:
                return self._catch_up(entries)
            except sqlite3.Error as error:
                raise ArchiveError(f"{self.path} cannot be made: {error}") from error

    def _catch_up(self, entries: tuple[Entry, ...]) -> int:
        if self.path.is_symlink():
            self.path.unlink()  # derived, so nothing is lost; what it led to is not touched
        with closing(_guarded(sqlite3.connect(self.path))) as base, base:
            known = _known(base)
            if known is None or known != [(e.folder, e.digest) for e in entries[: len(known)]]:
                _empty(base)
                known = []
            added = 0
            for entry in entries[len(known) :]:
                row, wires = _read_bag(self.archive.folder / entry.folder, entry)
                base.execute(f"INSERT INTO bag VALUES ({','.join('?' * len(row))})", row)
                base.executemany("INSERT INTO wire VALUES (?,?,?,?,?,?,?)", wires)
                added += 1
        return added

    def is_current(self) -> bool:
        """True when the index has just what the ledger names."""
        if not self.path.is_file():
            return False
        try:
            with closing(self._open()) as base:
                known = _known(base)
        except sqlite3.Error:
            return False
        return known == [(e.folder, e.digest) for e in self.archive.entries()]

    def differing(self, entries: Sequence[Entry]) -> list[str]:
        """Folders of those bags of which the index says something else than the bags, after making it anew.

        An index that is not there differs in nothing, and a bag that is not there from nothing.
        """
        if not self.path.is_file():
            return []
        found = []
        try:
            with closing(self._open()) as base:
                for entry in entries:
                    if not (self.archive.folder / entry.folder).is_dir():
                        continue
                    row, wires = _read_bag(self.archive.folder / entry.folder, entry)
                    query = "SELECT * FROM bag WHERE sequence = ?", (entry.sequence,)
                    known = base.execute(*query).fetchall()
                    query = "SELECT * FROM wire WHERE sequence = ? ORDER BY rowid", (entry.sequence,)
                    same_bag = bool(known) and known[0][:3] == row[:3]  # another digest: see the ledger
                    if same_bag and (known != [row] or base.execute(*query).fetchall() != wires):
                        found.append(entry.folder)
        except sqlite3.Error:
            found = ["all of it"]
        if found:
            with suppress(OSError, ArchiveError):  # on a read-only disk it stays as it is, and that is said
                self.path.unlink()
                self.catch_up()
        return found

    def kept(self, harness: str | None = None, sequence: int | None = None) -> list[Kept]:
        """Kept runs in the order of keeping, all or those of one harness, or one of them."""
        query, values = "SELECT * FROM bag", []
        conditions: list[tuple[str, Any]] = [("harness = ?", harness), ("sequence = ?", sequence)]
        wanted = [(text, value) for text, value in conditions if value is not None]
        if wanted:
            query += " WHERE " + " AND ".join(text for text, _ in wanted)
            values = [value for _, value in wanted]
        with closing(self._open()) as base:
            return [Kept(*row) for row in base.execute(query + " ORDER BY sequence", values)]

    def wires(self, sequences: list[int]) -> list[WireOhms]:
        """The wires of the given kept runs, in the order of keeping."""
        with closing(self._open()) as base:
            marks = ",".join("?" * len(sequences))
            query = f"SELECT * FROM wire WHERE sequence IN ({marks}) ORDER BY sequence, rowid"
            return [WireOhms(*row) for row in base.execute(query, sequences)]

    def last_of(self, harness: str) -> Kept | None:
        """The newest run of a harness that was kept in this archive (not imported)."""
        query = "SELECT * FROM bag WHERE harness = ? AND folder NOT LIKE 'imported/%'"
        query += " ORDER BY sequence DESC LIMIT 1"
        with closing(self._open()) as base:
            row = base.execute(query, (harness,)).fetchone()
        return Kept(*row) if row else None

    def _open(self) -> sqlite3.Connection:
        if self.path.is_symlink():
            raise sqlite3.DatabaseError("the index is a link")
        base = _guarded(sqlite3.connect(f"{self.path.absolute().as_uri()}?mode=ro", uri=True))
        if _known(base) is None:
            base.close()
            raise sqlite3.DatabaseError("the index is not of our making")
        return base


def _guarded(base: sqlite3.Connection) -> sqlite3.Connection:
    """The connection with nothing but plain tables to trust, short cells and an end to its patience."""
    base.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _LONGEST_CELL)
    base.execute("PRAGMA trusted_schema = OFF")
    ends_s = time.monotonic() + _LONGEST_S
    base.set_progress_handler(lambda: time.monotonic() > ends_s, _STEPS)
    return base


def _known(base: sqlite3.Connection) -> list[tuple[str, str]] | None:
    """(folder, digest) of every bag in the index; None for one that is empty or of another version."""
    made = [sql for (sql,) in base.execute("SELECT sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'")]
    if not made:
        return None
    if len(made) != len(_STATEMENTS) or set(made) != _STATEMENTS:
        raise sqlite3.DatabaseError("the index has tables, views or triggers that are not ours")
    version = base.execute("SELECT version FROM about").fetchone()
    if version != (_VERSION,):
        return None
    rows = base.execute("SELECT folder, digest FROM bag ORDER BY sequence")
    return [(folder, digest) for folder, digest in rows]


def _empty(base: sqlite3.Connection) -> None:
    for name in ("about", "bag", "wire"):
        base.execute(f"DROP TABLE IF EXISTS {name}")
    for statement in _TABLES.split(";"):
        if statement.strip():
            base.execute(statement)
    base.execute("INSERT INTO about VALUES (?)", (_VERSION,))


def _read_bag(bag: Path, entry: Entry) -> tuple[tuple[Any, ...], list[tuple[Any, ...]]]:
    """The rows of one bag; a bag that is missing or cannot be read leaves its place with empty cells."""
    info: Mapping[str, str] = {}
    verdict: Mapping[str, Any] = {}
    readings = ""
    try:
        info = archive_bag.read_info(bag)
        read = json.loads((bag / "data" / "verdict.json").read_text("utf-8"))
        verdict = read if isinstance(read, dict) else {}
        readings = archive_bag.digest_of(bag / "data" / "run" / "readings.csv")
    except (ArchiveError, OSError, ValueError, RecursionError):
        pass  # `verify` says what is wrong with it; the history goes on without it
    labels = (archive_bag.HARNESS, archive_bag.STAGE, archive_bag.OPERATOR, archive_bag.STARTED)
    row = (
        entry.sequence,
        entry.folder,
        entry.digest,
        info.get(archive_bag.PREVIOUS, ""),
        *(info.get(label, "") for label in labels),
        info.get(archive_bag.KEPT, ""),
        info.get(archive_bag.TOOL, ""),
        *(_text(verdict.get(key)) for key in ("verdict", "wiring", "joints")),
        len(_listed(verdict.get("findings"))),
        readings,
        info.get(archive_bag.KEY, ""),
        int(archive_bag.REHEARSAL in info or verdict.get("rehearsal") is True),
        *(info.get(label, "") for label in (archive_bag.JOB, archive_bag.UNIT, archive_bag.CUSTOMER)),
    )
    return row, _wire_rows(entry.sequence, verdict)


def _wire_rows(sequence: int, verdict: Mapping[str, Any]) -> list[tuple[Any, ...]]:
    """The wires of a verdict that may have come from anybody: what has not its usual form is passed over."""
    circuit_of: dict[str, str] = {}
    for net in _tables(verdict.get("nets")):
        for point in _listed(net.get("points")):
            circuit_of[_text(point)] = _text(net.get("net"))
    rows: dict[str, tuple[Any, ...]] = {}
    for wire in _tables(verdict.get("wires")):
        ohms, uncertainty, limit, measured = (
            finite_number(wire.get(key))
            for key in ("ohms", "uncertainty_ohms", "limit_ohms", "measured_ohms")
        )
        if ohms is None:
            continue
        # Wires that cannot be told apart share one value: it is one line of the history.
        wires = " + ".join(sorted(map(_text, [wire.get("wire"), *_listed(wire.get("with"))])))
        circuit = circuit_of.get(_text(wire.get("from")), "")
        rows.setdefault(wires, (sequence, wires, circuit, ohms, uncertainty, limit, measured))
    return list(rows.values())


def _listed(value: object) -> list[Any]:
    return value if isinstance(value, list) else []


def _tables(value: object) -> list[dict[str, Any]]:
    return [item for item in _listed(value) if isinstance(item, dict)]


def _text(value: object) -> str:
    """Text that SQLite can hold: JSON may escape half of a character."""
    return value.encode("utf-8", "replace").decode("utf-8") if isinstance(value, str) else ""
