"""docs/reliability.md: every attack of its table names the tests that hold it, and they are there."""

from __future__ import annotations

import ast
import re
from pathlib import Path

ROOT = Path(__file__).parents[2]


def rows() -> list[list[str]]:
    """The cells of the table's rows, those that only part it left out."""
    text = (ROOT / "docs" / "reliability.md").read_text("utf-8")
    table = text.split("## Attack by attack")[1].split("\n## ")[0]
    lines = [line for line in table.splitlines() if line.startswith("| ")][2:]
    cells = [[cell.strip() for cell in line.strip("|").split(" | ")] for line in lines]
    return [row for row in cells if not row[0].startswith("**")]


def test_every_row_has_a_test_and_every_test_is_there() -> None:
    found = rows()
    assert len(found) >= 30 and all(len(row) == 4 and all(row) for row in found), found
    for attack, _, _, held in found:
        named = re.findall(r"`(tests/\S+\.py)::(test_\w+)`", held)
        assert named and held == ", ".join(f"`{file}::{name}`" for file, name in named), attack
        for file, name in named:
            tree = ast.parse((ROOT / file).read_text("utf-8"))
            functions = {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}
            assert name in functions, f"{attack}: {file} has no {name}"
