"""Answers about doubtful lines, kept beside the notes: `notes.txt` has its answers in `notes.answers.toml`.

    [[line]]
    text = "8 -> both reverse lamps pink"
    meant = "JB:8 pink to LH_lamp:reverse; JB:8 pink to RH_lamp:reverse"

`meant` is wires in our own notation, joined by `; `, or "" for a remark. Where only a part of a line was in
doubt, it stands behind the line and a stroke (`X1 3 red to lamp. Horn to box ¦ Horn to box`). A line whose
text changes is asked about again. The file only grows; the last entry of a line holds.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

from loomtest.errors import InputError, Problem
from loomtest.harness.notes.notation import read_notation
from loomtest.harness.notes.result import answer_key
from loomtest.harness.outward import toml_text, visible
from loomtest.harness.table import quoted, read_text

_HEAD = (
    "# What was answered about lines of the notes: text is the line (behind ¦ the part asked about),\n"
    '# meant the wires it means, or "" where it is a remark. Take an entry out to be asked again.\n'
)
LARGEST_BYTES = 5_000_000


def answers_path(notes: Path) -> Path:
    """Where the answers about a file of notes are kept."""
    return notes.with_name(notes.stem + ".answers.toml")


def read_answers(path: Path) -> dict[str, str]:
    """Line to what it means; empty without a file. Raises InputError for a file that holds anything else."""
    if not path.exists():
        return {}
    file = visible(str(path))
    problems: list[Problem] = []
    text = read_text(path, file, problems, LARGEST_BYTES)
    if text is None:
        raise InputError(problems)
    try:
        document = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise InputError([Problem(file, None, "", visible(str(error)), "answers as TOML")]) from None
    found: dict[str, str] = {}
    entries = document.get("line", [])
    for entry in entries if isinstance(entries, list) else [entries]:
        line, meant = (entry.get("text"), entry.get("meant")) if isinstance(entry, dict) else (None, None)
        if not isinstance(line, str) or not isinstance(meant, str):
            problems.append(Problem(file, None, "line", quoted(str(entry)), 'text = "…" and meant = "…"'))
        elif meant and any(read_notation(item) is None for item in meant.split("; ")):
            expected = 'wires such as X1:1 red to X4:3, joined by "; ", or "" for a remark'
            problems.append(Problem(file, None, "meant", quoted(meant), expected))
        else:
            found[answer_key(line)] = meant
    if problems:
        raise InputError(problems)
    return found


def keep_answer(path: Path, line: str, meant: str) -> None:
    """Add an answer to the file, which is there and whole before the next question is asked.

    Raises InputError where it cannot be written.
    """
    try:
        new = not path.exists()
        with path.open("a", encoding="utf-8") as file:
            file.write((_HEAD if new else "") + entry_text(line, meant))
    except OSError as error:
        found = f"a file that cannot be written ({(error.strerror or str(error)).lower()})"
        raise InputError([Problem(visible(str(path)), None, "", found, "a place for the answers")]) from error


def entry_text(line: str, meant: str) -> str:
    """One entry as TOML."""
    return f"\n[[line]]\ntext = {_quoted(answer_key(line))}\nmeant = {_quoted(meant)}\n"


def _quoted(text: str) -> str:
    return toml_text(text)
