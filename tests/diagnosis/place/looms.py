"""Small looms with a short at a known place, and what a meter reads of them: solved by ngspice."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness
from loomtest.readings.load import load_readings
from loomtest.readings.model import Readings
from tests.tools import need

Resistor = tuple[str, str, float]
HEADER = "from,to,value,unit,quantity,current,uncertainty"


def harness_of(folder: Path, wires: Sequence[str], more: str = "", columns: str = "") -> Harness:
    """A loom from rows `wire,from,to,size,length`, and further `columns` such as `,kind`."""
    (folder / "wires.csv").write_text("\n".join([f"wire,from,to,size,length{columns}", *wires]) + "\n")
    (folder / "harness.toml").write_text(more)
    return load_harness(folder)


def readings_of(folder: Path, harness: Harness, rows: Sequence[str]) -> Readings:
    """Readings from rows under HEADER."""
    (folder / "readings.csv").write_text("\n".join([HEADER, *rows]) + "\n")
    return load_readings(folder / "readings.csv", harness)


@dataclass(frozen=True)
class Spice:
    """A network of resistors between named points."""

    resistors: tuple[Resistor, ...]
    folder: Path

    def volts(self, fed: tuple[str, str], amps: float, read: Sequence[tuple[str, str]]) -> list[float]:
        """Volts between pairs of points while a current flows in at `fed[0]` and out at `fed[1]`."""
        names = sorted({point for a, b, _ in self.resistors for point in (a, b)})
        node = {name: f"n{at}" for at, name in enumerate(names)}
        node[fed[1]] = "0"
        lines = [f"R{k} {node[a]} {node[b]} {ohm!r}" for k, (a, b, ohm) in enumerate(self.resistors)]
        # A voltmeter's 10 Mohm holds what carries no current at a voltage.
        lines += [f"RM{k} {node[a]} {node[b]} 1e7" for k, (a, b) in enumerate(read)]
        wanted = [f"print v({node[a]})" for pair in read for a in pair if node[a] != "0"]
        deck = ["loom", *lines, f"I1 0 {node[fed[0]]} DC {amps!r}"]
        deck += [".control", "set numdgt=16", "op", *wanted, "quit 0", ".endc", ".end"]
        path = self.folder / "loom.cir"
        path.write_text("\n".join(deck) + "\n")
        spice = need("ngspice", "ngspice")
        run = subprocess.run([spice, "-b", str(path)], capture_output=True, text=True, check=True, timeout=60)
        shown = {name: float(value) for name, value in re.findall(r"v\((n\d+)\) = ([-+0-9.e]+)", run.stdout)}
        at = {name: shown.get(node[name], 0.0) for name in names}
        return [at[a] - at[b] for a, b in read]
