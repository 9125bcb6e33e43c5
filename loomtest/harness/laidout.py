"""A CSV file laid out in somebody's own way: read as a sheet of a workbook is."""

from __future__ import annotations

import csv
from collections.abc import Iterator

from loomtest.errors import Problem
from loomtest.harness.settings import ColumnNames
from loomtest.harness.sheets import wire_table
from loomtest.harness.table import LONGEST_CELL, MOST_COLUMNS, SEPARATORS, Table
from loomtest.harness.workbook import WIRE_LIST, no_columns

_LOOKED_AT = 40  # lines that tell the separator
_LONGEST_LIST = 200_000  # lines; a longer file is no list that a person laid out


def laid_out(
    file: str, name: str, lines: list[str], columns: ColumnNames | None, problems: list[Problem]
) -> Table | None:
    """The file's rows as a wire list; None where its column names do not say both ends.

    `name` stands for a sheet's: a list of the pins of `X1.csv` is that of connector X1.
    """
    if len(lines) > _LONGEST_LIST and columns is None:
        return None
    tried: list[list[Problem]] = []
    for rows in cells_of(lines):
        found: list[Problem] = []
        table = wire_table(file, [(name, rows)], columns, found)
        if table is not None:
            problems += found
            return table
        tried.append(found)
    if columns is not None and tried:
        problems += tried[0]
    return None


def cells_of(lines: list[str]) -> Iterator[list[list[str]]]:
    """The cells of the lines with each separator that can be meant, the likeliest first."""
    if lines and lines[0].lower().startswith("sep="):
        lines = ["\n", *lines[1:]]
    for separator in sorted(SEPARATORS, key=lambda sign: -_columns(lines, sign)):
        rows = _rows(lines, separator)
        if rows is not None:
            yield rows


def _columns(lines: list[str], separator: str) -> int:
    counts = [line.count(separator) for line in lines[:_LOOKED_AT] if line.strip()]
    return sorted(counts)[len(counts) // 2] if counts else 0


def _rows(lines: list[str], separator: str) -> list[list[str]] | None:
    """Cells of each line, as wide as the widest row; None where it is no CSV of this separator."""
    rows: list[list[str]] = []
    reader = csv.reader(lines, delimiter=separator, strict=True)
    try:
        for row in reader:
            rows.append(row)
            rows += [[]] * (reader.line_num - len(rows))  # each row keeps its line
    except csv.Error:
        return None
    width = max(map(len, rows), default=0)
    if not 1 < width <= MOST_COLUMNS:
        return None
    return [[cell.strip()[:LONGEST_CELL] for cell in row] + [""] * (width - len(row)) for row in rows]


def names_none(file: str, lines: list[str], header: str, separator: str) -> Problem | None:
    """That neither end has a column; None where one has, or where these are no columns at all."""
    names = {name.strip().strip('"').casefold() for name in header.split(separator)}
    rows = next(cells_of(lines[:_LOOKED_AT]), None)
    if rows is None or names & set(WIRE_LIST):
        return None
    return no_columns(file, [("", rows)], WIRE_LIST)
