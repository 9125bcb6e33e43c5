"""A wire list in somebody's own words: what can be asked about its columns, and where the answer is kept."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from loomtest.errors import InputError, Problem
from loomtest.harness.headings import column_letters, column_names, likeliest_names, meaning
from loomtest.harness.laidout import cells_of
from loomtest.harness.load import listed_files
from loomtest.harness.notes.mentions import CODE
from loomtest.harness.outward import visible
from loomtest.harness.settings import COLUMNS_KEY, HEADING_ROW, ColumnNames
from loomtest.harness.table import lines_of, read_table, read_text
from loomtest.harness.wirelist import NEEDED, read_wires
from loomtest.harness.workbook import is_workbook, sheets_of

MOST_SAMPLES = 3
MORE = ("colour", "size", "length")  # asked for too where no column is named so


@dataclass(frozen=True)
class ColumnsQuestion:
    """The columns of a list: `choices` are (name for harness.toml, some of its cells).

    `file` is the list, `toml` where the answer is kept. `more`: what may be asked for beside the two ends.
    `heading_row`: 0 where the first row is a wire already; None: where the names are.
    """

    file: Path
    toml: Path
    choices: tuple[tuple[str, tuple[str, ...]], ...]
    more: tuple[str, ...]
    heading_row: int | None


def columns_question(source: Path) -> ColumnsQuestion | None:
    """What to ask about the list of a harness; None where it cannot be asked, or the answer not be kept.

    An answer about a bare list stands in a harness.toml of its own beside it.
    """
    _, toml, listed = listed_files(source, [])
    if listed is None:
        return None
    if toml is None:
        toml = (source if source.is_dir() else source.parent) / "harness.toml"
        if toml.exists():  # of another list
            return None
    for rows in _sheets(listed):
        at = likeliest_names(rows)
        if at is None:
            continue
        choices = []
        bare = sum(bool(CODE.fullmatch(cell.strip()) or cell.strip().isdecimal()) for cell in rows[at]) > 1
        first = 0 if bare else at + 1
        for place, own in column_names(rows, at).items():
            name = f"column {column_letters(place)}" if bare else own
            cells = dict.fromkeys(row[place] for row in rows[first:] if place < len(row) and row[place])
            if cells:
                choices.append((name, tuple(cells)[:MOST_SAMPLES]))
        known = {meaning(name)[0] for name, _ in choices}
        if len(choices) > 1:
            more = tuple(name for name in MORE if name not in known)
            return ColumnsQuestion(listed, toml, tuple(choices), more, 0 if bare else None)
    return None


def _sheets(listed: Path) -> list[list[list[str]]]:
    if is_workbook(listed):
        read = sheets_of(listed, str(listed), [])
        return [rows for _, rows in read[0]] if read is not None else []
    text = read_text(listed, str(listed), [])
    if text is None:
        return []
    rows = next(cells_of([line + "\n" for line in lines_of(text)]), None)
    return [rows] if rows is not None else []


def problems_with(question: ColumnsQuestion, names: Mapping[str, tuple[str, ...]]) -> list[Problem]:
    """What is wrong with the ends of the wires, read so."""
    problems: list[Problem] = []
    file = visible(str(question.file))
    table = read_table(question.file, file, NEEDED, problems, ColumnNames(names, question.heading_row))
    if table is not None:
        read_wires(table, problems)
    wrong = [p for p in problems if p.severity == "error" and (table is None or p.column in NEEDED)]
    return wrong if table is None else [table.in_place(problem) for problem in wrong]


def remember(question: ColumnsQuestion, names: Mapping[str, tuple[str, ...]]) -> None:
    """Write the answer into harness.toml, whose other lines stay as they are. Raises InputError."""
    import tomlkit

    try:
        if question.toml.exists():
            document = tomlkit.parse(question.toml.read_bytes().decode("utf-8-sig"))
        else:
            document = tomlkit.document()
            document["name"] = question.file.stem
            document["wires"] = question.file.name
        table = tomlkit.table()
        for key, each in names.items():
            table[key] = each[0] if len(each) == 1 else list(each)
        if question.heading_row is not None:
            table[HEADING_ROW] = question.heading_row
        document[COLUMNS_KEY] = table
        aside = question.toml.with_name(f".{question.toml.name}-{os.getpid()}")
        try:
            aside.write_bytes(tomlkit.dumps(document).encode("utf-8"))
            aside.replace(question.toml)
        finally:
            aside.unlink(missing_ok=True)
    except (OSError, ValueError) as error:
        why = (error.strerror or str(error)) if isinstance(error, OSError) else "no TOML in UTF-8"
        found, expected = f"a file that cannot be written ({why.lower()})", "the columns kept there"
        raise InputError([Problem(visible(str(question.toml)), None, "", found, expected)]) from error
