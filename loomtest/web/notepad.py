"""Notes, a spreadsheet or a grid made into a new loom's folder; nothing is written before it reads well."""

from __future__ import annotations

import json
import re
import tempfile
from collections.abc import Mapping
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

from loomtest.errors import InputError, Problem
from loomtest.harness.load import load_harness
from loomtest.harness.newfolder import ANSWERS, NOTES_READ, WIRES, Answers, files_of, write_new
from loomtest.harness.notes.answers import entry_text
from loomtest.harness.notes.notation import NotedWire
from loomtest.harness.notes.reader import read_notes
from loomtest.harness.notes.result import answer_key
from loomtest.words import notes as notes_words
from loomtest.words import web as words

COLUMNS = ("from", "to", "colour", "size", "length", "kind", "amps", "circuit", "note")
SHEETS = (".csv", ".tsv", ".txt", ".xlsx", ".ods")
MOST_ROWS = 5000
LONGEST_NAME = 60


def as_read(text: str, answers: Mapping[str, str]) -> dict[str, Any]:
    """What each line of the notes is read as; a doubtful line with the ways it can be meant."""
    read = read_notes(text, _keyed(answers))
    lines = [
        {
            "line": line.number,
            "text": line.text,
            "part": line.part,
            "asked": line.asked,
            "said": notes_words.said(line),
            "why": notes_words.why(line),
            "readings": list(line.readings),
            "wires": len(line.wires),
        }
        for line in read.lines
    ]
    look_at = [notes_words.look_at(look) for look in read.look_at]
    return {"lines": lines, "wires": len(read.wires), "look_at": look_at}


def rows_of_file(name: str, content: bytes) -> dict[str, Any]:
    """The rows of a spreadsheet or a text file, as the grid takes them. Raises InputError."""
    ending = Path(name).suffix.casefold()
    if ending not in SHEETS:
        expected = "a spreadsheet: .xlsx, .ods or .csv"
        raise InputError(
            [Problem(words.shown_name(name), None, "", words.shown_name(ending or name), expected)]
        )
    with tempfile.TemporaryDirectory(prefix="loomtest-sheet-") as place:
        called = re.sub(r"[^\w -]", "", Path(name).stem)[:40].strip()  # `X1.csv` may be the pins of X1
        file = Path(place) / f"{called or 'wires'}{ending}"
        file.write_bytes(content)
        try:
            harness = load_harness(file)
        except InputError as error:
            raise InputError([_named(problem, name) for problem in error.problems]) from None
        found = [_named(problem, name) for problem in harness.warnings]
        rows = [
            [wire.start, wire.end, wire.colour, _number(wire.size_mm2), _number(wire.length_m),
             "" if wire.kind == "wire" else wire.kind, _number(wire.amps), wire.circuit, wire.note]
            for wire in harness.wires
        ]  # fmt: skip
    return {"rows": rows, "look_at": [words.problem(problem) for problem in found]}


def make_folder(looms: Path, name: str, given: Mapping[str, Any]) -> Path:
    """The folder of a new loom, from `rows` of the grid or from `notes`. Raises InputError."""
    folder = looms / folder_name(name)
    if folder.exists():
        raise InputError([Problem(words.shown_name(name), None, "", "a folder of that name", "another name")])
    notes = str(given.get("notes") or "")
    answers = _keyed(given.get("answers") or {})
    read = read_notes(notes, answers)
    wires = _wires_of_rows(given.get("rows")) if given.get("rows") else list(read.wires)
    if not wires:
        expected = "at least one wire, such as X1 1 red to X4 3"
        raise InputError([Problem(words.THE_LIST, None, "", "no wire", expected)])
    made = Answers(name.strip(), {}, [], wires)
    if notes:
        more = {NOTES_READ: notes_words.as_read(read, words.THE_NOTES)}
        if answers:
            more[ANSWERS] = "".join(entry_text(line, meant) for line, meant in answers.items()).lstrip()
        cavities = {
            name: json.dumps(list(names), ensure_ascii=False) for name, names in read.cavities.items()
        }
        made = replace(made, notes=notes, more=more, cavities=cavities)
    files = files_of(made)
    with tempfile.TemporaryDirectory(prefix="loomtest-new-") as place:
        write_new(Path(place) / "new", files)
        try:
            load_harness(Path(place) / "new")
        except InputError as error:
            problems = [
                _named(problem, words.THE_LIST, _comment_lines(files[WIRES])) for problem in error.problems
            ]
            raise InputError(problems) from None
    write_new(folder, files)
    return folder


def _keyed(answers: Any) -> dict[str, str]:
    """Answers about lines as the reader knows them."""
    given = answers if isinstance(answers, dict) else {}
    return {answer_key(str(line)): str(meant) for line, meant in given.items()}


def folder_name(name: str) -> str:
    """A name as a folder on any system. Raises InputError where nothing of it can be one."""
    plain = re.sub(r"[^\w .,+&'()-]", "_", name, flags=re.ASCII if not name.isprintable() else 0)
    plain = re.sub(r"\s+", " ", plain).strip(" ._")[:LONGEST_NAME].strip(" ._")
    taken = plain.partition(".")[0].casefold() in _RESERVED
    if not plain or taken:
        expected = "a name for the loom, such as Stern of the launch"
        raise InputError([Problem(words.THE_NAME, None, "", words.shown_name(name) or "nothing", expected)])
    return plain


_RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10))}


def _wires_of_rows(rows: Any) -> list[NotedWire]:
    if not isinstance(rows, list) or len(rows) > MOST_ROWS:
        raise InputError(
            [Problem(words.THE_LIST, None, "", "no list of rows", f"at most {MOST_ROWS:,} rows")]
        )
    places = {"from": "start", "to": "end"}
    known = {field.name for field in fields(NotedWire)}
    wires = []
    for number, row in enumerate(rows, 1):
        cells = [" ".join(str(cell).split())[:200] for cell in row] if isinstance(row, list) else []
        told = {places.get(column, column): cell for column, cell in zip(COLUMNS, cells, strict=False)}
        if any(told.values()):
            made = {key: text for key, text in told.items() if key in known}
            wires.append(NotedWire(number, **{"start": "", "end": "", **made}))
    return wires


def _comment_lines(text: str) -> int:
    return sum(line.lstrip("\ufeff").startswith("#") for line in text.splitlines()) + 1


def _named(problem: Problem, file: str, before: int = 0) -> Problem:
    """The problem under the name that the person knows, its line counted from the first row."""
    line = problem.line - before if problem.line is not None else None
    return Problem(
        words.shown_name(file), line, problem.column, problem.found, problem.expected, problem.severity
    )


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:g}"
