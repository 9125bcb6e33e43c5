"""`loomtest new`: a harness folder to fill in, from a few questions or from the notes on a notepad."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from loomtest.commands.app import app
from loomtest.commands.terminal.text import WIDTH, counted, paragraph, shown, wrapped
from loomtest.commands.terminal.verbs import JSON_HELP

if TYPE_CHECKING:
    from loomtest.harness.newfolder import Answers
    from loomtest.harness.notes.notepad import Notepad

LARGEST_NOTES_BYTES = 5_000_000


@app.command(
    epilog="Example: loomtest new my_loom\nExample: loomtest new launch --notes notepad.txt --name Stern"
)
def new(
    folder: Annotated[Path, typer.Argument(help="The folder to lay out; nothing in it is written over.")],
    notes: Annotated[
        str | None, typer.Option(help="A text file with the notepad's lines; - for standard input.")
    ] = None,
    name: Annotated[
        str | None, typer.Option(help="What the loom is called; the folder's name without it.")
    ] = None,
    cavities: Annotated[
        list[str] | None,
        typer.Option(help="Cavities of a connector: X1=8, or X1=A1,A2,B1,B2. May be repeated."),
    ] = None,
    worked_on: Annotated[
        list[str] | None, typer.Option(help="A connector that was taken apart in this work. May be repeated.")
    ] = None,
    semicolons: Annotated[
        bool, typer.Option("--semicolons", help="For a spreadsheet that writes numbers with a comma: 1,5.")
    ] = False,
    without_unread: Annotated[
        bool,
        typer.Option("--without-unread", help="Go on without the lines of the notes that were not read."),
    ] = False,
    no_questions: Annotated[bool, typer.Option("--no-questions", help="Ask nothing.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help=JSON_HELP)] = False,
) -> None:
    """Lay out a folder for a loom: a wire list to fill in, its settings, and a sheet for the readings.

    With --notes the wire list is made from what stands on your notepad, one wire a line. Write it as you
    are used to: X1 1 red to X4 3, or with arrows, dashes, commas, tabs and ditto marks; with a size
    (1.5 mm², AWG 16) and a length (0.85 m, 33 in); a heading such as "X1 to X4:" for the lines below it;
    "SP1: X1 3, X4 2" for a splice; a circuit as "for horn" and a remark in (brackets).

    How each line was read is shown as X1:1 red to X4:3. A line with two meanings is not guessed at: it is
    shown with its number and the reason, and nothing is written until it is put right or left out with
    --without-unread.

    The JSON object, "schema": "loomtest-new/1": files; read (line, text, said); unread (line, text, why);
    wires (how many); look_at (sentences).
    """
    from dataclasses import replace

    from loomtest.harness.newfolder import (
        NOTES,
        READINGS,
        SETTINGS,
        WIRES,
        files_of,
        refuse_what_is_there,
        write_new,
    )

    asks = not (no_questions or as_json or notes == "-") and sys.stdin.isatty() and sys.stdout.isatty()
    answers = _given(folder, name, cavities or [], worked_on or [], semicolons)
    refuse_what_is_there(folder, (WIRES, SETTINGS, READINGS, *([NOTES] if notes else [])))
    if asks:
        answers, notes = _asked(answers, notes, name)
    notepad = None
    if notes is not None:
        text = _notes_text(notes)
        notepad = _read(text, notes, as_json, without_unread, asks)
        answers = replace(answers, wires=notepad.wires, notes=text)
    files = write_new(folder, files_of(answers))
    if answers.wires:
        _read_back(folder)
    if as_json:
        import json

        typer.echo(json.dumps(_object(files, notepad), ensure_ascii=False, indent=2))
    else:
        typer.echo("\n".join(_closing(folder, len(answers.wires), notepad)))


def _read_back(folder: Path) -> None:
    """Say what `loomtest check` will find in the folder: a cavity in the notes that no connector has."""
    from loomtest.commands.terminal.screen import warn
    from loomtest.errors import InputError
    from loomtest.harness.load import load_harness

    try:
        warn([odd for odd in load_harness(folder).warnings if "with a decimal comma" not in odd.found])
    except InputError as error:
        warn(error.problems)


def _given(
    folder: Path, name: str | None, cavities: list[str], worked_on: list[str], semicolons: bool
) -> Answers:
    """What the options say; raises InputError with every mistake in them."""
    from loomtest.errors import InputError, Problem
    from loomtest.harness.newfolder import Answers, read_cavities

    problems: list[Problem] = []
    counts = read_cavities(cavities, "--cavities", problems)
    for connector in worked_on:
        if not connector.strip() or ":" in connector:
            problems.append(Problem("--worked-on", None, "", shown(connector), "a connector, such as X1"))
    if problems:
        raise InputError(problems)
    called = name if name is not None else folder.resolve().name.replace("_", " ")
    return Answers(called, counts, worked_on, separator=";" if semicolons else ",")


def _asked(answers: Answers, notes: str | None, name: str | None) -> tuple[Answers, str | None]:
    """What the options left open, asked in sentences; Enter leaves a question open."""
    from dataclasses import replace

    from loomtest.errors import Problem
    from loomtest.harness.newfolder import read_cavities

    typer.echo(
        paragraph(
            "Four questions. Enter alone is an answer too: all of it can be written into the files later."
        )
    )
    if name is None:
        answers = replace(answers, name=_ask(f"What is this loom called? [{answers.name}]") or answers.name)
    while not answers.cavities:
        said = _ask("Which connectors has it, with how many cavities? (such as X1 8, X2 4)")
        items = re.sub(r"(\w)\s*[ =:]\s*(\d+)(?=[\s,;]|$)", r"\1=\2", said).replace(";", " ")
        problems: list[Problem] = []
        counts = read_cavities(re.split(r"[\s]+|,\s+", items) if items else [], "connectors", problems)
        if not problems:
            answers = replace(answers, cavities=counts)
            break
        typer.echo(paragraph(shown(f"found {problems[0].found}; expected {problems[0].expected}")))
    while notes is None:
        notes = _ask("Have you notes of the wires in a text file? Its name:")
        if notes and not Path(notes).is_file():
            typer.echo(
                paragraph(shown(f"found no file {notes}; expected its name, or Enter to go on without"))
            )
            notes = None
    if answers.separator == ",":
        comma = _ask("Does your spreadsheet write one and a half as 1,5? (yes or no)")
        answers = replace(answers, separator=";" if comma.casefold().startswith("y") else ",")
    return answers, notes or None


def _ask(question: str) -> str:
    return str(typer.prompt(question, default="", show_default=False, prompt_suffix=" ")).strip()


def _notes_text(notes: str) -> str:
    from loomtest.errors import InputError, Problem
    from loomtest.harness.table import read_text

    if notes == "-":
        data = (
            sys.stdin.buffer.read(LARGEST_NOTES_BYTES)
            if hasattr(sys.stdin, "buffer")
            else sys.stdin.read().encode()
        )
        return data.decode("utf-8-sig", errors="replace")
    problems: list[Problem] = []
    text = read_text(Path(notes), notes, problems, LARGEST_NOTES_BYTES)
    if text is None:
        raise InputError(problems)
    return text


def _read(text: str, source: str, as_json: bool, without_unread: bool, asks: bool) -> Notepad:
    """The notes, shown as they were read; raises InputError where lines were not, and are to be put right."""
    from loomtest.errors import InputError, Problem
    from loomtest.harness.notes.notepad import read_notepad

    source = "standard input" if source == "-" else source
    notepad = read_notepad(text)
    if not as_json:
        typer.echo("\n".join(_reading_lines(notepad, source)))
    if not notepad.wires and not notepad.unread:
        raise InputError([Problem(source, None, "", "no wire", "lines such as X1 1 red to X4 3")])
    if notepad.unread and not without_unread:
        left = counted(len(notepad.unread), "line")
        if asks and _ask(f"Go on without the {left} not read? (yes or no)").casefold().startswith("y"):
            return notepad
        problems = []
        for line in notepad.unread:
            found, _, expected = line.why.removeprefix("found ").partition("; expected ")
            problems.append(Problem(source, line.number, "", found, expected or "one wire a line"))
        if not as_json:
            typer.echo(
                paragraph(
                    "Nothing is written yet. Put these lines right, or leave them out with --without-unread:"
                )
            )
        raise InputError(problems)
    return notepad


def _reading_lines(notepad: Notepad, source: str) -> list[str]:
    """Every line as written and as read, beside each other where both fit."""
    lines = [shown(f"{source}, as it was read")]
    room = max(12, min(34, max((len(shown(line.text)) for line in notepad.lines), default=0)))
    for line in notepad.lines:
        written, said = shown(line.text), shown(line.said) or "NOT READ"
        head = f"{line.number:>5}  {written}"
        if len(written) <= room and len(said) <= WIDTH - room - 9:
            lines.append(f"{line.number:>5}  {written:<{room}}  {said}")
        else:
            lines += [
                wrapped(head.split(" "), 0, 7),
                wrapped(said.split(" "), 9 + room if room < 20 else 11, 13),
            ]
    if notepad.remarks:
        lines += ["", "Look at these"]
        lines += [paragraph(shown(remark), 2, 4) for remark in notepad.remarks]
    return [*lines, ""]


def _closing(folder: Path, wires: int, notepad: Notepad | None) -> list[str]:
    name = shown(str(folder))
    told = f"{counted(wires, 'wire')}; a size and a length tell what a healthy one reads"
    lines = [f"Written into {name}"]
    lines.append("  wires.csv     " + (told if wires else "the wire list: fill in a row for each wire"))
    lines.append("  harness.toml  cavities, places, limits: each key is explained there")
    lines.append("  readings.csv  what the meter shows goes here")
    if notepad is not None:
        lines.append("  notes.txt     your notes as they were")
        if notepad.unread:
            numbers = ", ".join(str(line.number) for line in notepad.unread)
            lines += ["", paragraph(f"Left out, because it could not be read: line {numbers}.")]
    first = (
        "have it read back to you" if wires else "fill in wires.csv, in a spreadsheet or an editor, and then"
    )
    lines += ["", f"Next: {first}", f"  loomtest check {name}"]
    lines += ["what to probe, in which order; the readings; what they say", f"  loomtest plan {name}"]
    lines += [f"  loomtest log {name} --out before --stage before", f"  loomtest judge {name} before"]
    return lines


def _object(files: list[Path], notepad: Notepad | None) -> dict[str, Any]:
    """The JSON object described in the command's help."""
    lines = notepad.lines if notepad is not None else ()
    return {
        "schema": "loomtest-new/1",
        "files": [path.as_posix() for path in files],
        "read": [{"line": line.number, "text": line.text, "said": line.said} for line in lines if line.said],
        "unread": [{"line": line.number, "text": line.text, "why": line.why} for line in lines if line.why],
        "wires": len(notepad.wires) if notepad is not None else 0,
        "look_at": list(notepad.remarks) if notepad is not None else [],
    }
