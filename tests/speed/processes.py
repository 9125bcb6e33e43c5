"""Whole processes, measured side by side: processor seconds, and the most memory each held.

Linux and macOS only (`os.wait4`).
"""

from __future__ import annotations

import compileall
import json
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

    Raises RuntimeError for a process that could not be done (status 2, or a traceback).
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


# The least process that can start another: what a process held before it became another counts as that
# other's memory, and this one may have written a large scan just now.
_LAUNCHER = """
import json, os, sys
quiet = [(os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0)]
child = os.posix_spawn(sys.executable, [sys.executable, *sys.argv[1:]], os.environ, file_actions=quiet)
_, code, used = os.wait4(child, 0)
print(json.dumps([os.waitstatus_to_exitcode(code), used.ru_utime + used.ru_stime, used.ru_maxrss]))
"""


def _once(arguments: Sequence[str]) -> Cost:
    done = subprocess.run(
        [sys.executable, "-S", "-c", _LAUNCHER, *arguments], capture_output=True, text=True, check=True
    )
    status, seconds, memory = json.loads(done.stdout)
    if status == 2 or status < 0 or "Traceback" in done.stderr:
        raise RuntimeError(f"{' '.join(arguments)[:200]}: status {status}\n{done.stderr}")
    return Cost(seconds, memory / (1e6 if sys.platform == "darwin" else 1e3), status)  # bytes, or kilobytes


def loomtest(*arguments: str | Path) -> list[str]:
    """The arguments of python for one verb of the program."""
    return ["-m", "loomtest", *map(str, arguments)]
