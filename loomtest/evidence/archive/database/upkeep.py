"""Keeping an index true: it takes in what the ledger names, is made anew where it does not fit, and is held
against the bags.

Several benches may do this at once. Bags are read without any lock; rows go in only if nobody else has added
any meanwhile. What a stopped program or a database that was away left out goes in with the next call.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from itertools import islice
from pathlib import Path

import sqlalchemy as sql

from loomtest.errors import ArchiveError, IndexAwayError, IndexDamagedError
from loomtest.evidence.archive.crew import worked
from loomtest.evidence.archive.database.opened import Database, rows_of
from loomtest.evidence.archive.database.rows import BagRows, read_bag
from loomtest.evidence.archive.database.tables import VERSION, about, bag, checked, finding, layout, measured
from loomtest.evidence.archive.folder import Archive, Entry, Ledger

_AT_ONCE = 500  # bags in one transaction
_TRIES = 3


@dataclass(frozen=True, slots=True)
class Indexed:
    """How much of a ledger an index holds: `archive` is the digest of the ledger's first bag."""

    archive: str
    runs: int
    ledger_bytes: int
    ledger_sha256: str

    def fits(self, ledger: Ledger) -> bool:
        """True where the ledger begins with just what the index was made from."""
        begin = memoryview(ledger.data)[: self.ledger_bytes]
        return len(begin) == self.ledger_bytes and hashlib.sha256(begin).hexdigest() == self.ledger_sha256


_NOTHING = Indexed("", 0, 0, hashlib.sha256().hexdigest())


def state_of(base: sql.Connection) -> Indexed | None:
    """What the index says of itself; None where its rows are not as many as it says."""
    names = ("archive", "runs", "ledger_bytes", "ledger_sha256")
    told = base.execute(sql.select(*(about.c[name] for name in names))).fetchall()
    counted = base.execute(sql.select(sql.func.count(), sql.func.max(bag.c.sequence)).select_from(bag)).one()
    if len(told) != 1 or tuple(counted) != (told[0].runs, told[0].runs or None):
        return None
    return Indexed(*told[0])


def known_state(database: Database) -> Indexed | None:
    """What an index says of itself; None for one that is not there or cannot be used. Raises
    IndexAwayError."""
    if database.file is not None and not database.file.is_file():
        return None
    try:
        with database.reading() as base:
            return state_of(base)
    except IndexDamagedError:
        return None


def catch_up(database: Database, archive: Archive) -> int:
    """Bring the index up to the ledger; the number of bags added. The archive must not be locked by this
    program. Raises IndexAwayError, ArchiveError."""
    for _ in range(_TRIES):
        try:
            return _catch_up(database, archive)
        except IndexAwayError as error:
            if not error.read_only:
                raise
            raise IndexAwayError(
                f"The index {database.address} lacks the runs kept last, and this user may only read it: run "
                "loomtest history as one who may write",
                read_only=True,
            ) from None
        except IndexDamagedError as error:
            # Derived, so the cure is to make it again; if that fails too, the disk is at fault.
            found = error
            seen = known_state(database)
            if seen is None or not seen.fits(archive.ledger()):
                begin_anew(database, archive, seen)
    raise ArchiveError(f"{database.address} cannot be made: {found}") from found


def begin_anew(database: Database, archive: Archive, seen: Indexed | None) -> None:
    """Empty the index, so that the next `catch_up` fills it from the bags; unless it is no longer as it was
    `seen`, since another bench did so meanwhile. The archive must not be locked. Raises ArchiveError."""
    if database.file is None:
        with database.writing() as base:
            if (state_of(base) if database.ready(base) else None) == seen:
                _begin(database, base)
        return
    with archive.locked():
        if known_state(database) == seen:
            try:
                database.file.unlink(missing_ok=True)
            except OSError as error:
                raise ArchiveError(f"{database.file} cannot be made anew: {error.strerror}") from error
        if not database.file.exists():
            with database.writing(create=True) as base:
                _begin(database, base)


def _begin(database: Database, base: sql.Connection) -> None:
    database.empty(base)
    base.execute(about.insert().values(version=VERSION, **asdict(_NOTHING)))


def _catch_up(database: Database, archive: Archive) -> int:
    added = 0
    while True:
        # The index first: a ledger that is read later holds all that an index was made from.
        with database.reading() as base:
            state = state_of(base)
        ledger = archive.ledger()
        if state is None or not state.fits(ledger):
            if state is not None and database.file is None:
                _check_archive(database, state, ledger)
            raise IndexDamagedError("the index does not fit the ledger")
        fresh = ledger.entries(state.runs, state.ledger_bytes)
        if not fresh:
            return added
        if any(not (archive.folder / entry.folder).is_dir() for entry in fresh):
            with archive.locked():
                pass  # whoever was keeping has put its bag into place then
        reading = read_bags(archive, fresh)
        while rows := list(islice(reading, _AT_ONCE)):
            further = _further(state, ledger, len(rows))
            if not add_rows(database, rows, state, further):
                break  # another bench went on meanwhile
            added, state = added + len(rows), further


def _check_archive(database: Database, state: Indexed, ledger: Ledger) -> None:
    """A server's index of another archive is nobody's to take away. Raises IndexAwayError."""
    first = ledger.first()
    if state.runs and (first is None or first.digest != state.archive):
        raise IndexAwayError(
            f"The database {database.address} holds the index of another archive: give each archive a "
            "database or a schema of its own"
        )


def _further(state: Indexed, ledger: Ledger, more: int) -> Indexed:
    """The state after so many more lines of the ledger."""
    end = state.ledger_bytes
    for _ in range(more):
        end = ledger.data.index(b"\n", end) + 1
    digest = hashlib.sha256(memoryview(ledger.data)[:end]).hexdigest()
    first = ledger.first()
    assert first is not None  # there are so many more lines
    return Indexed(first.digest, state.runs + more, end, digest)


def read_bags(archive: Archive, entries: Sequence[Entry]) -> Iterator[BagRows]:
    """The rows of these bags, in their order."""
    tasks = [(archive.folder / entry.folder, entry) for entry in entries]
    return worked(_read, tasks, archive.processes)


def _read(task: tuple[Path, Entry]) -> BagRows:
    return read_bag(*task)


def add_rows(database: Database, rows: Sequence[BagRows], known: Indexed, further: Indexed) -> bool:
    """Put the rows in, all or none; False where the index is no longer as it was known."""
    with database.writing() as base:
        if not database.ready(base) or state_of(base) != known:
            return False
        base.execute(bag.insert(), [one.bag for one in rows])
        if findings := [row for one in rows for row in one.findings]:
            base.execute(finding.insert(), findings)
        layouts = {one.layout["layout"]: one.layout for one in rows if one.layout is not None}
        if layouts:
            there = base.scalars(sql.select(layout.c.layout).where(layout.c.layout.in_(layouts)))
            for name in there:
                del layouts[name]
        if layouts:
            base.execute(layout.insert(), list(layouts.values()))
        if numbers := [one.measured for one in rows if one.measured is not None]:
            base.execute(measured.insert(), numbers)
        base.execute(about.update().values(**asdict(further)))
    return True


def differing(database: Database, rows: Sequence[BagRows]) -> list[str]:
    """Folders of those bags of which the index says something else than their rows. Bags that the index does
    not have yet, or has under another digest, are left out. Raises IndexDamagedError."""
    if not rows:
        return []
    with database.reading() as base:
        told = _told(base, [one.bag["sequence"] for one in rows])
        state = state_of(base)
    runs = state.runs if state is not None else 0
    found = []
    for one in rows:
        sequence = one.bag["sequence"]
        known = told.get(sequence)
        if known is None:
            found += [one.bag["folder"]] if sequence <= runs else []
        elif all(known.bag[name] == one.bag[name] for name in ("folder", "digest")) and known != one:
            found.append(one.bag["folder"])
    return found


def _told(base: sql.Connection, sequences: list[int]) -> dict[int, BagRows]:
    """What the index says of these runs, as the bags themselves would say it."""
    layouts = {row["layout"]: row for row in rows_of(base, sql.select(layout))}
    of_run: dict[int, list[dict[str, object]]] = {}
    chosen = sql.select(finding).where(finding.c.sequence.in_(sequences))
    for row in rows_of(base, chosen.order_by(finding.c.number)):
        of_run.setdefault(row["sequence"], []).append(row)
    numbers = rows_of(base, sql.select(measured).where(measured.c.sequence.in_(sequences)))
    packed = {row["sequence"]: row for row in numbers}
    bags = rows_of(base, sql.select(bag).where(bag.c.sequence.in_(sequences)))
    found = {}
    for row in bags:
        own = packed.get(row["sequence"])
        shape = layouts.get(own["layout"]) if own is not None else None
        found[row["sequence"]] = BagRows(row, tuple(of_run.get(row["sequence"], ())), shape, own)
    return found


def good_states(database: Database) -> dict[int, tuple[str, str]]:
    """For bags that were found good: the state of their files then, and the date. Raises
    IndexDamagedError."""
    with database.reading() as base:
        rows = base.execute(sql.select(checked.c.sequence, checked.c.state, checked.c.on_date)).fetchall()
    return {int(sequence): (str(state), str(date)) for sequence, state, date in rows}


def mark_good(database: Database, states: Mapping[int, str], on_date: str) -> None:
    """Note the state of the files of bags that were read and found good."""
    if not states:
        return
    rows = [{"sequence": number, "state": state, "on_date": on_date} for number, state in states.items()]
    with database.writing() as base:
        if database.ready(base):
            base.execute(checked.delete().where(checked.c.sequence.in_(list(states))))
            base.execute(checked.insert(), rows)
