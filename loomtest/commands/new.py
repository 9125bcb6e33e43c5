"""`loomtest new`: a harness folder to fill in, from a few questions or from the notes on a notepad."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from loomtest.commands.app import app
from loomtest.commands.terminal.text import counted, paragraph, shown
from loomtest.commands.terminal.verbs import JSON_HELP
from loomtest.harness.outward import json_text

if TYPE_CHECKING:
    from loomtest.errors import Problem
    from loomtest.harness.newfolder import Answers
    from loomtest.harness.notes.result import Notes


@app.command(
    epilog="Example: loomtest new my_loom\nExample: loomtest new launch --notes notepad.txt --name Stern\n"
    "Example: loomtest new stern --from stern.xlsx\n"
    "Example: loomtest new launch --from launch.kbl --configuration south"
)
def new(
    folder: Annotated[Path, typer.Argument(help="The folder to lay out; nothing in it is written over.")],
    notes: Annotated[
        str | None, typer.Option(help="A text file with the notepad's lines; - for standard input.")
    ] = None,
    source: Annotated[
        str | None, typer.Option("--from", help="A spreadsheet, or a harness file of a design program (KBL).")
    ] = None,
    configuration: Annotated[
        str | None, typer.Option(help="Which configuration or module of that file; without it all are taken.")
    ] = None,
    name: Annotated[
        str | None, typer.Option(help="What the loom is called (default: the folder's name).")
    ] = None,
    cavities: Annotated[
        list[str] | None,
        typer.Option(help="Cavities of a connector: X1=8, or X1=A1,A2,B1,B2. May be repeated."),
    ] = None,
    worked_on: Annotated[
        list[str] | None, typer.Option(help="A connector that was taken apart in this work. May be repeated.")
    ] = None,
    semicolons: Annotated[
        bool, typer.Option("--semicolons", help="Your spreadsheet writes one and a half as 1,5.")
    ] = False,
    without_unread: Annotated[
        bool,
        typer.Option("--without-unread", help="Go on without the lines of the notes that were not read."),
    ] = False,
    no_questions: Annotated[bool, typer.Option("--no-questions", help="Ask nothing.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help=JSON_HELP)] = False,
) -> None:
    """Lay out a folder for a loom: a wire list to fill in, its settings, and a sheet for the readings.

    With --notes the wire list is made from what stands on your notepad. Write it as you are used to:
    headings with the pins below them, columns, arrows, dashes, ditto marks, lists behind a splice, names of
    two words, short words (sw, lt, batt), a key of colour letters; sizes in mm², AWG or strands.

    With --from the folder is made from a spreadsheet, however its wire list is laid out, or from a harness
    file: wire list, cavities, and branches.csv, which says how the loom lies. What such a file holds beside
    is counted and named.

    What each line was read as stands in notes.read.txt. A line with two meanings is not guessed at: on a
    terminal you are asked, and your answers are kept beside the notes (notes.answers.toml), so that reading
    them again asks only what is new. Otherwise nothing is written until the line is put right or left out
    with --without-unread.

    The JSON object, "schema": "loomtest-new/1": files; read (line, text, said); unread (line, text, why,
    readings: the ways it can be meant, part: the words in doubt where the rest of the line was read);
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

    asks = (
        source is None
        and not (no_questions or as_json or notes == "-")
        and sys.stdin.isatty()
        and sys.stdout.isatty()
    )
    answers = _given(folder, name, cavities or [], worked_on or [], semicolons)
    refuse_what_is_there(folder, (WIRES, SETTINGS, READINGS, *([NOTES] if notes else [])))
    odd: list[Problem] = []
    if source is not None or configuration is not None:
        answers, odd = _from_file(source, configuration, answers, notes, name)
    if asks:
        typer.echo(
            paragraph(
                "A few questions. Press Enter to skip any: you can write all of it into the files later."
            )
        )
        notes = notes if notes is not None else _notes_asked()
    found = None
    if notes is not None:
        from loomtest.commands.notepad import read, refuse_unread

        found, text, more = read(notes, asks=asks, without_unread=without_unread, quiet=as_json)
        if found.unread and not without_unread and as_json:
            _print_json(_object([], found))
        refuse_unread(found, notes, without_unread)
        counts = {name: _cavity_list(names) for name, names in found.cavities.items()}
        answers = replace(
            answers, wires=found.wires, notes=text, more=more, cavities={**counts, **answers.cavities}
        )
    if asks:  # behind the notes: what they say is not asked, and a page put off costs no answer
        answers = _asked(answers, name)
    files = write_new(folder, files_of(answers))
    if answers.wires:
        _read_back(folder, odd)
    if as_json:
        value = _object(files, found)
        if source is not None:
            value |= {"wires": len(answers.wires), "look_at": [str(problem) for problem in odd]}
        _print_json(value)
    else:
        typer.echo("\n".join(_closing(folder, len(answers.wires), found)))


def _print_json(value: dict[str, Any]) -> None:

    typer.echo(json_text(value))


def _cavity_list(names: tuple[str, ...]) -> str:
    import json

    return "[" + ", ".join(json.dumps(name, ensure_ascii=False) for name in names) + "]"


def _from_file(
    source: str | None, configuration: str | None, answers: Answers, notes: str | None, name: str | None
) -> tuple[Answers, list[Problem]]:
    """The answers out of a spreadsheet or a harness file, and what is odd in it."""
    from loomtest.errors import InputError, Problem
    from loomtest.harness.exchange.filename import is_exchange
    from loomtest.harness.exchange.folder import answers_from, with_configuration
    from loomtest.harness.fromsheet import answers_from_sheet

    if source is None or notes is not None:
        found = "no --from" if source is None else "--notes and --from"
        expected = "--configuration beside --from" if source is None else "one of them"
        raise InputError([Problem("new", None, "", found, expected)])
    if configuration is None and not is_exchange(Path(source)):
        return answers_from_sheet(source, answers)
    return answers_from(with_configuration(source, configuration), answers, named=name is not None)


def _read_back(folder: Path, odd: list[Problem]) -> None:
    """Say what `loomtest check` will find in the folder: a cavity in the notes that no connector has."""
    from loomtest.commands.terminal.screen import warn
    from loomtest.errors import InputError
    from loomtest.harness.load import load_harness

    try:
        found = [one for one in load_harness(folder).warnings if "with a decimal comma" not in one.found]
        warn([*odd, *found])
    except InputError as error:
        warn([*odd, *error.problems])


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


def _notes_asked() -> str | None:
    """The file of the notes, asked for until there is one; None where there is none."""
    while True:
        notes = _ask("File name of your wire notes (Enter if none):")
        if not notes or Path(notes).is_file():
            return notes or None
        typer.echo(paragraph(shown(f"found no file {notes}; expected its name, or Enter to go on without")))


def _asked(answers: Answers, name: str | None) -> Answers:
    """What options and notes left open, asked in sentences; Enter leaves a question open."""
    from dataclasses import replace

    from loomtest.harness.newfolder import read_cavities

    if name is None:
        answers = replace(answers, name=_ask(f"What is this loom called? [{answers.name}]") or answers.name)
    while not answers.cavities:
        said = _ask("Which connectors does it have, and how many cavities in each? (such as X1 8, X2 4)")
        items = re.sub(r"(\w)\s*[ =:]\s*(\d+)(?=[\s,;]|$)", r"\1=\2", said).replace(";", " ")
        problems: list[Problem] = []
        counts = read_cavities(re.split(r"[\s]+|,\s+", items) if items else [], "connectors", problems)
        if not problems:
            answers = replace(answers, cavities=counts)
            break
        typer.echo(paragraph(shown(f"found {problems[0].found}; expected {problems[0].expected}")))
    if answers.separator == ",":
        comma = _ask("Does your spreadsheet write one and a half as 1,5? (yes or no)")
        answers = replace(answers, separator=";" if comma.casefold().startswith("y") else ",")
    return answers


def _ask(question: str) -> str:
    return str(typer.prompt(question, default="", show_default=False, prompt_suffix=" ")).strip()


def _closing(folder: Path, wires: int, notes: Notes | None) -> list[str]:
    name = shown(str(folder))
    told = f"{counted(wires, 'wire')}; a size and a length tell what a healthy one reads"
    lines = ["", f"Written into {name}"]
    lines.append("  wires.csv       " + (told if wires else "the wire list: fill in a row for each wire"))
    lines.append("  harness.toml    cavities, places, limits: each key is explained there")
    lines.append("  readings.csv    what the meter shows goes here")
    if notes is not None:
        lines.append("  notes.txt       your notes as they were")
        lines.append("  notes.read.txt  what each line was read as: hold it against the loom")
        if notes.unread:
            numbers = ", ".join(str(line.number) for line in notes.unread[:12])
            more = f" and {len(notes.unread) - 12} more" if notes.unread[12:] else ""
            lines += ["", paragraph(f"Left out, because it was not read: line {numbers}{more}.")]
    first = (
        "have it read back to you" if wires else "fill in wires.csv, in a spreadsheet or an editor, and then"
    )
    lines += ["", f"Next: {first}", f"  loomtest check {name}"]
    lines += ["what to probe, in which order; the readings; what they say", f"  loomtest plan {name}"]
    lines += [f"  loomtest log {name} --out before --stage before", f"  loomtest judge {name} before"]
    return lines if notes is not None else lines[1:]


def _object(files: list[Path], notes: Notes | None) -> dict[str, Any]:
    """The JSON object described in the command's help."""
    from loomtest.words.notes import look_at, said, why

    lines = notes.lines if notes is not None else ()
    return {
        "schema": "loomtest-new/1",
        "files": [path.as_posix() for path in files],
        "read": [{"line": one.number, "text": one.text, "said": said(one)} for one in lines if said(one)],
        "unread": [
            {"line": one.number, "text": one.text, "why": why(one), "readings": list(one.readings)}
            | ({"part": one.part} if one.part else {})
            for one in (notes.unread if notes is not None else ())
        ],
        "wires": len(notes.wires) if notes is not None else 0,
        "look_at": [look_at(look) for look in notes.look_at] if notes is not None else [],
    }
