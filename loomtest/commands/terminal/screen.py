"""How verbs put text on the screen: colour where it helps, and never a crash over a letter."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import typer

from loomtest.commands.terminal.text import paragraph, shown
from loomtest.harness.outward import json_pieces, json_text

if TYPE_CHECKING:
    from loomtest.errors import Problem
    from loomtest.words.lines import Line

MOST_WARNINGS = 10

# ANSI colours nearest to the palette of pictures and pages; bold and a word say the same without colour.
_TONES: dict[str, dict[str, Any]] = {
    "plain": {},
    "head": {"bold": True},
    "soft": {"dim": True},
    "good": {"fg": typer.colors.CYAN, "bold": True},
    "doubt": {"fg": typer.colors.YELLOW, "bold": True},
    "bad": {"fg": typer.colors.RED, "bold": True},
}


def show(lines: Iterable[Line]) -> None:
    """Print lines on standard output; colour only on a terminal, and not where NO_COLOR is set."""
    allow_any_letter()
    colour = False if os.environ.get("NO_COLOR") else None
    for line in lines:
        styled = typer.style(shown(line.text), **_TONES[line.tone]) if line.text else ""
        typer.echo(styled, color=colour)


def show_json(value: Any) -> None:
    """Print one JSON object and nothing else on standard output."""

    allow_any_letter()
    typer.echo(json_text(value))


def show_long_json(value: Mapping[str, Any], key: str, items: Iterable[Any]) -> None:
    """Print one JSON object whose list `key` is `items`, without ever holding all of it."""
    allow_any_letter()
    for piece in json_pieces(value, key, items):
        typer.echo(piece, nl=False)
    typer.echo()


def warn(problems: Sequence[Problem]) -> None:
    """Print what is odd in a file on standard error, so that standard output stays the answer alone."""
    allow_any_letter()
    for problem in problems[:MOST_WARNINGS]:
        typer.echo(paragraph(shown(f"Look at this again: {problem}"), 0, 2), err=True)
    if len(problems) > MOST_WARNINGS:
        typer.echo(f"and {len(problems) - MOST_WARNINGS:,} more of the kind", err=True)


def allow_any_letter() -> None:
    """A console that lacks a letter (Ω on an old code page) shows `?` there."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")


def exit_status(outcome: str) -> int:
    """0 pass, 1 fail, 3 not-proven."""
    return {"pass": 0, "fail": 1, "not-proven": 3}[outcome]
