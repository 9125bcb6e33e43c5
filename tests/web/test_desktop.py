"""The file to double-click, and what the document of the bench page tells to type."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import typer

from loomtest.commands.app import app
from loomtest.web.desktop import launcher

ROOT = Path(__file__).parents[2]


def test_the_file_for_this_system_starts_the_page_of_a_folder_with_any_name(tmp_path: Path) -> None:
    folder = tmp_path / 'it\'s a $loom & "more"'
    folder.mkdir()
    seen = tmp_path / "seen.py"
    seen.write_text("import sys\nprint(sys.argv[-1])\n")
    name, text = launcher("darwin", Path(sys.executable), folder)
    assert name.endswith(".command")
    script = tmp_path / "run.command"
    script.write_text(text.replace("-m loomtest bench", str(seen)))  # what it passes on, by a real shell
    done = subprocess.run(["sh", str(script)], capture_output=True, text=True, check=True)
    assert done.stdout == f"{folder}\n"


def test_the_windows_file_keeps_percent_signs_and_spaces() -> None:
    name, text = launcher("win32", Path(r"C:\Users\a b\py.exe"), Path(r"C:\looms\50% done"))
    assert name == "Loom bench.cmd"
    assert '"C:\\Users\\a b\\py.exe" -m loomtest bench "C:\\looms\\50%% done"' in text


def test_the_linux_entry_quotes_what_its_specification_reserves() -> None:
    _, text = launcher("linux", Path("/usr/bin/python3"), Path("/home/a/50% $x"))
    (line,) = [line for line in text.splitlines() if line.startswith("Exec=")]
    assert line == 'Exec="/usr/bin/python3" -m loomtest bench "/home/a/50%% \\\\$x"'


COMMANDS = re.findall(
    r"^    (loomtest bench.*)$|`(loomtest bench[^`]*)`", (ROOT / "docs/bench.md").read_text(), re.M
)


@pytest.mark.parametrize("line", sorted({one or other for one, other in COMMANDS}))
def test_every_command_of_the_document_is_one(line: str) -> None:
    group: Any = typer.main.get_command(app)
    group.commands["bench"].make_context("bench", shlex.split(line)[2:])  # raises on what it does not know
