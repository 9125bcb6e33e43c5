"""The wire list of a spreadsheet as the files of a folder of ours."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from loomtest.errors import InputError, Problem
from loomtest.harness.load import list_text, load_harness
from loomtest.harness.newfolder import BOM, WIRES, WIRES_TEXT, Answers
from loomtest.harness.notes.notation import NotedWire
from loomtest.harness.outward import visible


def answers_from_sheet(source: str, answers: Answers) -> tuple[Answers, list[Problem]]:
    """`answers` with the wires of a list, and what is odd in it. Raises InputError."""
    if Path(source).is_dir() or Path(source).suffix.casefold() == ".toml":
        expected = "a spreadsheet (.xlsx, .ods, .csv) or a harness file of a design program, FILE.kbl"
        raise InputError([Problem("--from", None, "", visible(source), expected)])
    harness = load_harness(source)
    text = list_text(harness, answers.separator)
    wires = [NotedWire(line=wire.row, start=wire.start, end=wire.end) for wire in harness.wires]
    more = {**answers.more, WIRES: BOM + WIRES_TEXT + text}
    return replace(answers, wires=wires, more=more), list(harness.warnings)
