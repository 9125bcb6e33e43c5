"""Whole processes, measured side by side: processor seconds, and the most memory each held.

Linux and macOS only (`os.wait4`).
"""

from __future__ import annotations

import compileall
import os
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

PACKAGE = Path(__file__).parents[2] / "loomtest"


@dataclass(frozen=True)
class Cost:
    """The least of several runs. Processor time, so that a busy machine matters little."""

    seconds: float
    megabytes: float
    status: int

    def against(self, bare: Cost) -> str:
        """`2.31 s, 1.40 x; 226 MB, 1.42 x`."""
        times, memory = self.seconds / bare.seconds, self.megabytes / bare.megabytes
        return f"{self.seconds:8.2f} s {times:6.2f} x {self.megabytes:8.0f} MB {memory:6.2f} x"


def costs(commands: Mapping[str, Sequence[str]], rounds: int = 3) -> dict[str, Cost]:
    """What `python ARGUMENTS` costs, for each of the commands; they take turns, so that all see one machine.

    Raises RuntimeError for a process that could not be carried out (status 2, or a traceback).
    """
    compileall.compile_dir(PACKAGE, quiet=1)  # as an installed package is
    runs: dict[str, list[Cost]] = {name: [] for name in commands}
    for _ in range(rounds):
        for name, arguments in commands.items():
            runs[name].append(_once(arguments))
    return {
        name: Cost(min(r.seconds for r in of), min(r.megabytes for r in of), of[0].status)
        for name, of in runs.items()
    }


def _once(arguments: Sequence[str]) -> Cost:
    process = subprocess.Popen(
        [sys.executable, *arguments], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    )
    assert process.stderr is not None
    said = process.stderr.read()
    _, code, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(code)
    process.stderr.close()
    if process.returncode == 2 or process.returncode < 0 or "Traceback" in said:
        raise RuntimeError(f"{' '.join(arguments)[:200]}: status {process.returncode}\n{said}")
    unit = 1e6 if sys.platform == "darwin" else 1e3  # bytes there, kilobytes elsewhere
    return Cost(used.ru_utime + used.ru_stime, used.ru_maxrss / unit, process.returncode)


def loomtest(*arguments: str | Path) -> list[str]:
    """The arguments of python for one verb of the program."""
    return ["-m", "loomtest", *map(str, arguments)]
