"""Comma-, semicolon- and tab-separated text as spreadsheets and people write it."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from loomtest.errors import Problem
from loomtest.harness.encoding import decode
from loomtest.harness.outward import visible

if TYPE_CHECKING:
    from loomtest.harness.settings import ColumnNames

SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab"}
LARGEST_BYTES = 200_000_000  # a million wires need about 60 MB
LONGEST_CELL = 10_000
COMMENT = ("#", '"#')  # some spreadsheets put every cell into quotation marks
MOST_COLUMNS = 1_000


@dataclass(frozen=True, slots=True)
class Table:
    """A file's cells: `header` as written; `rows` are (line of the file, cells as wide as the header).

    Of a workbook several sheets may be in one table: then `sheets` says from which line on which one is. Of a
    list laid out in its own way `called` says under which names the person knows our columns. `laid_out`: it
    is no CSV with our own column names, which is what copies are.
    """

    file: str
    header: tuple[str, ...]
    header_line: int
    rows: tuple[tuple[int, list[str]], ...]
    separator: str
    sheets: tuple[tuple[int, str], ...] = ()
    called: Mapping[str, str] = field(default_factory=dict)
    laid_out: bool = False

    def place(self, line: int) -> str:
        """`line 5`, or with its sheet: `line 5 of X2`."""
        sheet, first = self._sheet(line)
        return f"line {line - first}" + (f" of {visible(sheet)}" if sheet else "")

    def in_place(self, problem: Problem) -> Problem:
        """A problem of this table with its sheet, and the column as the person calls it."""
        if problem.file != self.file:
            return problem
        sheet, first = self._sheet(problem.line or 0)
        return replace(
            problem,
            file=f"{self.file}#{visible(sheet)}" if sheet and problem.line else self.file,
            line=problem.line and problem.line - first,
            column=self.called.get(problem.column, problem.column),
        )

    def _sheet(self, line: int) -> tuple[str, int]:
        return next(((name, first) for first, name in reversed(self.sheets) if first < line), ("", 0))


def quoted(text: str, longest: int = 60) -> str:
    """Text from a file between quotation marks, with whatever a terminal could obey made visible."""
    return '"' + visible(text if len(text) <= longest else text[: longest - 1] + "…") + '"'


def read_text(path: Path, file: str, problems: list[Problem], largest: int = LARGEST_BYTES) -> str | None:
    """The file's text without its byte-order mark, or None with the reason among the problems."""

    def refuse(line: int | None, found: str, expected: str) -> None:
        problems.append(Problem(file, line, "", found, expected))

    try:
        if not path.is_file():
            refuse(None, "a folder" if path.is_dir() else "no such file", "a text file")
            return None
        size = path.stat().st_size
        if size > largest:
            refuse(None, f"{size:,} bytes", f"at most {largest:,} bytes")
            return None
        data = path.read_bytes()
    except OSError as error:
        refuse(None, f"a file that cannot be read ({error.strerror})", "a text file that you may read")
        return None
    if foreign := office_file(data):
        refuse(1, *foreign)
        return None
    try:
        text, assumed = decode(data)
    except ValueError as error:
        refuse(1, str(error), "plain text: save it as text in UTF-8")
        return None
    if assumed:
        problems.append(assumed_encoding(file, assumed))
    return text


def office_file(data: bytes) -> tuple[str, str] | None:
    """What a file of an office program is, and what to do with it; None for any other."""
    if data[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        found = "a file in an older format of office programs, or one with a password"
        return found, "a workbook saved as .xlsx or .ods without a password, or plain text"
    if data[:4] != b"PK\x03\x04":
        return None
    if b"xl/workbook.xml" in data or b"opendocument.spreadsheet" in data[:200]:
        ending = ".xlsx" if b"xl/workbook.xml" in data else ".ods"
        return "a workbook under another name", f"its own ending, {ending}; or plain text"
    return "a spreadsheet's or word processor's own file", "plain text: save it as text in UTF-8"


def assumed_encoding(file: str, assumed: str) -> Problem:
    """What is said of a text that is no UTF-8."""
    found = f"text that is no UTF-8; it was read as {assumed}"
    return Problem(file, None, "", found, "UTF-8: look at letters such as é, ² and Ω", "warning")


def lines_of(text: str) -> list[str]:
    """Lines as an editor counts them: ended by LF, CRLF or CR, and by no other character."""
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def read_table(
    path: Path,
    file: str,
    needed: tuple[str, ...],
    problems: list[Problem],
    columns: ColumnNames | None = None,
) -> Table | None:
    """Read a CSV file or a workbook; `needed` column names only help to tell the separator.

    A wire list (`from` and `to` are needed) may be laid out otherwise: then `columns` says which columns
    hold what, or the names that people give them do.

    Lines that begin with `#` are comments: silently before the header, with a warning after it, since
    there a `#` may also be the first letter of somebody's wire name. Blank rows are passed over. Returns
    None when nothing can be read; single bad rows are left out and stand among the problems.
    """
    from loomtest.harness.workbook import is_workbook, read_workbook

    if is_workbook(path):
        return read_workbook(path, file, needed, problems, columns)
    text = read_text(path, file, problems)
    if text is None:
        return None
    lines = [line + "\n" for line in lines_of(text)]
    skipped = 0
    while skipped < len(lines) and (
        not lines[skipped].strip() or lines[skipped].lstrip().startswith(COMMENT)
    ):
        skipped += 1
    separator = ""
    if skipped < len(lines) and lines[skipped].lower().startswith("sep="):  # some spreadsheets' own hint
        separator = lines[skipped][4:5]
        skipped += 1
    if skipped == len(lines):
        problems.append(Problem(file, None, "", "an empty file", "a header row with " + ", ".join(needed)))
        return None
    if separator not in SEPARATORS:
        separator = _separator(lines[skipped], needed)
    if needed == ("from", "to") and (columns or not _names_ends(lines[skipped], separator)):
        from loomtest.harness.laidout import laid_out, names_none

        table = laid_out(file, path.stem, lines, columns, problems)
        if table is not None or columns is not None:
            return table
        if (none := names_none(file, lines, lines[skipped], separator)) is not None:
            problems.append(none)
            return None
    return _rows(file, lines, skipped, separator, problems)


def _names_ends(header: str, separator: str) -> bool:
    names = [name.strip().strip('"').casefold() for name in header.split(separator)]
    return names.count("from") == names.count("to") == 1 and names.count("pin") < 2


def _separator(header: str, needed: tuple[str, ...]) -> str:
    def score(separator: str) -> tuple[int, int]:
        names = [name.strip().strip('"').casefold() for name in header.split(separator)]
        return (sum(name in names for name in needed), len(names))

    return max(SEPARATORS, key=score)


def _rows(file: str, lines: list[str], skipped: int, separator: str, problems: list[Problem]) -> Table | None:
    reader = csv.reader(lines[skipped:], delimiter=separator, strict=True)
    header: tuple[str, ...] | None = None
    width = 0
    rows: list[tuple[int, list[str]]] = []
    line = skipped + 1
    try:
        for cells in reader:
            if header is None:
                header, width = tuple(cell.strip() for cell in cells), len(cells)
                if width > MOST_COLUMNS:
                    expected = f"at most {MOST_COLUMNS:,} columns"
                    problems.append(Problem(file, line, "", f"{width:,} columns", expected))
                    return None
            elif any(cells) and any(cell.strip() for cell in cells):
                if cells[0].lstrip().startswith("#"):
                    found = f"a line that begins with #: {quoted(separator.join(cells))}"
                    expected = "a row; it was left out as a comment"
                    problems.append(Problem(file, line, "", found, expected, "warning"))
                elif skipped + reader.line_num > line and _swallowed(cells, width, separator):
                    found = f"a cell that goes on to line {skipped + reader.line_num} and holds whole rows"
                    expected = "a quotation mark and its partner on one line"
                    problems.append(Problem(file, line, "", found, expected))
                elif len(cells) == width and max(map(len, cells)) <= LONGEST_CELL:
                    rows.append((line, cells))
                else:
                    _misfit(file, line, cells, width, separator, rows, problems)
            line = skipped + reader.line_num + 1
    except csv.Error as error:
        found = f"text that no CSV reader takes ({visible(str(error))})"
        problems.append(Problem(file, line, "", found, "quotation marks in pairs, one row a line"))
    if header is None:
        return None
    return Table(file, header, skipped + 1, tuple(rows), separator)


def _swallowed(cells: list[str], width: int, separator: str) -> bool:
    """Whether a quotation mark without a partner made text of rows: a line in a cell that looks like one.

    A row has no space behind its separators, and prose has one behind its commas.
    """
    lines = (line for cell in cells if "\n" in cell for line in cell.split("\n")[1:])
    return any(line.count(separator) == width - 1 and separator + " " not in line for line in lines)


def _misfit(
    file: str,
    line: int,
    cells: list[str],
    width: int,
    separator: str,
    rows: list[tuple[int, list[str]]],
    problems: list[Problem],
) -> None:
    """A row of another width than the header: more cells are let pass where the surplus is empty."""
    if max(map(len, cells)) > LONGEST_CELL:
        problems.append(
            Problem(file, line, "", "a cell of enormous length", f"at most {LONGEST_CELL} letters")
        )
    elif len(cells) > width and not any(cell.strip() for cell in cells[width:]):
        rows.append((line, cells[:width]))
    else:
        why = f"{width} cells, one for each column of the header"
        if len(cells) > width and separator == ",":
            why += " (a text with a comma in it stands in quotation marks)"
        found = f"{len(cells)} cell{'s' if len(cells) != 1 else ''}"
        problems.append(Problem(file, line, "", found, why))
