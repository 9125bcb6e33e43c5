"""The conversation about the columns of a wire list: numbered answers, once, on a terminal."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import typer

from loomtest.commands.terminal.screen import allow_any_letter
from loomtest.commands.terminal.text import paragraph, shown

MOST_TRIES = 5


def answered(source: Path) -> bool:
    """Ask which columns hold what and keep the answer; False where nobody can be asked.

    All of it is said on standard error: standard output stays the answer of the command. Raises InputError
    where the answer cannot be kept.
    """
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        return False
    from loomtest.harness.askcolumns import columns_question, problems_with, remember
    from loomtest.words import columns as words

    asked = columns_question(source)
    if asked is None:
        return False
    allow_any_letter()
    for line in words.question(asked.file.name, asked.choices):
        typer.echo(shown(line.text), err=True)
    for _ in range(MOST_TRIES):
        names = {
            "from": _columns(words.BEGINS, asked.choices, 2),
            "to": _columns(words.ENDS, asked.choices, 2),
        }
        wrong = problems_with(asked, names)
        if not wrong:
            break
        typer.echo(paragraph(shown(str(wrong[0]))), err=True)
        typer.echo(words.not_so(len(wrong)), err=True)
    else:
        return False
    for key in asked.more:
        if column := _columns(words.more(key), asked.choices, 1, least=0):
            names[key] = column
    remember(asked, names)
    typer.echo(paragraph(shown(words.kept(str(asked.toml)))), err=True)
    return True


def _columns(
    prompt: str, choices: tuple[tuple[str, tuple[str, ...]], ...], most: int, least: int = 1
) -> tuple[str, ...]:
    """The columns that the person's numbers say."""
    from loomtest.words.columns import not_a_choice

    while True:
        said = str(typer.prompt(prompt, default="", show_default=False, prompt_suffix=" ", err=True)).strip()
        numbers = [int(number) for number in re.findall(r"\d{1,4}", said)]
        fits = least <= len(numbers) <= most and all(1 <= number <= len(choices) for number in numbers)
        if fits and (numbers or not said):
            return tuple(choices[number - 1][0] for number in numbers)
        typer.echo(paragraph(shown(not_a_choice(said, len(choices)))), err=True)
