"""Kills `loomtest log` at random moments and looks at what is left.

Run it: python -m tests.faults.kill_log [TIMES]

Three sittings of four are typed lines, one is a scripted meter. Of each, every reading that was acknowledged
before the kill must be in the file, in order; nothing else may be, but for the one that was on disk when the
kill came before its answer; and the run must go on.
"""

from __future__ import annotations

import csv
import random
import re
import signal
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from pathlib import Path

WIRES = "wire,from,to\n" + "".join(f"W{n},X1:{n},X2:{n}\n" for n in range(1, 41))
METER = """name = "test meter"
method = "four-wire"
[[range]]
up_to_ohms = 1000.0
percent = 0.1
counts = 2
resolution_ohms = 0.01
"""
# Two values a contact: touches of 1.3 s, a hundred of them, forty values a second.
TOUCHES = "every 0.025\n" + "meter says OL\nhold 0.6\nmeter says 0.{:02d} ohm\nhold 1.3\n" * 60


def command(folder: Path, *more: str) -> list[str]:
    wires, out = str(folder / "wires.csv"), str(folder / "run")
    return [sys.executable, "-m", "loomtest", "log", wires, "--out", out, *more]


def typed(number: int) -> str:
    return f"X1:{number % 40 + 1} X2:{number % 40 + 1} 0.{number:04d}"


def by_hand(folder: Path, delay_s: float) -> list[str]:
    """Type lines as fast as they are answered, kill after `delay_s` from the first answer; the answers."""
    process = subprocess.Popen(
        command(folder, "--by-hand"), stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1
    )
    assert process.stdin and process.stdout
    process.stdin.write(typed(0) + "\n")
    answers = [process.stdout.readline()]
    killer = subprocess.Popen([sys.executable, "-c", _KILLER, str(process.pid), str(delay_s)])
    number = 1
    try:
        while answers[-1].endswith("\n"):
            process.stdin.write(typed(number) + "\n")
            answers.append(process.stdout.readline())
            number += 1
    except BrokenPipeError:
        pass
    process.wait()
    killer.wait()
    process.stdout.close()
    with suppress(BrokenPipeError):
        process.stdin.close()
    return [answer for answer in answers if answer.endswith("\n")]


_KILLER = f"import os,sys,time; time.sleep(float(sys.argv[2])); os.kill(int(sys.argv[1]), {signal.SIGKILL:d})"


def by_meter(folder: Path, delay_s: float) -> list[str]:
    """A scripted meter, killed after `delay_s` from the first prompt; what was printed."""
    (folder / "meter.toml").write_text(METER, "utf-8")
    touches = (TOUCHES.replace("{:02d}", f"{n:02d}") for n in range(1))
    (folder / "talk.txt").write_text("".join(touches), "utf-8")
    more = ["--meter", f"rehearse:{folder / 'talk.txt'}", "--instrument", str(folder / "meter.toml")]
    process = subprocess.Popen(
        command(folder, *more), stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout
    line = ""
    while "Red lead" not in line:
        line = process.stdout.readline()
    time.sleep(delay_s)
    process.kill()
    rest = process.stdout.read()
    process.wait()
    process.stdout.close()
    return [answer + "\n" for answer in rest.split("\n")[:-1]]


def recorded(answers: list[str]) -> dict[int, tuple[str, str, str]]:
    found = {}
    for answer in answers:
        if match := re.match(r"recorded (\d+): (\S+) (\S+) (\S+)", answer):
            found[int(match[1])] = (match[2], match[3], match[4])
    return found


def one_kill(folder: Path, rng: random.Random, meter: bool) -> str:
    """ "" when all is well, else what is wrong."""
    (folder / "wires.csv").write_text(WIRES, "utf-8")
    if meter:
        acknowledged = recorded(by_meter(folder, rng.uniform(1.0, 5.0)))
    else:
        acknowledged = recorded(by_hand(folder, rng.uniform(0.0, 0.4)))
    data = (folder / "run" / "readings.csv").read_bytes()
    lines = data[: data.rfind(b"\n") + 1].decode("utf-8").splitlines()
    rows = {n: (r[0], r[1], r[2]) for n, r in enumerate(csv.reader(lines)) if n > 0}
    for number, row in acknowledged.items():
        if rows.get(number) != row:
            return f"row {number} was answered as {row}, the file has {rows.get(number)}"
    extra = sorted(set(rows) - set(acknowledged))
    if len(extra) > 1 or (extra and extra[0] != max(rows)):
        return f"rows that nobody was told of: {extra}"
    again = subprocess.run(
        command(folder, "--by-hand"), input=typed(9999) + "\n", capture_output=True, text=True, check=False
    )
    if again.returncode != 0 or f"recorded {max(rows, default=0) + 1}: " not in again.stdout:
        return f"it does not go on: {again.stdout}{again.stderr}"
    return ""


def main() -> None:
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    rng, wrong, torn = random.Random(4), [], 0
    for number in range(times):
        with tempfile.TemporaryDirectory() as folder:
            problem = one_kill(Path(folder), rng, meter=number % 4 == 3)
            torn += (Path(folder) / "run" / "set-aside.txt").exists()
            if problem:
                wrong.append(problem)
                print(f"kill {number}: {problem}", flush=True)
    print(f"{times} kills: {len(wrong)} with something lost or invented; {torn} torn lines set aside")


if __name__ == "__main__":
    main()
