"""Faults of the machine, each done for real and looked at afterwards.

Every injection gets an empty folder and a source of chance, does one fault, and returns what came of it.
`test_injections.py` does each a few times, `figures.py` many times.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from loomtest.harness.load import load_harness
from loomtest.readings.load import load_readings
from tests.faults import kill_log
from tests.faults.disks import Before, read_only, small_disk

ROOT = Path(__file__).parents[2]
TRACTOR = ROOT / "sample_runs" / "orchard_tractor"
_FRESH = {**os.environ, "MPLBACKEND": "Agg", "NO_COLOR": "1"}


@dataclass
class Outcome:
    """`lost`: readings acknowledged and not in the file afterwards. `wrong`: verdicts or values that differ.
    `problems`: anything else that should not be (a traceback, a half file that passes for a whole one).
    """

    injected: int = 1
    lost: int = 0
    wrong: int = 0
    problems: list[str] = field(default_factory=list)

    def expect(self, good: bool, what: str) -> None:
        if not good:
            self.problems.append(what)


def program(*arguments: str | Path) -> list[str]:
    return [sys.executable, "-m", "loomtest", *map(str, arguments)]


def run(*arguments: str | Path, typed: str = "", before: Before = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        program(*arguments), input=typed, capture_output=True, text=True, check=False, cwd=ROOT,
        preexec_fn=before, env=_FRESH, timeout=120,
    )  # fmt: skip


_SEEN: dict[str, object] = {}


def verdict_of(readings: Path) -> object:
    """The verdict object of the tractor's readings, in a process of its own; the right one is kept."""
    said = run("judge", TRACTOR, readings, "--json")
    return json.loads(said.stdout) if said.stdout else said.stderr


def right_verdict() -> object:
    if "right" not in _SEEN:
        _SEEN["right"] = verdict_of(TRACTOR / "1_before")
    return _SEEN["right"]


def _copy_of_run(folder: Path) -> Path:
    place = folder / "run"
    shutil.copytree(TRACTOR / "1_before", place)
    return place


def _bytes_of(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != "run.lock"
    }


def _plain_message(out: Outcome, done: subprocess.CompletedProcess[str], status: int) -> None:
    out.expect(done.returncode == status, f"status {done.returncode}, not {status}: {done.stderr[-300:]}")
    out.expect("Traceback" not in done.stderr, f"a traceback: {done.stderr[-300:]}")
    out.expect(done.stderr.startswith("loomtest:"), f"no message: {done.stderr[:300]}")


# Recording --------------------------------------------------------------------------------------------------


def log_killed(folder: Path, chance: random.Random) -> Outcome:
    """SIGKILL at a random moment while lines are typed, or a scripted meter sends."""
    problem = kill_log.one_kill(folder, chance, meter=chance.random() < 0.2)
    return Outcome(lost=int(problem.startswith("row ")), problems=[problem] if problem else [])


def log_asked_to_end(folder: Path, chance: random.Random) -> Outcome:
    """Ctrl-C or SIGTERM at a random moment while lines are typed as fast as they are answered."""
    (folder / "wires.csv").write_text(kill_log.WIRES, "utf-8")
    process = subprocess.Popen(
        kill_log.command(folder, "--by-hand"), stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, text=True, bufsize=1,
    )  # fmt: skip
    assert process.stdin and process.stdout and process.stderr
    process.stdin.write(kill_log.typed(0) + "\n")
    answers = [process.stdout.readline()]
    end = time.monotonic() + chance.uniform(0.0, 0.3)
    number = 1
    try:
        while answers[-1].endswith("\n"):
            if time.monotonic() > end:
                process.send_signal(chance.choice([signal.SIGINT, signal.SIGTERM]))
                end += 1e9
            process.stdin.write(kill_log.typed(number) + "\n")
            answers.append(process.stdout.readline())
            number += 1
    except BrokenPipeError:
        pass
    with suppress(BrokenPipeError):  # what was typed and never taken
        process.stdin.close()
    status, said = process.wait(20), process.stderr.read()
    for stream in (process.stdout, process.stderr):
        stream.close()
    out = Outcome()
    out.expect(status == 130 and "Traceback" not in said, f"status {status}: {said[-300:]}")
    told = kill_log.recorded([line for line in answers if line.endswith("\n")])
    there = load_readings(folder / "run", load_harness(folder / "wires.csv"))
    values = dict(zip((there.row - 1).tolist(), there.value.tolist(), strict=True))
    out.lost = sum(values.get(row) != float(value) for row, (_, _, value) in told.items())
    out.expect('status = "stopped"' in (folder / "run" / "run.toml").read_text("utf-8"), "no end in run.toml")
    return out


def log_on_a_full_disk(folder: Path, chance: random.Random) -> Outcome:
    """A disk that fills while a run is recorded: a tmpfs of some 40 kB."""
    out = Outcome()
    (folder / "wires.csv").write_text(kill_log.WIRES, "utf-8")
    lines = "".join(kill_log.typed(n) + " " + "x" * 200 + "\n" for n in range(400))
    with small_disk(folder / "disk", chance.randrange(24, 56, 4)) as before:
        wires, place = folder / "wires.csv", folder / "disk" / "run"
        done = run("log", wires, "--out", place, "--by-hand", typed=lines, before=before)
        _plain_message(out, done, 2)
        told = kill_log.recorded(done.stdout.splitlines(keepends=True))
        out.expect(0 < len(told) < 400, f"{len(told)} lines recorded: the disk was not full in between")
        there = load_readings(place, load_harness(wires))
        values = dict(zip((there.row - 1).tolist(), there.value.tolist(), strict=True))
        out.lost = sum(values.get(row) != float(value) for row, (_, _, value) in told.items())
        out.wrong = len(values) - len(told)
    return out


def log_into_a_folder_that_vanishes(folder: Path, chance: random.Random) -> Outcome:
    """The run's folder is moved away, or deleted, while it is recorded into."""
    out, (wires, place) = Outcome(), (folder / "wires.csv", folder / "run")
    wires.write_text(kill_log.WIRES, "utf-8")
    process = subprocess.Popen(
        kill_log.command(folder, "--by-hand"), stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, text=True, bufsize=1,
    )  # fmt: skip
    assert process.stdin and process.stdout
    answers = []
    for number in range(count := chance.randrange(1, 6)):
        process.stdin.write(kill_log.typed(number) + "\n")
        answers.append(process.stdout.readline())
    moved = chance.random() < 0.5
    place.rename(folder / "elsewhere") if moved else shutil.rmtree(place)
    said, error = process.communicate(kill_log.typed(30) + "\n", timeout=30)
    out.expect("recorded" not in said, "a reading was acknowledged into a folder that is gone")
    out.expect(process.returncode == 2 and "is gone" in error and "Traceback" not in error, error[-300:])
    if moved:
        there = load_readings(folder / "elsewhere", load_harness(wires))
        out.lost = count - len(there)
    return out


def log_resumed_on_a_write_protected_card(folder: Path, chance: random.Random) -> Outcome:
    """Recording into a folder that is read-only, and judging from it."""
    out, run_folder = Outcome(), _copy_of_run(folder)
    before = _bytes_of(run_folder)
    with read_only(run_folder):
        _plain_message(out, run("log", TRACTOR, "--out", run_folder, "--by-hand", typed="X1:1 X2:1 0.1\n"), 2)
        out.wrong = int(verdict_of(run_folder) != right_verdict())
    out.lost = int(_bytes_of(run_folder) != before)
    return out


def clock_set_back(folder: Path, chance: random.Random) -> Outcome:
    """The computer's clock jumps back an hour, and forward again, while a run is recorded."""
    from tests.tools import need

    need("faketime", "faketime")
    out, (wires, clock) = Outcome(), (folder / "wires.csv", folder / "clock")
    wires.write_text(kill_log.WIRES, "utf-8")
    clock.write_text("+0", "ascii")
    library = next(Path("/usr/lib").glob("*/faketime/libfaketime.so.1"))
    faked = {**_FRESH, "LD_PRELOAD": str(library), "FAKETIME_TIMESTAMP_FILE": str(clock),
             "FAKETIME_NO_CACHE": "1", "FAKETIME_DONT_FAKE_MONOTONIC": "1"}  # fmt: skip
    process = subprocess.Popen(
        kill_log.command(folder, "--by-hand"), stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        bufsize=1, env=faked,
    )  # fmt: skip
    assert process.stdin and process.stdout
    told = []
    for number in range(9):
        if number % 3 == 0:
            clock.write_text(["+0", "-3600", chance.choice(["+0", "+7200"])][number // 3], "ascii")
        process.stdin.write(kill_log.typed(number) + "\n")
        told.append(process.stdout.readline())
    process.stdin.close()
    out.expect(process.wait(20) == 0, f"status {process.returncode}")
    process.stdout.close()
    there = load_readings(folder / "run", load_harness(wires))
    out.lost = len(kill_log.recorded(told)) - len(there)
    out.wrong = int(there.value.tolist() != [float(kill_log.typed(n).split()[2]) for n in range(9)])
    times = [there.times[n] for n in range(9)]
    out.expect(len(told) == 9 and times != sorted(times), f"the clock did not go back: {times}")
    out.expect(not there.warnings, f"{there.warnings}")
    return out


# Keeping, judging, reporting --------------------------------------------------------------------------------


def _ended(arguments: list[str | Path], chance: random.Random, usual_s: float) -> tuple[int, str, str]:
    """Status, output and messages of the program, told to end (or killed) at a random moment."""
    process = subprocess.Popen(
        program(*arguments), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT, env=_FRESH
    )
    time.sleep(chance.uniform(0.0, usual_s))
    process.send_signal(chance.choice([signal.SIGINT, signal.SIGTERM, signal.SIGKILL]))
    said, error = process.communicate(timeout=60)
    return process.returncode, said, error


USUAL_S = {"keep": 2.0, "judge": 1.0, "report": 1.6}  # on an idle machine; figures.py measures them first


def measure_usual(folder: Path) -> None:
    """How long the commands take here and now, so that the moments fall on all of their work."""
    for name, arguments in (
        ("keep", ["--rehearsal", "--archive", folder / "kept"]),
        ("judge", ["--json"]),
        ("report", ["--out", folder / "page"]),
    ):
        harness = [] if name == "keep" else [TRACTOR]
        began = time.perf_counter()
        run(name, *harness, TRACTOR / "1_before", *arguments)
        USUAL_S[name] = time.perf_counter() - began


def keep_ended(folder: Path, chance: random.Random) -> Outcome:
    """`keep` interrupted at a random moment: the archive has the whole bag or none of it."""
    out, archive = Outcome(), folder / "archive"
    before = _bytes_of(TRACTOR / "1_before")
    status, said, error = _ended(
        ["keep", TRACTOR / "1_before", "--rehearsal", "--archive", archive], chance, USUAL_S["keep"]
    )
    out.expect("Traceback" not in error, f"a traceback: {error[-300:]}")
    out.lost = int(_bytes_of(TRACTOR / "1_before") != before)
    again = run("keep", TRACTOR / "1_before", "--rehearsal", "--archive", archive)
    out.expect(again.returncode == 0, f"it does not go on: {again.stderr[-300:]}")
    checked = run("verify", "--archive", archive)
    out.expect(checked.returncode == 0, f"verify: {checked.stdout[-300:]}{checked.stderr[-300:]}")
    bags = checked.stdout.count("good ")
    out.expect(bags == 2 or (bags == 1 and "tag" not in said), f"{bags} bags, after status {status}: {said}")
    return out


def judge_ended(folder: Path, chance: random.Random) -> Outcome:
    """`judge` interrupted at a random moment: no verdict, or the right one; the run is as it was."""
    out, run_folder = Outcome(), _copy_of_run(folder)
    before, right = _bytes_of(run_folder), right_verdict()
    status, said, error = _ended(["judge", TRACTOR, run_folder, "--json"], chance, USUAL_S["judge"])
    out.expect("Traceback" not in error, f"a traceback: {error[-300:]}")
    out.lost = int(_bytes_of(run_folder) != before)
    out.expect(status in (1, 130, -signal.SIGINT, -signal.SIGTERM, -signal.SIGKILL), f"status {status}")
    if status == 1:
        out.wrong = int(json.loads(said) != right)
    return out


def report_ended(folder: Path, chance: random.Random) -> Outcome:
    """`report` interrupted at a random moment: no page, or a whole one."""
    out, run_folder = Outcome(), _copy_of_run(folder)
    before = _bytes_of(run_folder)
    status, _, error = _ended(
        ["report", TRACTOR, run_folder, "--out", folder / "out"], chance, USUAL_S["report"]
    )
    out.expect("Traceback" not in error, f"status {status}, a traceback: {error[-300:]}")
    out.lost = int(_bytes_of(run_folder) != before)
    page = folder / "out" / "report.html"
    if page.exists():
        out.wrong = int(not page.read_text("utf-8").rstrip().endswith("</html>"))
    return out


def report_on_a_full_disk(folder: Path, chance: random.Random) -> Outcome:
    """`report` onto a disk of a few kilobytes: one message, and no half page."""
    out = Outcome()
    with small_disk(folder / "disk", chance.randrange(8, 64, 8)) as before:
        place = folder / "disk" / "report"
        _plain_message(out, run("report", TRACTOR, TRACTOR / "1_before", "--out", place, before=before), 2)
        page = place / "report.html"
        out.wrong = int(page.exists() and not page.read_text("utf-8").rstrip().endswith("</html>"))
    return out


def keep_on_a_full_disk(folder: Path, chance: random.Random) -> Outcome:
    """`keep` into an archive on a disk that is nearly full: what was kept before is untouched."""
    out = Outcome()
    with small_disk(folder / "disk", chance.randrange(16, 120, 8)) as before:
        archive = folder / "disk" / "archive"
        _plain_message(
            out, run("keep", TRACTOR / "1_before", "--rehearsal", "--archive", archive, before=before), 2
        )
        out.wrong = len([path for path in archive.glob("2*") if path.is_dir()])
    return out


def verdict_to_a_full_disk(folder: Path, chance: random.Random) -> Outcome:
    """`judge` whose answer cannot be written is status 2, which is no verdict."""
    out = Outcome()
    with Path("/dev/full").open("w") as full:
        command = program("judge", TRACTOR, TRACTOR / "1_before", *(["--json"] * (chance.random() < 0.5)))
        done = subprocess.run(
            command, stdout=full, stderr=subprocess.PIPE, text=True, check=False, env=_FRESH, cwd=ROOT
        )
    _plain_message(out, done, 2)
    return out


def two_keepers_and_a_recorder(folder: Path, chance: random.Random) -> Outcome:
    """A run that is being recorded is not kept, and a second recorder is refused; nothing is lost."""
    out = Outcome()
    (folder / "wires.csv").write_text(kill_log.WIRES, "utf-8")
    first = subprocess.Popen(
        kill_log.command(folder, "--by-hand"), stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        bufsize=1,
    )  # fmt: skip
    assert first.stdin and first.stdout
    first.stdin.write(kill_log.typed(1) + "\n")
    first.stdout.readline()
    second = run("log", folder / "wires.csv", "--out", folder / "run", "--by-hand", typed=kill_log.typed(2))
    _plain_message(out, second, 2)
    _plain_message(out, run("keep", folder / "run", "--rehearsal", "--archive", folder / "archive"), 2)
    first.communicate(kill_log.typed(3) + "\n", timeout=20)
    there = load_readings(folder / "run", load_harness(folder / "wires.csv"))
    out.lost, out.injected = 2 - len(there), 2
    return out


INJECTIONS: dict[str, Callable[[Path, random.Random], Outcome]] = {
    "log killed": log_killed,
    "log asked to end": log_asked_to_end,
    "log, disk full": log_on_a_full_disk,
    "log, folder gone": log_into_a_folder_that_vanishes,
    "log, folder read-only": log_resumed_on_a_write_protected_card,
    "log, clock set back": clock_set_back,
    "log, two at once": two_keepers_and_a_recorder,
    "keep ended": keep_ended,
    "keep, disk full": keep_on_a_full_disk,
    "judge ended": judge_ended,
    "judge, disk full": verdict_to_a_full_disk,
    "report ended": report_ended,
    "report, disk full": report_on_a_full_disk,
}
