"""`loomtest wiggle` and `loomtest ports` as a person and as a script meet them."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from loomtest.bench.meter.stream import StreamFile, read_stream
from loomtest.errors import InputError, RunFolderError
from tests.commands.in_process import loomtest
from tests.speed.stream import measure


def kept(path: Path, seconds: float, *, events: bool = False, separator: str = ",") -> Path:
    rng = np.random.default_rng(7)
    lines = []
    for number in range(int(seconds * 4)):
        value = f"{0.5 + 0.01 * rng.standard_normal():.2f}"
        if events and number in (100, 101, 102, 300):
            value = "OL"
        lines.append(f"{number / 4}{separator}{value}")
    path.write_text(f"time{separator}ohms\n" + "\n".join(lines) + "\n", "utf-8")
    return path


def test_no_event_is_0_and_says_how_rare_it_must_be(tmp_path: Path) -> None:
    done = loomtest("wiggle", str(kept(tmp_path / "s.csv", 300.25)))
    assert done.returncode == 0
    assert done.stdout.startswith("Steady: nothing happened in 5 min (fewer than 0.6 a minute at 95 %)\n")


def test_intermittent_is_1_with_each_event(tmp_path: Path) -> None:
    done = loomtest("wiggle", str(kept(tmp_path / "s.csv", 120.0, events=True)), "--json")
    assert done.returncode == 1
    found = json.loads(done.stdout)
    assert found["verdict"] == "intermittent"
    assert [(e["start_s"], e["samples"], e["depth_ohms"]) for e in found["events"]] == [
        (25.0, 3, "OL"),
        (75.0, 1, "OL"),
    ]


def test_too_short_is_3(tmp_path: Path) -> None:
    done = loomtest("wiggle", str(kept(tmp_path / "s.csv", 20.0)))
    assert done.returncode == 3
    assert "too short to say" in done.stdout


def test_pictures_are_written_where_asked_and_are_the_same_each_time(tmp_path: Path) -> None:
    stream = kept(tmp_path / "s.csv", 120.0, events=True)
    for out in ("a", "b"):
        loomtest("wiggle", str(stream), "--out", str(tmp_path / out))
    for name in ("wiggle.png", "wiggle.svg"):
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()
    assert "over-range" in (tmp_path / "a" / "wiggle.svg").read_text("utf-8")


@pytest.mark.parametrize(
    "arguments", [(), ("s.csv", "--meter", "loop://"), ("--meter", "loop://", "--from", "X1:1")]
)
def test_what_cannot_be_meant_is_2_with_one_message(arguments: tuple[str, ...]) -> None:
    done = loomtest("wiggle", *arguments)
    assert done.returncode == 2
    assert "found" in done.stderr and "expected" in done.stderr


def test_a_bad_line_of_a_stream_is_named(tmp_path: Path) -> None:
    path = tmp_path / "s.csv"
    path.write_text("0.0,0.5\n0.25,zero\n0.1,0.5\n", "utf-8")
    with pytest.raises(InputError) as caught:
        read_stream(path)
    assert [problem.line for problem in caught.value.problems] == [2]
    path.write_text("0.0,0.5\n0.25,0.5\n0.1,0.5\n", "utf-8")
    with pytest.raises(InputError, match="times that go forward"):
        read_stream(path)


def test_a_stream_with_semicolons_and_decimal_commas_is_read(tmp_path: Path) -> None:
    path = tmp_path / "s.csv"
    path.write_text("Zeit;Ohm\n0,0;0,51\n0,25;OL\n", "utf-8")
    time, value = read_stream(path)
    assert time.tolist() == [0.0, 0.25] and value.tolist() == [0.51, float("inf")]


def test_a_stream_file_is_never_written_over_and_a_torn_line_is_left_out(tmp_path: Path) -> None:
    path = tmp_path / "out" / "wiggle.csv"
    with StreamFile(path, "X1:1", "X2:1", 10.0) as stream:
        stream.add(10.0, 0.5)
        stream.flush_due(10.1)
        assert "0.5" not in path.read_text("utf-8").splitlines()[-1]  # it waits a quarter of a second at most
        stream.flush_due(10.3)
        assert path.read_text("utf-8").endswith("0.0000,0.5\n")
        stream.add(10.25, float("inf"))
    with path.open("a", encoding="utf-8") as torn:
        torn.write("0.5000,0")
    assert read_stream(path)[1].tolist() == [0.5, float("inf")]
    with pytest.raises(RunFolderError, match="cannot be made"):
        StreamFile(path, "X1:1", "X2:1", 0.0)


def test_a_write_that_was_interrupted_is_not_written_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(_file: int) -> None:
        raise KeyboardInterrupt

    path = tmp_path / "wiggle.csv"
    with pytest.raises(KeyboardInterrupt), StreamFile(path, "X1:1", "X2:1", 0.0) as stream:
        stream.add(0.1, 0.5)
        stream.add(0.2, 0.6)
        with monkeypatch.context() as patch:
            patch.setattr("loomtest.bench.meter.stream.os.fsync", interrupted)
            stream.flush_due(1.0)
    assert read_stream(path)[1].tolist() == [0.5, 0.6]


def test_a_port_that_is_not_there_is_2_and_named() -> None:
    done = loomtest("wiggle", "--meter", "/dev/no-such", "--from", "X1:1", "--to", "X2:1")
    assert done.returncode == 2
    assert "/dev/no-such cannot be opened" in done.stderr


@pytest.mark.parametrize("request_to_end", [signal.SIGINT, signal.SIGTERM])
def test_interrupted_is_130_and_the_stream_so_far_is_kept(tmp_path: Path, request_to_end: int) -> None:
    (tmp_path / "talk.txt").write_text("every 0.02\nmeter says 0.5 ohm\nhold 600\n", "utf-8")
    command = [sys.executable, "-m", "loomtest", "wiggle", "--meter", "rehearse:talk.txt"]
    more = ["--from", "X1:1", "--to", "X2:1", "--out", "flexed", "--quiet"]
    process = subprocess.Popen([*command, *more], cwd=tmp_path, stderr=subprocess.PIPE, text=True)
    stream, until_s = tmp_path / "flexed" / "wiggle.csv", time.monotonic() + 120.0
    while time.monotonic() < until_s and not (stream.exists() and stream.read_text("utf-8").count("\n") > 20):
        time.sleep(0.1)
    process.send_signal(request_to_end)
    _, said = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "what was recorded is safe on disk" in said and "Traceback" not in said
    assert set(read_stream(stream)[1].tolist()) == {0.5}


def test_a_stream_through_a_pseudo_terminal_is_kept_whole_and_in_order() -> None:
    found = measure(1.0, 500)  # the benchmark's own measurement, slowed down
    assert found["in the file"] == found["sent"] == 500
    assert found["in order and complete"] == 1.0


def test_ports_tells_what_answers_on_an_address() -> None:
    done = loomtest("ports", "/dev/no-such", "--ask", "--json")
    assert done.returncode == 0
    (row,) = json.loads(done.stdout)["ports"]
    assert row["port"] == "/dev/no-such" and "cannot be opened" in row["answers"]


@pytest.mark.parametrize("shown", ["OL", "\\x00\\x00\\x00\\x00"])
def test_a_meter_that_never_settles_ends_with_the_time_that_was_asked_for(shown: str, tmp_path: Path) -> None:
    (tmp_path / "talk.txt").write_text(f"every 0.02\nmeter says {shown}\nhold 60\n")
    began = time.monotonic()
    pair = ("--from", "X1:1", "--to", "X2:1")
    done = loomtest(
        "wiggle", "--meter", "rehearse:talk.txt", *pair, "--seconds", "2", "--quiet", cwd=tmp_path
    )
    assert done.returncode == 2 and "no steady value" in done.stderr
    assert time.monotonic() - began < 30


def test_values_that_cannot_be_are_told_and_the_stream_still_opens(tmp_path: Path) -> None:
    talk = "every 0.02\nmeter says 0.5 ohm\nhold 3\nmeter says -5000 ohm\nhold 0.4\nmeter says 1e200 ohm\n"
    talk += "hold 0.4\nmeter says \x1b]0;owned\x07 ohm\nhold 0.4\nmeter says 0.5 ohm\nhold 600\n"
    (tmp_path / "talk.txt").write_text(talk.replace("\x1b", "\\x1b").replace("\x07", "\\x07"), "utf-8")
    pair = ("--from", "X1:1", "--to", "X2:1", "--out", "flexed")
    done = loomtest(
        "wiggle", "--meter", "rehearse:talk.txt", *pair, "--seconds", "5", "--quiet", cwd=tmp_path
    )
    assert done.returncode == 3, done.stderr  # five seconds are too short to say anything
    assert done.stderr.count("far below zero") == 1 and "battery off" in done.stderr
    assert "\x1b" not in done.stderr + done.stdout
    assert set(read_stream(tmp_path / "flexed" / "wiggle.csv")[1].tolist()) == {0.5}
    with StreamFile(tmp_path / "s.csv", "X1:1", "X2:1", 0.0) as stream:
        for value in (-5000.0, 1e200, float("nan"), float("-inf")):
            with pytest.raises(ValueError, match="found"):
                stream.add(0.1, value)
