"""docs/many-units.md: its commands print what the page shows, on an invented shop made here.

Mend with `PYTHONPATH=. python tests/commands/test_many_units_doc.py` where the program is right and the page
is old.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from loomtest.harness.model import Expect
from tests.commands.in_process import loomtest
from tests.evidence.archive.many import HARNESS, many
from tests.looms.units import measured_units, write_loom, write_unit
from tests.scores.healthy import loom

PAGE = Path(__file__).parents[2] / "docs" / "many-units.md"
PICTURE = PAGE.parent / "pictures" / "control-chart.svg"
SHOWN = re.compile(r"<!-- shown: (loomtest .+?) -->\n```\n(.*?)```", re.DOTALL)
TRUTH = Expect(
    copper_factor=1.03,
    copper_spread_percent=1.5,
    length_spread_percent=1.5,
    joint_milliohms=0.8,
    joint_spread_milliohms=0.5,
)


def shop(folder: Path) -> None:
    """The loom's folder `tractor`, the archive of 1,200 runs, and ten runs in `runs`."""
    rng = np.random.default_rng(12)
    harness = loom(rng, 16)
    harness = replace(harness, wires=harness.wires[:-1])
    write_loom(harness, folder / "tractor", HARNESS)
    many(folder / "archive", 1200)
    for number, readings in enumerate(measured_units(harness, rng, TRUTH, 10), 1):
        started = {"started": f"2026-05-{number:02d}T10:00:00+00:00"}
        write_unit(folder / "runs" / f"{number:03d}", folder / "tractor", readings, started)


def printed(command: str, folder: Path) -> str:
    _, *arguments = shlex.split(command)
    done = loomtest(*arguments, cwd=folder)
    assert done.returncode == 0, done.stderr
    today = re.sub(r"sound units, \d{4}-\d{2}-\d{2} ", "sound units, 2026-05-20 ", done.stdout)
    return "\n".join(line.rstrip() for line in today.splitlines()) + "\n"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("shop")
    shop(folder)
    return folder


def test_the_page_shows_what_is_printed(made: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LOOMTEST_ARCHIVE", str(made / "archive"))
    blocks = SHOWN.findall(PAGE.read_text("utf-8"))
    assert [shlex.split(command)[1] for command, _ in blocks] == ["history", "yield", "expect"]
    for command, text in blocks:
        assert printed(command, made) == text, command


def test_the_three_lines_of_duckdb(made: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LOOMTEST_ARCHIVE", str(made / "archive"))
    (lines,) = re.findall(r"```python\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL)
    assert sum(bool(line) for line in lines.splitlines()) == 3
    assert "loomtest yield tractor --parquet units.parquet" in PAGE.read_text("utf-8")
    assert loomtest("yield", "tractor", "--parquet", "units.parquet", cwd=made).returncode == 0
    monkeypatch.chdir(made)
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        exec(compile(lines, "page", "exec"), {})
    table = out.getvalue()
    assert re.findall(r"bench-\d", table)[0] == "bench-3"  # whose socket of circuit 7 wears
    assert sorted(re.findall(r"bench-\d", table)) == [f"bench-{number}" for number in range(1, 6)]


def drawn(folder: Path) -> bytes:
    """The control chart of the page."""
    few = ("--bench", "bench-3", "--newest", "150", "--circuit", "W7")
    done = loomtest("yield", "tractor", *few, "--out", "plots", cwd=folder)
    assert done.returncode == 0, done.stderr
    return (folder / "plots" / "chart-1.svg").read_bytes()


def test_the_picture_of_the_page_is_what_is_drawn(made: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LOOMTEST_ARCHIVE", str(made / "archive"))
    assert drawn(made) == PICTURE.read_bytes()


def rewrite() -> None:
    """Put what the program prints now into the page, and draw its picture again."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shop(folder)
        os.environ["LOOMTEST_ARCHIVE"] = str(folder / "archive")
        text = PAGE.read_text("utf-8")
        for match in reversed(list(SHOWN.finditer(text))):
            start, end = match.span(2)
            text = text[:start] + printed(match[1], folder) + text[end:]
        PAGE.write_text(text, "utf-8")
        PICTURE.write_bytes(drawn(folder))


if __name__ == "__main__":
    rewrite()
