"""docs/evidence.md: every command in it is run, and prints what stands there.

Names, dates and digests are other ones each time; they are made alike on both sides.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

from tests.commands.in_process import loomtest
from tests.documents import ROOT

PAGE = ROOT / "docs" / "evidence.md"


def conversations() -> list[tuple[str, str]]:
    """(command, what is shown below it) of every console block, in order."""
    found = []
    for block in re.findall(r"```console\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL):
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            command, _, shown = part.partition("\n")
            found.append((command, shown))
    return found


def alike(text: str) -> str:
    """The text with what changes from run to run made the same."""
    text = re.sub(r"\b[0-9a-f]{64}\b", "0" * 64, text)
    text = re.sub(r"\b[A-Z2-7]{4}(-[A-Z2-7]{4}){5}\b", "-".join(["AAAA"] * 6), text)
    text = re.sub(r"\b\d{8}-\d{6}-", "20261125-101500-", text)
    text = re.sub(r"-[0-9a-f]{8}\b(?!-)", "-1a2b3c4d", text)
    return re.sub(r"\b[0-9a-f]{4}(-[0-9a-f]{4}){3}\b", "0000-0000-0000-0000", text)


def played(command: str, folder: Path) -> str:
    if command.startswith("loomtest ") and not re.search(r"[$>*|]", command):
        done = loomtest(*shlex.split(command)[1:], cwd=folder)
        assert done.returncode == 0, done.stderr
        return done.stdout
    shell = subprocess.run(
        ["sh", "-c", f'loomtest() {{ "$PYTHON" -m loomtest "$@"; }}\n{command}'],
        cwd=folder,
        env={**os.environ, "PYTHON": sys.executable, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert shell.returncode == 0, (command, shell.stderr)
    return shell.stdout


def missing_tool(command: str) -> bool:
    return any(tool in command and shutil.which(tool) is None for tool in ("openssl", "sha256sum"))


def test_every_command_of_the_page_prints_what_stands_there(tmp_path: Path) -> None:
    (tmp_path / "sample_runs").symlink_to(ROOT / "sample_runs", target_is_directory=True)
    commands = conversations()
    assert len(commands) >= 12
    for command, shown in commands:
        # Not every system has them; where CI is set (.ci/run sets it) a missing one is a failure.
        if missing_tool(command) and not os.environ.get("CI"):
            continue
        said = alike(played(command, tmp_path))
        if shown:
            assert said == shown, command
        elif not command.endswith(".json"):
            assert "Fishing launch" in said, command


def test_the_page_says_what_a_signature_does_not_prove() -> None:
    text = PAGE.read_text("utf-8")
    for words in ("does **not** prove", "when it was", "that the vehicle is safe", "second disk"):
        assert words in text
