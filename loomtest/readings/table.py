"""A readings CSV as columns of codes: each cell is an index into the column's distinct texts.

Everything after this works on the distinct texts, so that half a million rows cost little more than ten.
"""

from __future__ import annotations

import csv
import gzip
import io
import zlib
from array import array
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from itertools import islice
from pathlib import Path

import numpy as np

from loomtest.errors import InputError, Problem, nearest
from loomtest.harness.encoding import decode as text_of
from loomtest.harness.model import FloatArray, IntArray
from loomtest.harness.table import office_file
from loomtest.harness.workbook import is_workbook, read_workbook
from loomtest.readings.packed import PACKED_ENDING, unpacked
from loomtest.readings.values import ValueSyntaxError, parse_value, quoted

COLUMNS = (
    "from",
    "to",
    "value",
    "quantity",
    "unit",
    "current",
    "uncertainty",
    "range",
    "bonded_from",
    "bonded",
    "time",
    "withdraws",
    "instrument",
    "temperature",
    "note",
    "round",
)
REQUIRED = ("from", "to", "value")
SEPARATORS = (",", ";", "\t")
LARGEST_BYTES = 1_000_000_000  # a full scan of 4,096 pins has some 200 MB
LARGEST_CAREFUL_BYTES = 300_000_000  # row by row, it takes some ten times its size in memory
MOST_COLUMNS = 1_000
MOST_BAD_ROWS = 500  # rows of another width, after which the rest stays unread


@dataclass(frozen=True)
class Cells:
    """A column: `codes` (n,) into `texts`, its distinct stripped cells. A code of -1 is a cell that stands
    as a number in `ReadingsTable.plain`."""

    codes: IntArray
    texts: Sequence[str]


@dataclass(frozen=True)
class ReadingsTable:
    """The known columns of a readings file that are there.

    `lines`: (n,) line of each row in the file, counted from 1. `plain`: (n,) the cells of `value` that are
    bare numbers, NaN elsewhere; None where all of them are texts in `columns`. `comma_is_decimal`: the
    separator is no comma. `problems`: rows that cannot be used; `warnings`: what is odd in the header.
    """

    file: str
    columns: dict[str, Cells]
    lines: IntArray
    plain: FloatArray | None
    comma_is_decimal: bool
    problems: tuple[Problem, ...] = ()
    warnings: tuple[Problem, ...] = ()

    def __len__(self) -> int:
        return len(self.lines)


@dataclass(frozen=True)
class Header:
    """The header row: its line, its separator, how many cells it has, and where each known column is."""

    line: int
    separator: str
    width: int
    index_of: dict[str, int]
    warnings: tuple[Problem, ...]


def read_bytes(path: Path, file: str) -> bytes:
    """The bytes of a CSV file, unpacked where its name ends in `.gz` or `.xz`. Raises InputError."""
    wanted = "a readings file (CSV) or a run folder"
    if is_workbook(path):
        return _workbook_bytes(path, file)
    try:
        if path.suffix == PACKED_ENDING:
            data = unpacked(path.read_bytes(), LARGEST_BYTES)
            check_size(len(data), file)
            return data
        with gzip.open(path, "rb") if path.suffix == ".gz" else path.open("rb") as stream:
            data = stream.read(LARGEST_BYTES + 1)  # a few packed bytes may be the whole disk unpacked
    except FileNotFoundError:
        raise InputError([Problem(file, None, "", "no such file", wanted)]) from None
    except (OSError, EOFError, zlib.error) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise InputError(
            [Problem(file, None, "", f"a file that cannot be read ({reason})", wanted)]
        ) from None
    check_size(len(data), file)
    return data


def _workbook_bytes(path: Path, file: str) -> bytes:
    """A workbook's readings as CSV, so that one way leads on from here. Raises InputError."""
    problems: list[Problem] = []
    table = read_workbook(path, file, REQUIRED, problems)
    if table is None:
        raise InputError(problems)
    out = io.StringIO()
    out.write("\n" * (table.header_line - 1))  # each row keeps its number
    writer = csv.writer(out, lineterminator="\n")
    line = table.header_line
    writer.writerow(table.header)
    for number, cells in table.rows:
        out.write("\n" * (number - line - 1))
        writer.writerow([cell.replace("\n", " ") for cell in cells])
        line = number
    return out.getvalue().encode()


def check_size(size: int, file: str) -> None:
    """Raises InputError for more bytes than are read."""
    if size > LARGEST_BYTES:
        most = f"{LARGEST_BYTES:,} bytes"
        raise InputError([Problem(file, None, "", f"more than {most}", f"at most {most}: several files")])


def decode(data: bytes, file: str) -> str:
    """The text of a readings file, in any usual encoding. Raises InputError for what is no text."""
    if foreign := office_file(data[:1_000_000]):
        raise InputError([Problem(file, 1, "", *foreign)])
    try:
        return text_of(data)[0]
    except ValueError as error:
        raise InputError([Problem(file, 1, "", str(error), 'plain text: save it as "CSV UTF-8"')]) from None


def parse_header(text: str, file: str) -> Header:
    """The header: the first line that is neither blank, a comment (`#`) nor a spreadsheet's `sep=` hint.

    Raises InputError with every mistake in it.
    """
    separator, line, start = "", 1, 0
    while True:
        end = text.find("\n", start)
        first = text[start:] if end < 0 else text[start:end]
        if first.lower().startswith("sep=") and first[4:5] in SEPARATORS:
            separator = first[4:5]
        elif first.strip() and not first.lstrip().startswith(("#", '"#')):
            break
        if end < 0:
            raise InputError([Problem(file, 1, "", "an empty file", "a header row: from,to,value")])
        line, start = line + 1, end + 1
    return _header(first.rstrip("\r"), line, separator or max(SEPARATORS, key=first.count), file)


def _header(first: str, line: int, separator: str, file: str) -> Header:
    try:
        names = [name.strip().casefold() for name in next(csv.reader([first], delimiter=separator), [])]
    except csv.Error as error:
        raise InputError([Problem(file, line, "", str(error), "a header row: from,to,value")]) from None
    if len(names) > MOST_COLUMNS:
        expected = f"at most {MOST_COLUMNS:,} columns"
        raise InputError([Problem(file, line, "", f"{len(names):,} columns", expected)])
    problems: list[Problem] = []
    warnings: list[Problem] = []
    index_of: dict[str, int] = {}
    for index, name in enumerate(names):
        if name in index_of:
            problems.append(Problem(file, line, name, "the column twice", "each column once"))
        elif name in COLUMNS:
            index_of[name] = index
    unknown = [name for name in names if name and name not in COLUMNS]
    for column in REQUIRED:
        if column not in index_of:
            close = nearest(column, unknown, 1)
            found = f"no such column, the nearest is {quoted(close[0])}" if close else "no such column"
            problems.append(
                Problem(file, line, column, found, "a header row with the columns from, to and value")
            )
    if problems:
        raise InputError(problems)
    for name in unknown:
        # Closer than for an error: many a sheet has columns of its own, and they are nobody's mistake.
        close = [c for c in get_close_matches(name, COLUMNS, 1, 0.75) if c not in index_of]
        if close:
            expected = f"{close[0]}, if that was meant; the column is not used"
            warnings.append(Problem(file, line, name, "an unknown column", expected, "warning"))
    return Header(line, separator, len(names), index_of, tuple(warnings))


def parse_table(text: str, file: str) -> ReadingsTable:
    """The table of a file's text, row by row: the careful way, which reports every bad row."""
    if len(text) > LARGEST_CAREFUL_BYTES:
        found = f"{len(text):,} characters, with something in them that needs reading row by row"
        expected = f"at most {LARGEST_CAREFUL_BYTES:,}, or plain rows: no quotes, no blank lines, no mistakes"
        raise InputError([Problem(file, None, "", found, expected)])
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    header = parse_header(text, file)
    columns = {name: _Column() for name in header.index_of}
    lines = array("q")
    problems: list[Problem] = []
    for line, cells in _rows(text, header, file, problems):
        if not any(cell.strip() for cell in cells) or cells[0].lstrip().startswith("#"):
            continue
        if len(cells) > header.width and any(cell.strip() for cell in cells[header.width :]):
            advice = ' (a comma inside a cell needs quotes: "0,42")' if header.separator == "," else ""
            expected = f"{header.width} as in the header row{advice}"
            problems.append(Problem(file, line, "", f"{len(cells)} cells", expected))
            if len(problems) > MOST_BAD_ROWS:
                found, expected = f"more than {MOST_BAD_ROWS} such rows", "those above put right first"
                problems.append(Problem(file, line, "", found, expected))
                break
            continue
        lines.append(line)
        for name, index in header.index_of.items():
            columns[name].add(cells[index].strip() if index < len(cells) else "")
    return ReadingsTable(
        file=file,
        columns={name: column.cells() for name, column in columns.items()},
        lines=np.array(lines, dtype=np.int64),
        plain=None,
        comma_is_decimal=header.separator != ",",
        problems=tuple(problems),
        warnings=header.warnings,
    )


def _rows(text: str, header: Header, file: str, problems: list[Problem]) -> Iterator[tuple[int, list[str]]]:
    """(line, cells) of every row below the header; a line that is no CSV is a problem and is passed over."""
    below = islice(_lines(text), header.line, None)
    reader = csv.reader(below, delimiter=header.separator, strict=True)
    while True:
        line = header.line + reader.line_num + 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            at = header.line + reader.line_num
            problems.append(Problem(file, at, "", str(error), "a row of CSV, quotation marks in pairs"))
        else:
            if header.line + reader.line_num == line or not _swallowed(cells, header):
                yield line, cells
                continue
            found = f"a cell that goes on to line {header.line + reader.line_num} and holds whole rows"
            problems.append(Problem(file, line, "", found, "a quotation mark and its partner on one line"))
        if len(problems) > MOST_BAD_ROWS:
            return


def _swallowed(cells: list[str], header: Header) -> bool:
    """Whether a quotation mark without a partner made text of rows: a line in a cell that reads like one."""
    for line in (line for cell in cells if "\n" in cell for line in cell.split("\n")[1:]):
        inside = line.split(header.separator)
        if len(inside) >= header.width:
            try:
                parse_value(inside[header.index_of["value"]], comma_is_decimal=True)
            except ValueSyntaxError:
                continue
            return True
    return False


def _lines(text: str) -> Iterator[str]:
    start = 0
    while end := text.find("\n", start) + 1:
        yield text[start:end]
        start = end
    if start < len(text):
        yield text[start:]


class _Column:
    """One column while it is read."""

    def __init__(self) -> None:
        self.codes = array("q")
        self.code_of: dict[str, int] = {}

    def add(self, cell: str) -> None:
        self.codes.append(self.code_of.setdefault(cell, len(self.code_of)))

    def cells(self) -> Cells:
        return Cells(np.array(self.codes, dtype=np.int64), list(self.code_of))
