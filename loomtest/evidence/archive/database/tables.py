"""The tables of an index, the same on SQLite and PostgreSQL.

`bag` has a row for each kept run. The ohms of a run's wires stand in one row of `measured`, as packed
numbers in the order of a `layout`, which runs of one loom share: of 100,000 runs of 30 wires a question reads
100,000 short rows in place of three million, and numpy takes them as they are. `finding` has a row for each
fault of a run, by kind and place. `about` has one row: of which ledger, and how much of it, the index is.
"""

from __future__ import annotations

from functools import cache

import sqlalchemy as sql
from sqlalchemy.dialects import sqlite
from sqlalchemy.schema import CreateIndex, CreateTable, ExecutableDDLElement

VERSION = "4"
TABLES = sql.MetaData()


def _text(name: str) -> sql.Column[str]:
    return sql.Column(name, sql.Text, nullable=False)


def _whole(name: str) -> sql.Column[int]:
    return sql.Column(name, sql.BigInteger, nullable=False)


def _number(name: str) -> sql.Column[float]:
    return sql.Column(name, sql.Double, nullable=False)


def _bytes(name: str) -> sql.Column[bytes]:
    return sql.Column(name, sql.LargeBinary, nullable=False)


def _key() -> sql.Column[int]:
    # SQLite makes its own row number of an INTEGER PRIMARY KEY and of no other type.
    kind = sql.BigInteger().with_variant(sqlite.INTEGER(), "sqlite")
    return sql.Column("sequence", kind, primary_key=True, autoincrement=False)


about = sql.Table(
    "about",
    TABLES,
    _text("version"),
    _text("archive"),  # the digest of the first bag: another archive's index is not taken for this one's
    _whole("runs"),
    _whole("ledger_bytes"),  # how much of the ledger is in the index, and its SHA-256
    _text("ledger_sha256"),
)
bag = sql.Table(
    "bag",
    TABLES,
    _key(),
    *map(_text, ("folder", "digest", "previous", "harness", "stage", "operator", "started", "kept")),
    *map(_text, ("tool", "verdict", "wiring", "joints")),
    _whole("findings"),
    *map(_text, ("readings", "key")),
    _whole("rehearsal"),
    *map(_text, ("job", "unit", "customer", "bench")),
    _text("date"),  # YYYY-MM-DD where the run was begun, by its own clock
    _number("day"),  # days since 2000-01-01 UTC
    sql.Index("bag_of_harness", "harness", "sequence"),
    sql.Index("bag_of_unit", "unit"),
    sql.Index("bag_of_job", "job"),
    sql.Index("bag_of_date", "date"),
    sql.Index("bag_of_readings", "readings"),
)
finding = sql.Table(
    "finding",
    TABLES,
    _whole("sequence"),
    _whole("number"),  # from 1, in the order of danger
    *map(_text, ("fault", "points", "wires", "circuits")),
    sql.Index("finding_of_bag", "sequence"),
    sql.Index("finding_of_fault", "fault"),
)
layout = sql.Table(
    "layout",
    TABLES,
    sql.Column("layout", sql.Text, primary_key=True),  # SHA-256 of the next
    _text("wires"),  # JSON: [[wires, circuit], …]
)
measured = sql.Table(
    "measured",
    TABLES,
    _key(),
    _text("layout"),
    # Each 8 bytes a wire, IEEE 754, little-endian; NaN where nothing is known.
    *map(_bytes, ("ohms", "measured_ohms", "uncertainty_ohms", "limit_ohms")),
)
checked = sql.Table(
    "checked",
    TABLES,
    _key(),
    _text("state"),  # names, sizes and times of the bag's files when every byte was last found good
    _text("on_date"),
)


@cache
def statements() -> tuple[str, ...]:
    """What makes the tables in SQLite, as SQLite keeps it: one space where there is any."""
    made: list[ExecutableDDLElement] = [CreateTable(table) for table in TABLES.sorted_tables]
    made += [CreateIndex(index) for table in TABLES.sorted_tables for index in table.indexes]
    texts = (str(each.compile(dialect=sqlite.dialect())) for each in made)
    return tuple(" ".join(text.split()) for text in texts)
