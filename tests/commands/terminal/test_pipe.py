"""A reader who closes the pipe early does not change what the exit status says of the loom."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest


@pytest.mark.parametrize(("value", "status"), [("0.3", 0), ("OL", 1)])
@pytest.mark.parametrize("more", [[], ["--json"]])
def test_a_closed_pipe_leaves_the_verdict_s_status(
    value: str, status: int, more: list[str], tmp_path: Path
) -> None:
    count = 60
    wires = [f"X1:{k},X2:{k}" for k in range(count)]
    (tmp_path / "wires.csv").write_text("\n".join(["from,to", *wires, ""]))
    rows = [f"X1:{k},X2:{k},{value if k == 7 else 0.3}" for k in range(count)]
    rows += [f"X1:{a},X1:{b},OL" for a in range(count) for b in range(a)]
    rows += [f"X1:{a},X2:7,OL" for a in range(count) if a != 7] if value == "OL" else []
    (tmp_path / "readings.csv").write_text("\n".join(["from,to,value", *rows, ""]))
    command = [sys.executable, "-m", "loomtest", "judge", "wires.csv", "readings.csv", *more]
    with subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as program:
        assert program.stdout is not None and program.stderr is not None
        program.stdout.close()  # as `| true` does, before anything was read
        said = program.stderr.read()
        assert program.wait(60) == status, said
    assert said == b""
