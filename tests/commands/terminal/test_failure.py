"""A mistake of the program's own ends with 2, one message and a file, and never looks like a verdict."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.commands.in_process import loomtest


@pytest.mark.parametrize(
    "error", [ValueError("max() of an empty sequence"), AssertionError(), RecursionError()]
)
def test_an_unexpected_error_is_no_verdict(
    error: Exception, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "wires.csv").write_text("from,to\nX1:1,X2:1\n")
    (tmp_path / "readings.csv").write_text("from,to,value\nX1:1,X2:1,0.3\n")
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))

    def broken(*_: object) -> None:
        raise error

    monkeypatch.setattr("loomtest.readings.together.load_together", broken)
    done = loomtest("judge", "wires.csv", "readings.csv", cwd=tmp_path)
    assert done.returncode == 2
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 1
    assert "Traceback" not in done.stderr
    named = re.search(r"Details are in (\S+):", done.stderr)
    assert named is not None
    kept = Path(named[1]).read_text()
    assert "Traceback" in kept and "judge wires.csv readings.csv" in kept


def test_a_folder_that_cannot_be_written_is_no_second_failure(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "gone"))
    monkeypatch.setattr("loomtest.harness.load.load_harness", lambda *_: 1 / 0)
    done = loomtest("check", "wires.csv", cwd=tmp_path)
    assert done.returncode == 2
    assert "ZeroDivisionError" in done.stderr and "Details" not in done.stderr
