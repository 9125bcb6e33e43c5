"""`loomtest log` under attack: killed, interrupted, doubled, on a full disk. For 200 kills: kill_log.py."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from loomtest.harness.load import load_harness
from loomtest.readings.load import load_readings
from tests.bench.meter.test_port import Cable
from tests.faults.kill_log import METER, WIRES, command, one_kill, typed


@pytest.mark.parametrize("number", range(20))
def test_a_kill_loses_nothing_that_was_acknowledged(tmp_path: Path, number: int) -> None:
    assert one_kill(tmp_path, random.Random(number), meter=number % 4 == 3) == ""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "wires.csv").write_text(WIRES, "utf-8")
    return tmp_path


def started(folder: Path) -> subprocess.Popen[str]:
    """A program that has recorded one line and waits for the next."""
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    process = subprocess.Popen(command(folder, "--by-hand"), text=True, bufsize=1, **pipes)
    process.stdin.write(typed(0) + "\n")
    assert process.stdout.readline() == "recorded 1: X1:1 X2:1 0.0000\n"
    return process


@pytest.mark.parametrize("request_to_end", [signal.SIGINT, signal.SIGTERM])
def test_a_request_to_end_closes_the_record_and_exits_130(folder: Path, request_to_end: int) -> None:
    process = started(folder)
    process.send_signal(request_to_end)
    _, said = process.communicate(timeout=20)
    assert process.returncode == 130
    assert "interrupted; what was recorded is safe on disk" in said and "Traceback" not in said
    assert 'status = "stopped"' in (folder / "run" / "run.toml").read_text("utf-8")
    assert len(load_readings(folder / "run", load_harness(folder / "wires.csv"))) == 1


def test_the_second_program_on_a_run_folder_is_refused(folder: Path) -> None:
    first = started(folder)
    second = subprocess.run(
        command(folder), input=typed(1) + "\n", capture_output=True, text=True, check=False
    )
    assert second.returncode == 2
    assert "is being recorded by another program" in second.stderr and "Traceback" not in second.stderr
    first.communicate(typed(2) + "\n", timeout=20)
    assert first.returncode == 0
    text = (folder / "run" / "readings.csv").read_text("utf-8")
    assert "0.0001" not in text and "0.0002" in text


def test_a_torn_last_line_is_set_aside_and_never_guessed(folder: Path) -> None:
    started(folder).communicate("", timeout=20)
    readings = folder / "run" / "readings.csv"
    with readings.open("ab") as stream:
        stream.write(b"X1:2,X2:2,0.1")
    again = subprocess.run(
        command(folder), input=typed(1) + "\n", capture_output=True, text=True, check=False
    )
    assert again.stdout == "recorded 2: X1:2 X2:2 0.0001\n"
    assert b"X1:2,X2:2,0.1" in (folder / "run" / "set-aside.txt").read_bytes()
    assert readings.read_bytes().count(b"X1:2") == 1


def test_lines_that_cannot_be_recorded_are_answered_and_the_rest_goes_on(folder: Path) -> None:
    lines = "X1:1 X2:1 0.12 a note\n# remark\n\nX9:1 X2:1 0.1\nX1:2 X2:2\nX1:3 X2:3 0.42 ohm\nX1:1 X1:2 OL\n"
    done = subprocess.run(command(folder), input=lines, capture_output=True, text=True, check=False)
    answers = done.stdout.splitlines()
    assert answers[0] == "recorded 1: X1:1 X2:1 0.12 a note"
    assert answers[1].startswith("not recorded, line 4: found the point 'X9:1'; expected ")
    assert answers[2].startswith("not recorded, line 5: ")
    assert answers[3:] == ["recorded 2: X1:3 X2:3 0.42 ohm", "recorded 3: X1:1 X1:2 OL"]
    assert done.returncode == 2 and "2 of the lines" in done.stderr


def test_a_cable_pulled_in_mid_session_loses_nothing_and_the_session_goes_on(folder: Path) -> None:
    (folder / "meter.toml").write_text(METER, "utf-8")
    cable = Cable(folder / "port")
    arguments = ["--meter", str(cable.name), "--instrument", str(folder / "meter.toml")]
    process = subprocess.Popen(
        command(folder, *arguments), stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout

    def until(text: str) -> str:
        for line in process.stdout or ():
            if text in line:
                return line
        raise AssertionError(f"the program ended without {text!r}")

    def touch(value: str) -> None:
        for line in ["OL"] * 20 + [f"{value} ohm"] * 60 + ["OL"] * 20:
            cable.say(f"{line}\r\n".encode())
            time.sleep(0.03)

    until("Red lead")
    touch("0.05")
    assert until("recorded").startswith("recorded 1: ")
    cable.say(b"1")  # half a line, and then the cable is out
    cable.unplug()
    until("cable is out")
    cable.plug()
    until("the meter is back")
    touch("0.06")
    assert " 0.06 " in until("recorded 2")
    process.terminate()
    process.communicate(timeout=20)
    cable.unplug()
    assert process.returncode == 130
    readings = load_readings(folder / "run", load_harness(folder / "wires.csv"))
    assert readings.value.tolist() == [0.05, 0.06]


_FULL = """
import errno, os, sys
from loomtest.readings import appended
real, left = os.fsync, [int(sys.argv.pop(1))]
def full(file):
    left[0] -= 1
    if left[0] < 0:
        raise OSError(errno.ENOSPC, "No space left on device")
    real(file)
appended.os.fsync = full
from loomtest.commands import main
main()
"""


def test_a_full_disk_is_told_plainly_and_nothing_half_written_counts(folder: Path) -> None:
    arguments = command(folder)[3:]
    lines = "".join(typed(n) + "\n" for n in range(30))
    script = [sys.executable, "-c", _FULL, "12", *arguments]
    done = subprocess.run(script, input=lines, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "No space left on device" in done.stderr and "Traceback" not in done.stderr
    answered = done.stdout.count("recorded ")
    assert 0 < answered < 30
    readings = load_readings(folder / "run", load_harness(folder / "wires.csv"))
    assert len(readings) == answered
