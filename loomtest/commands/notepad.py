"""The conversation about a page of notes: what was read, and numbered answers to what is unsure."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from loomtest.commands.terminal.screen import show, warn

if TYPE_CHECKING:
    from loomtest.harness.notes.result import NotedLine, Notes

LARGEST_NOTES_BYTES = 5_000_000


def read(
    notes: str, *, asks: bool, without_unread: bool, quiet: bool
) -> tuple[Notes, str, Mapping[str, str]]:
    """The notes as they were read, their text, and the further files that go into the folder with them.

    Raises InputError for a file that is no text, and for notes without a wire.
    """
    from loomtest.errors import InputError, Problem
    from loomtest.harness.newfolder import ANSWERS, CHANGES, NOTES_READ
    from loomtest.harness.notes.answers import answers_path, entry_text, read_answers
    from loomtest.harness.notes.reader import read_notes
    from loomtest.words.notes import as_read, look_lines, summary, swap_offer

    text = _text(notes)
    source = "standard input" if notes == "-" else notes
    kept = None if notes == "-" else answers_path(Path(notes))
    answers = read_answers(kept) if kept is not None else {}
    found = read_notes(text, answers)
    if not found.wires and not found.unread:
        raise InputError([Problem(source, None, "", "no wire", "lines such as X1 1 red to X4 3")])
    if not quiet:
        show([*summary(found, source, ": all of them stand in notes.read.txt"), *look_lines(found)])
    if asks and found.unread and kept is not None:
        answers = _conversation(found, text, answers, kept)
        found = read_notes(text, answers)
    more = {NOTES_READ: as_read(found, source)}
    if answers:
        more[ANSWERS] = "".join(entry_text(line, meant) for line, meant in answers.items()).lstrip()
    if found.changes:
        more[CHANGES] = "old,new\n" + "".join(f"{old},{new}\n" for old, new in found.changes)
        if not quiet:
            show(swap_offer(found, CHANGES))
    return found, text, more


def refuse_unread(found: Notes, notes: str, without_unread: bool) -> None:
    """Raise InputError where lines wait for an answer and are not to be left out: nothing is written yet."""
    from loomtest.errors import InputError, Problem
    from loomtest.words.notes import unread_problem

    if not found.unread or without_unread:
        return
    if sys.stdin.isatty() and sys.stdout.isatty() and typer.confirm("Go on without the lines not read?"):
        return
    source = "standard input" if notes == "-" else notes
    typer.echo(
        "Nothing is written yet. Put these lines right, or leave them out with --without-unread.", err=True
    )
    raise InputError(
        [
            Problem(source, number, "", what, expected)
            for number, what, expected in unread_problem(found.unread)
        ]
    )


def _text(notes: str) -> str:
    from loomtest.errors import InputError, Problem
    from loomtest.harness.encoding import decode
    from loomtest.harness.table import assumed_encoding, read_text

    problems: list[Problem] = []
    if notes == "-":
        data = (
            sys.stdin.buffer.read(LARGEST_NOTES_BYTES)
            if hasattr(sys.stdin, "buffer")
            else sys.stdin.read().encode()
        )
        try:
            text, assumed = decode(data)
        except ValueError as error:
            raise InputError([Problem("standard input", None, "", str(error), "plain text")]) from None
        problems += [assumed_encoding("standard input", assumed)] if assumed else []
        warn(problems)
        return text
    read_in = read_text(Path(notes), notes, problems, LARGEST_NOTES_BYTES)
    if read_in is None:
        raise InputError(problems)
    warn(problems)
    return read_in


def _conversation(found: Notes, text: str, answers: Mapping[str, str], kept: Path) -> dict[str, str]:
    """Ask about each line that was not read; every answer is on disk before the next question."""
    from loomtest.harness.notes.answers import keep_answer
    from loomtest.words.notes import question

    given = dict(answers)
    waiting = found.unread
    for place, line in enumerate(waiting, 1):
        show(question(line, place, len(waiting)))
        meant = _answer(line)
        if meant is not None:
            keep_answer(kept, line.asked, meant)
            given[line.asked] = meant
    return given


def _answer(line: NotedLine) -> str | None:
    """What the person says a line means: wires in our notation, "" for a remark, None for later."""
    from loomtest.harness.notes.reader import read_notes
    from loomtest.words.notes import answer_prompt, choices, not_understood

    while True:
        said = str(
            typer.prompt(answer_prompt(len(choices(line))), default="", show_default=False, prompt_suffix=" ")
        )
        said = said.strip()
        if not said:
            return None
        if said.isdecimal() and 1 <= int(said) <= len(choices(line)):
            return (*line.readings, "")[int(said) - 1]
        own = read_notes(said)
        if own.wires and not own.unread:
            return "; ".join(wire.words for wire in own.wires)
        typer.echo(not_understood(said))
