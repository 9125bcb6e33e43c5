"""What docs/log.md and docs/wiggle.md say is what the program has."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from loomtest.bench.meter.lines import LineMeter
from loomtest.bench.meter.settings import SerialSettings, read_settings
from loomtest.bench.rehearsal.faults import read_faults
from loomtest.bench.rehearsal.meter import read_script
from loomtest.commands.log.view import KEYS
from loomtest.harness.load import load_harness
from tests.commands.in_process import loomtest

ROOT = Path(__file__).parents[3]
LOG = (ROOT / "docs" / "log.md").read_text("utf-8")
WIGGLE = (ROOT / "docs" / "wiggle.md").read_text("utf-8")
LOOM = ROOT / "sample_runs" / "orchard_tractor"


def block(language: str) -> str:
    return LOG.split(f"```{language}\n")[1].split("```")[0]


@pytest.mark.parametrize(("page", "verbs"), [(LOG, ("log", "ports")), (WIGGLE, ("wiggle",))])
def test_every_option_on_the_page_is_an_option_of_the_verb(page: str, verbs: tuple[str, ...]) -> None:
    known = "".join(loomtest(verb, "--help").stdout for verb in verbs)
    for option in set(re.findall(r"(--[a-z][a-z-]+)", page)):
        assert re.search(rf"{option}\b", known), option


def test_the_serial_table_holds_every_key_and_its_pattern_reads() -> None:
    settings = read_settings(block("toml"), "docs/log.md")
    assert settings is not None
    for key in SerialSettings.__dataclass_fields__:
        assert f"{key} = " in block("toml") or f"`{key}`" in LOG, key
    assert len(LineMeter(settings).feed(b"x\r\n0.42 ohm\r\n1.2kohm\r\nOL\r\n")) == 3


def test_the_script_and_the_faults_of_a_rehearsal_are_read(tmp_path: Path) -> None:
    script = tmp_path / "talk.txt"
    script.write_text(block("rehearsal"), "utf-8")
    assert len(read_script(script)) == 8
    loom = tmp_path / "loom"
    shutil.copytree(LOOM, loom)
    (loom / "faults.csv").write_text(block("csv"), "utf-8")
    assert len(read_faults(loom, load_harness(loom))) == 4


def test_the_scripted_lines_are_answered_as_the_page_shows(tmp_path: Path) -> None:
    import subprocess
    import sys

    shown = LOG.split("$ printf '")[1].split("```")[0]
    lines = shown.split("'")[0].encode().decode("unicode_escape")
    answers = shown.split("\n", 1)[1]
    command = [sys.executable, "-m", "loomtest", "log", str(LOOM), "--out", str(tmp_path / "run")]
    done = subprocess.run(command, input=lines, capture_output=True, text=True, check=True)
    assert done.stdout == answers


def test_every_key_of_the_session_is_in_the_table() -> None:
    for letter in re.findall(r"· ([a-z]) ", KEYS):
        assert f"| `{letter}` |" in LOG, letter
