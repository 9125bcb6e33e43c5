"""Commands and options carry names of our own, in the words of the trade.

Some words are left alone because a mechanic would not say them of a loom, or because they promise what the
program does not do: it measures and judges, it is taught nothing.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path
from typing import Any

import typer

from loomtest.commands.app import app

ROOT = Path(__file__).parents[1]
LEFT_ALONE = {"learn", "golden", "miswire", "apply", "init", "snapshot", "case"}


def every_name(command: Any) -> list[str]:
    """The command's name, its options and arguments, and those of its verbs."""
    own = [command.name or ""]
    for parameter in command.params:
        own += [parameter.name or "", *parameter.opts, *parameter.secondary_opts]
    for verb in getattr(command, "commands", {}).values():
        own += every_name(verb)
    return own


def words(names: list[str]) -> set[str]:
    return {word for name in names for word in re.split(r"[^a-z]+", name.lower())}


def test_no_command_or_option_uses_a_word_left_alone() -> None:
    names = every_name(typer.main.get_command(app))
    assert "judge" in names and "--json" in names  # the walk reaches verbs and their options
    assert not words(names) & LEFT_ALONE


def test_the_walk_would_see_such_a_word() -> None:
    other = typer.Typer()

    @other.command()
    def probe(golden_file: str = "") -> None:
        pass

    assert words(every_name(typer.main.get_command(other))) & LEFT_ALONE == {"golden"}


def defined(source: str) -> set[str]:
    """The words of every class and function that a module defines."""
    nodes = [n.name for n in ast.walk(ast.parse(source)) if isinstance(n, ast.ClassDef | ast.FunctionDef)]
    parts = [re.sub(r"(?<=[a-z])(?=[A-Z])", "_", name) for name in nodes if not name.startswith("__")]
    return {word for name in parts for word in name.lower().split("_")}


def test_no_class_or_function_or_module_of_the_package_does_either() -> None:
    assert defined("class GoldenRun:\n    def apply_it(self): pass") & LEFT_ALONE == {"golden", "apply"}
    for path in (ROOT / "loomtest").rglob("*.py"):
        found = defined(path.read_text("utf-8")) | set(path.stem.strip("_").lower().split("_"))
        assert not found & (LEFT_ALONE - ({"init"} if path.stem == "__init__" else set())), path


def test_no_class_name_stands_twice_in_the_package() -> None:
    homes: dict[str, list[str]] = {}
    for path in sorted((ROOT / "loomtest").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ClassDef):
                homes.setdefault(node.name, []).append(path.relative_to(ROOT).as_posix())
    assert len(homes) > 150  # the walk reaches them
    assert {name: places for name, places in homes.items() if len(places) > 1} == {}


def test_every_verb_says_in_one_line_what_it_does() -> None:
    command: Any = typer.main.get_command(app)
    assert command.commands
    for name, verb in command.commands.items():
        assert verb.get_short_help_str(100).strip(), name
