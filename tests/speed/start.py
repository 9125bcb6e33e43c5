"""How long the program takes to say anything: `python -m tests.speed start`."""

from __future__ import annotations

import tempfile
from pathlib import Path

from tests.speed.processes import costs, loomtest

WIRES = 30


def small_loom(folder: Path) -> tuple[Path, Path]:
    """Thirty straight wires, and a reading of each wire and of each pair of neighbours; nothing is wrong."""
    wires = ["from,to,size,length", *(f"X1:{k},X2:{k},1,{1 + k / 20:g}" for k in range(1, WIRES + 1))]
    (folder / "wires.csv").write_text("\n".join(wires) + "\n", encoding="utf-8")
    rows = [f"X1:{k},X2:{k},{0.32 + (k % 5) / 100:.2f}" for k in range(1, WIRES + 1)]
    rows += [f"X1:{k},X1:{j},OL" for k in range(1, WIRES + 1) for j in range(k + 1, WIRES + 1)]
    (folder / "readings.csv").write_text("\n".join(["from,to,value", *rows]) + "\n", encoding="utf-8")
    return folder / "wires.csv", folder / "readings.csv"


def main(rounds: int = 10) -> None:
    """Print one line a command, beside the least that it could be."""
    with tempfile.TemporaryDirectory() as name:
        wires, readings = small_loom(Path(name))
        found = costs(
            {
                "typer": ["-c", "import typer"],
                "--version": loomtest("--version"),
                "--help": loomtest("--help"),
                "scipy": ["-c", "import numpy, scipy.sparse"],
                "check": loomtest("check", wires),
                "judge": loomtest("judge", wires, readings),
            },
            rounds,
        )
    print(f"{'start-up':<34} {'processor time':>18} {'peak memory':>20}")
    for bare, goal, mine in (("typer", 1.6, ("--version", "--help")), ("scipy", 1.3, ("check", "judge"))):
        words = "import typer" if bare == "typer" else "import numpy, scipy.sparse"
        print(f"{'python -c ' + repr(words):<34} {found[bare].against(found[bare])}")
        for verb in mine:
            print(f"{f'  loomtest {verb} (goal {goal} x)':<34} {found[verb].against(found[bare])}")


if __name__ == "__main__":
    main()
