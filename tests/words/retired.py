"""Words that loomtest no longer says, with what it says instead (docs/words.md)."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]

RETIRED: dict[str, str] = {
    r"[Ss]hown apart|not shown apart": "checked for a short",
    r"[Rr]ight in all that was asked": "Everything that was checked is right",
    r"\b[Bb]ad joints?\b": "poor joint",
    r"\bTo know\b": "Worth knowing",
    r"[Ww]hat may be added": "Options",
    r"\(\S+ without it": "(default …)",
    r"would do each other's work": "are swapped",
    r"\b(was|were) not stated\b|\bNo instrument was stated\b": "not given; you did not say",
    r"[Pp]ut the wires right": "move the wires to where they belong",
    r"sits? in\b(?! each)": "is in",
    r"fit as well with": "could equally be",
    r"surer verdict": "more certain answer",
    r"\bnothing flows\b": "no current can flow",
    r"within the span": "somewhere between",
    r"\bLook into\b": "Check",
    r"[Nn]ot for touching each other|not touching each other": "for shorts",
    r"Nothing is said about": "were not checked",
    r"\bEnter leaves it out\b": "Enter skips this",
    r"apart in between": "lifting in between",
    r"\btaken, lift\b": "recorded – lift the probes",
    r"an answer too": "press Enter to skip any",
    r"Have you notes": "file name of your wire notes",
    r"No word of progress": "Hide progress messages",
    r"judged the same again": "judged again, same result",
    r"then stands in": "is now in",
    r"of no make\b": "an invented …",
    r"puts? a word to": "names",
    r"what they have and it has not": "",
    r"\bsurer\b": "more certain",
    r"\bnets?\b": "circuit",
    r"\bexchange(d)? the leads\b": "swap the leads",
    r"\bmended,": "once fixed,",
    r"\bmeanwhile\b": "while you do",
    r"\bwhere more than .* is wanted\b": "",
    r"\blikeliest\b": "most likely",
    r"\be\+0\d": "a number without an exponent",
}

MOST_WORDS = 34  # in one sentence; past it a reader at the bench has forgotten its start


def sentences_in_code(path: Path) -> Iterator[tuple[int, str]]:
    """(line, text) of every string of a module that a person could read: no docstring, at least two words."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    docstrings = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    inside: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            inside.update(id(part) for part in ast.walk(node) if part is not node)
            parts = [part.value if isinstance(part, ast.Constant) else "…" for part in node.values]
            yield node.lineno, "".join(map(str, parts))
    for node in ast.walk(tree):
        if not isinstance(node, ast.Constant) or not isinstance(node.value, str):
            continue
        if id(node) not in docstrings | inside and len(node.value.split()) > 1:
            yield node.lineno, node.value


def found_in(text: str) -> list[str]:
    """The retired patterns that a text holds."""
    return [pattern for pattern in RETIRED if re.search(pattern, text)]
