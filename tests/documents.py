"""Runs what a document shows: files to type, commands to run, and what the program prints.

In a document, an HTML comment says what the fenced block behind it is:

    <!-- file: wires.csv -->            the block is the file; it is written first
    <!-- run: loomtest check wires.csv (exit 0) -->   the block is what the command prints
    <!-- run: python five.py -->        likewise, of a script that the document shows

    python tests/documents.py docs/first-test.md      writes what the program prints now into the document
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]
_BLOCK = re.compile(r"<!-- (file|run): (.+?)(?: \(exit (\d+)\))? -->\n+```\w*\n(.*?)```", re.DOTALL)


@dataclass(frozen=True)
class Block:
    """A fenced block and what its comment says: `kind` file or run; `text` between the fences."""

    kind: str
    what: str
    status: int
    text: str
    span: tuple[int, int]


def blocks(document: Path) -> list[Block]:
    """The marked blocks of a document in their order."""
    text = document.read_text(encoding="utf-8")
    return [Block(m[1], m[2], int(m[3] or 0), m[4], (m.start(4), m.end(4))) for m in _BLOCK.finditer(text)]


def printed(document: Path, folder: Path) -> Iterator[tuple[Block, int, str]]:
    """Play the document in an empty folder: every run block with its exit status and what it printed.

    `sample_runs` of the repository is there by name, as it is for a reader in a fresh clone.
    """
    samples = folder / "sample_runs"
    if not samples.exists():
        samples.symlink_to(ROOT / "sample_runs", target_is_directory=True)
    for block in blocks(document):
        if block.kind == "file":
            path = folder / block.what
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(block.text, encoding="utf-8")
            continue
        yield block, *run(block.what, folder)


def run(command: str, folder: Path) -> tuple[int, str]:
    """Exit status and output of a `loomtest ...` or `python FILE` line (no shell), without colour."""
    program, *arguments = shlex.split(command)
    assert program in ("loomtest", "python"), command
    environment = {**os.environ, "NO_COLOR": "1", "PYTHONIOENCODING": "utf-8", "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, *(["-m", "loomtest"] if program == "loomtest" else []), *arguments],
        cwd=folder,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        timeout=300,
        check=False,
    )
    return done.returncode, done.stdout.decode("utf-8")


def play(command: str, folder: Path) -> tuple[int, str]:
    """As `run`, in this process: quicker, for the tests of a verb."""
    from tests.commands.in_process import loomtest

    program, *arguments = shlex.split(command)
    assert program == "loomtest", command
    done = loomtest(*arguments, cwd=folder)
    return done.returncode, done.stdout + done.stderr


def rewrite(document: Path) -> None:
    """Put what the program prints now into the document, and its exit status into the comment."""
    text = document.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder:
        for block, status, output in reversed(list(printed(document, Path(folder)))):
            if status != block.status:
                print(f"{document}: {block.what} ended with {status}, not {block.status}")
            start, end = block.span
            text = text[:start] + output + text[end:]
    document.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    for name in sys.argv[1:]:
        rewrite(Path(name))
