"""An index opened for reading or for writing: SQLite's file under guard, or PostgreSQL.

The file may come from anybody: only the tables that we make are read, without triggers, views or links, in a
bounded number of steps. A server gets its password by a way that cannot be overheard, or none at all.
"""

from __future__ import annotations

import atexit
import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import sqlalchemy as sql
from sqlalchemy.exc import DBAPIError, SQLAlchemyError
from sqlalchemy.pool import NullPool

from loomtest.errors import IndexAwayError, IndexDamagedError
from loomtest.evidence.archive.database.address import Address
from loomtest.evidence.archive.database.tables import TABLES, VERSION, about, statements
from loomtest.harness.outward import visible

_LONGEST_CELL = 1_000_000  # bytes; a circuit's name and a list of wires are far shorter
_STEPS = 10_000  # SQLite's instructions between two looks at the clock
_LONGEST_S = 60.0  # the index of 100,000 runs is read in a second or two
_WAIT_S = 30.0  # for another program that is writing
_CONNECT_S = 5
# A computer that is off does not even refuse: whoever keeps unit after unit does not wait for it each time.
_SLOW_S, _SILENT_S = 3.0, 30.0
_SILENT: dict[Address, tuple[float, IndexAwayError | None]] = {}
_ONE_WRITER = 0x6C6F6F6D  # PostgreSQL's lock for whoever writes into an index
# SCRAM never sends the password; trust, peer and a certificate need none. An archive.toml may name any
# server.
_WAYS_IN = "scram-sha-256,none"
_MAY_NOT = {"42501", "25006"}  # PostgreSQL: insufficient privilege, read-only transaction


class Database:
    """One index. Raises IndexAwayError where the server cannot be reached or refuses, IndexDamagedError where
    what is there cannot be used and is to be made anew."""

    def __init__(self, address: Address) -> None:
        self.address = address
        self.file = address.file

    @contextmanager
    def reading(self) -> Iterator[sql.Connection]:
        """A connection that sees one moment and can change nothing; the tables are ours and of today."""
        with self._translated():
            engine = self._file_engine("ro") if self.file is not None else self._server_engine()
            with engine.connect() as base:
                if self.file is None:
                    base.execute(sql.text("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY"))
                if not self.ready(base):
                    raise IndexDamagedError("the index is not of our making")
                yield base

    @contextmanager
    def writing(self, *, create: bool = False) -> Iterator[sql.Connection]:
        """A connection that alone may write; all of it is kept at the end, or nothing. `create`: a file that
        is not there is made."""
        with self._translated():
            engine = (
                self._file_engine("rwc" if create else "rw")
                if self.file is not None
                else self._server_engine()
            )
            with engine.begin() as base:
                if self.file is None:
                    base.execute(sql.text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _ONE_WRITER})
                yield base

    def damaged(self) -> bool:
        """Whether SQLite itself finds the file damaged: what the bags are held against may be read where
        another answer cannot. A server looks after its own."""
        if self.file is None or not self.file.exists():
            return False
        try:
            with self.reading() as base:
                return base.exec_driver_sql("PRAGMA integrity_check(1)").fetchall() != [("ok",)]
        except IndexDamagedError:
            return True

    def ready(self, base: sql.Connection) -> bool:
        """True where the tables are there, ours and of this version. Raises IndexDamagedError."""
        if self.file is not None:
            query = "SELECT sql FROM sqlite_master WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%'"
            made = [" ".join(text.split()) for (text,) in base.exec_driver_sql(query)]
            if not made:
                return False
            if sorted(made) != sorted(statements()):
                raise IndexDamagedError("the index has tables, views or triggers that are not ours")
        elif base.scalar(sql.text("SELECT to_regclass('about')")) is None:
            return False
        return base.execute(sql.select(about.c.version)).fetchall() == [(VERSION,)]

    def empty(self, base: sql.Connection) -> None:
        """Make the tables anew. Tables on a server that another program made are left alone."""
        if self.file is None:
            look = sql.inspect(base)
            there = {name for name in TABLES.tables if look.has_table(name)}
            columns = {each["name"] for each in look.get_columns("about")} if "about" in there else set()
            if there and not {"version", "archive", "ledger_sha256"} <= columns:
                named = ", ".join(sorted(there))
                raise IndexAwayError(
                    f"The database {self.address} has tables of another program ({named}): "
                    "give the index a database or a schema of its own"
                )
        TABLES.drop_all(base)
        TABLES.create_all(base)

    def _file_engine(self, mode: str) -> sql.Engine:
        """The file is opened anew each time: it may have been replaced meanwhile."""
        file = self.file
        assert file is not None
        if file.is_symlink():
            raise IndexDamagedError("the index is a link")

        def opened() -> sqlite3.Connection:
            uri = f"{file.absolute().as_uri()}?mode={mode}"
            return _guarded(sqlite3.connect(uri, uri=True, timeout=_WAIT_S, isolation_level=None))

        engine = sql.create_engine("sqlite://", creator=opened, poolclass=NullPool, hide_parameters=True)
        begin = "BEGIN" if mode == "ro" else "BEGIN IMMEDIATE"
        sql.event.listen(engine, "begin", lambda base: base.exec_driver_sql(begin))
        return engine

    def _server_engine(self) -> sql.Engine:
        """The engine for the server, with a connection that stays open for the next question of this process:
        to be let in anew takes longer than most questions."""
        known = (os.getpid(), self.address)  # a connection cannot be shared with a forked process
        if known not in _ENGINES:
            _ENGINES[known] = _server_engine(self.address)
        return _ENGINES[known]

    @contextmanager
    def _translated(self) -> Iterator[None]:
        began_s = time.monotonic()
        ends_s, known = _SILENT.get(self.address, (began_s, None))
        if known is not None and began_s < ends_s:
            raise known
        try:
            yield
        except DBAPIError as error:
            if self.file is not None:
                raise IndexDamagedError(str(error.orig)) from error
            away = self._away(error)
            if getattr(error.orig, "sqlstate", None) is None:
                now_s = time.monotonic()
                if now_s - began_s > _SLOW_S:
                    _SILENT[self.address] = (now_s + _SILENT_S, away)
            raise away from None
        except SQLAlchemyError as error:
            raise IndexDamagedError(str(error)) from error
        except (sqlite3.Error, UnicodeError) as error:  # what SQLite says may name what is no text
            raise IndexDamagedError(str(error)) from error

    def _away(self, error: DBAPIError) -> IndexAwayError:
        said = str(error.orig).strip().splitlines() or ["no answer"]
        text = visible(said[0])[:200]
        if password := os.environ.get("PGPASSWORD"):
            text = text.replace(password, "…")
        may_not = getattr(error.orig, "sqlstate", None) in _MAY_NOT
        return IndexAwayError(f"The index {self.address} cannot be used: {text}", read_only=may_not)


_ENGINES: dict[tuple[int, Address], sql.Engine] = {}


@atexit.register
def _close_connections() -> None:
    for (process, _), engine in _ENGINES.items():
        if process == os.getpid():
            engine.dispose()


def _server_engine(at: Address) -> sql.Engine:
    query = {key: value for key, value in at.options if key != "schema"}
    asked = f"-c statement_timeout={int(_LONGEST_S * 1000)} -c lock_timeout={int(_WAIT_S * 1000)}"
    schema = dict(at.options).get("schema")
    connect = {
        "connect_timeout": _CONNECT_S,
        "application_name": "loomtest",
        "options": asked + (f" -c search_path={_quoted(schema)}" if schema else ""),
        "require_auth": _WAYS_IN,
    }
    url = sql.URL.create(
        "postgresql+psycopg", at.user or None, None, at.host or None, at.port, at.database, query
    )
    try:
        return sql.create_engine(
            url, pool_size=1, pool_pre_ping=True, pool_recycle=600, connect_args=connect, hide_parameters=True
        )
    except ImportError:
        needed = "a further package: pip install 'loomtest[postgresql]'"
        raise IndexAwayError(f"The index {at} needs {needed}") from None


def _quoted(name: str) -> str:
    """A schema's name as an option of PostgreSQL's library: quoted, then each blank and backslash escaped."""
    text = '"' + name.replace('"', '""') + '"'
    return text.replace("\\", "\\\\").replace(" ", "\\ ")


def _guarded(base: sqlite3.Connection) -> sqlite3.Connection:
    """The connection with nothing but plain tables to trust, short cells and an end to its patience."""
    base.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _LONGEST_CELL)
    base.execute("PRAGMA trusted_schema = OFF")
    ends_s = time.monotonic() + _LONGEST_S
    base.set_progress_handler(lambda: time.monotonic() > ends_s, _STEPS)
    return base


def rows_of(base: sql.Connection, query: sql.Executable) -> list[dict[str, Any]]:
    """Every row of an answer, by its columns' names."""
    return [dict(row) for row in base.execute(query).mappings()]
