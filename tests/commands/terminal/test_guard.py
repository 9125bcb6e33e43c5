"""Whatever ends the program, its status is that of a verdict only where there is one."""

from __future__ import annotations

import shlex
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import pytest

from tests.tools import need

JUDGE = "judge wires.csv readings.csv"
REPEATS = 100  # of each kind, by `python -m tests.commands.terminal.test_guard`; the suite does fewer


def loom(folder: Path, value: str = "0.3", count: int = 40) -> None:
    """A loom whose wire 7 reads `value`; every pair of circuits was checked, so that 0.3 passes."""
    wires = [f"X1:{k},X2:{k}" for k in range(count)]
    (folder / "wires.csv").write_text("\n".join(["from,to", *wires, ""]))
    rows = [f"X1:{k},X2:{k},{value if k == 7 else 0.3}" for k in range(count)]
    rows += [f"X1:{a},X1:{b},OL" for a in range(count) for b in range(a)]
    rows += [f"X1:{a},X2:7,OL" for a in range(count) if a != 7] if value == "OL" else []
    (folder / "readings.csv").write_text("\n".join(["from,to,value", *rows, ""]))


def shell(command: str, folder: Path) -> subprocess.CompletedProcess[str]:
    bash = need("bash", "bash")
    program = shlex.join([sys.executable, "-m", "loomtest"])
    return subprocess.run(
        [bash, "-c", f"loomtest() {{ {program} \"$@\"; }}; {command}"],
        cwd=folder, capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip


def into_head(folder: Path, times: int) -> dict[str, int]:
    """How often `judge | head` ended with each status, over both kinds of output and sizes of the head."""
    ways = [f"loomtest {JUDGE} {more} | head -{lines}" for more in ("", "--json") for lines in ("c 1", "n 1")]
    command = "; ".join(f"{ways[n % 4]} >/dev/null; echo ${{PIPESTATUS[0]}}" for n in range(times))
    statuses = shell(command, folder).stdout.split()
    return {status: statuses.count(status) for status in sorted(set(statuses))}


@pytest.mark.parametrize(("value", "status"), [("0.3", "0"), ("OL", "1")])
def test_judge_into_head_ends_with_the_verdict_every_time(tmp_path: Path, value: str, status: str) -> None:
    loom(tmp_path, value)
    assert into_head(tmp_path, 4) == {status: 4}


@pytest.mark.parametrize(
    ("redirection", "status"),
    [
        (">&-", 0),  # closed before it began: the next file must not get its number
        ("2>&-", 0),
        ("<&-", 0),
        (">&- 2>&- <&-", 0),
        ("2>/dev/full", 0),
        (">/dev/full", 2),
    ],
)
def test_streams_that_are_closed_or_full(tmp_path: Path, redirection: str, status: int) -> None:
    loom(tmp_path)
    readings = (tmp_path / "readings.csv").read_bytes()
    assert shell(f"loomtest {JUDGE} {redirection}", tmp_path).returncode == status
    assert shell(f"loomtest judge none.csv readings.csv {redirection}", tmp_path).returncode == 2
    assert (tmp_path / "readings.csv").read_bytes() == readings


def test_a_message_that_nobody_reads_is_still_status_2(tmp_path: Path) -> None:
    command = "loomtest judge none.csv none.csv 2> >(exec <&-; true)"
    assert shell(f"sleep 0.1; {command}", tmp_path).returncode == 2


def test_warnings_that_nobody_reads_leave_the_verdict(tmp_path: Path) -> None:
    loom(tmp_path)
    with (tmp_path / "readings.csv").open("a") as more:
        more.writelines(f"X1:{n},X2:{n},OL\n" for n in range(100, 140))  # each draws a warning
    command = [sys.executable, "-m", "loomtest", *JUDGE.split()]
    done = subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    assert done.stderr is not None
    done.stderr.close()
    assert done.wait(60) == 0


ENDED = """
import os, signal, sys, time
import loomtest.harness.load as load
def slow(path):
    print("reading", flush=True)
    time.sleep(60)
load.load_harness = slow
from loomtest.commands import main
sys.argv = ["loomtest", "judge", "wires.csv", "readings.csv"]
main()
"""


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_asked_to_end_it_ends_with_130_and_one_sentence(tmp_path: Path, name: str) -> None:
    loom(tmp_path)
    program = subprocess.Popen(
        [sys.executable, "-c", ENDED], cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert program.stdout is not None and program.stdout.readline() == "reading\n"
    time.sleep(0.2)  # else the word that was just read may not be written off yet
    program.send_signal(getattr(signal, name))
    said, error = program.communicate(timeout=30)
    assert program.returncode == 130 and said == ""
    assert error == "loomtest: interrupted; what was recorded is safe on disk\n"


def test_what_the_caller_ignores_is_ignored(tmp_path: Path) -> None:
    loom(tmp_path)
    program = subprocess.Popen(
        [sys.executable, "-c", ENDED.replace("sleep(60)", "sleep(1)\n    sys.exit(9)")],
        cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        preexec_fn=lambda: signal.signal(signal.SIGHUP, signal.SIG_IGN),
    )  # fmt: skip
    assert program.stdout is not None and program.stdout.readline() == "reading\n"
    program.send_signal(signal.SIGHUP)
    _, error = program.communicate(timeout=30)
    assert (program.returncode, error) == (2, "")  # whatever calls exit by itself is no verdict either


def test_a_broken_pipe_anywhere_is_no_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from tests.commands.in_process import loomtest

    def broken(*_: object) -> None:
        raise BrokenPipeError(32, "Broken pipe")

    loom(tmp_path)
    monkeypatch.setattr("loomtest.readings.together.load_together", broken)
    assert loomtest(*JUDGE.split(), cwd=tmp_path).returncode == 2


def main() -> None:
    """`judge | head` so many times, of a right loom and of a faulty one."""
    import tempfile

    for value in ("0.3", "OL"):
        with tempfile.TemporaryDirectory() as name:
            loom(Path(name), value)
            counts: Counter[str] = Counter()
            for _ in range(REPEATS // 4):
                counts.update(into_head(Path(name), 4))
            print(f"{value}: {dict(counts)}", flush=True)


if __name__ == "__main__":
    main()
