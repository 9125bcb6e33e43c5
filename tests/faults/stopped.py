"""Kills a child before the n-th line of what it runs, for every n: `python -m tests.faults.stopped`.

A program of its own, because only a process without threads may fork safely. Prints one line a kind of
folder: how often it was killed, and every problem.
"""

from __future__ import annotations

import os
import signal
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import Any

from loomtest.harness import whole
from loomtest.harness.load import load_harness
from loomtest.harness.newfolder import Answers, files_of, write_new
from loomtest.harness.notes.notation import NotedWire
from loomtest.harness.swap.files import write_harness
from loomtest.harness.swap.map import read_map
from loomtest.harness.swap.swap import swap

Work = Callable[[Path], object]


def killed_before(nth: int, work: Callable[[], object]) -> bool:
    """Run `work` in a child that is killed before the n-th line of `whole`; False where it ended before."""
    child = os.fork()
    if child == 0:
        seen = 0

        def trace(frame: FrameType, event: str, argument: Any) -> Any:
            nonlocal seen
            if frame.f_code.co_filename != whole.__file__:
                return None
            if event == "line":
                seen += 1
                if seen == nth:
                    os.kill(os.getpid(), signal.SIGKILL)
            return trace

        sys.settrace(trace)
        try:
            work()
        except BaseException:
            os._exit(1)
        os._exit(0)
    status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    if status == 1:
        raise AssertionError("the child failed by itself")
    return status < 0


def new(place: Path) -> object:
    """What `loomtest new` writes."""
    wire = NotedWire(line=1, start="X1:1", end="X2:1", wire="W1")
    return write_new(place, files_of(Answers("launch", wires=(wire,), notes="X1 1 to X2 1\n")))


def swapped(place: Path) -> object:
    """What `loomtest swap` writes; the old harness stands in `old` beside."""
    before = load_harness(place.parent / "old")
    chart = place.parent / "map.csv"
    return write_harness(
        before, swap(before, read_map(chart, before)), chart, place, {"card.txt": "a card\n"}
    )


def own_files(place: Path) -> dict[str, bytes]:
    """What whoever looks into the folder sees."""
    found = {
        path.relative_to(place).as_posix(): path.read_bytes() for path in place.rglob("*") if path.is_file()
    }
    return {name: data for name, data in found.items() if not name.startswith(whole.ASIDE)}


def stopped_everywhere(work: Work, there: dict[str, str] | None, step: int) -> tuple[int, list[str]]:
    """(kills, problems); `there`: files of a folder that exists already, None where it does not."""
    problems: list[str] = []
    for nth in range(1, 10_000, step):
        with tempfile.TemporaryDirectory() as name:
            room = Path(name)
            new(room / "old")
            (room / "map.csv").write_text("old,new\nX2:1,X7:1\n", "utf-8")
            before = sorted(path.name for path in room.iterdir())
            place = room / "loom"
            if there is not None:
                place.mkdir()
                for file, text in there.items():
                    (place / file).write_text(text, "utf-8")
            if not killed_before(nth, lambda place=place: work(place)):  # type: ignore[misc]
                return nth // step, problems
            half = own_files(place) if place.exists() else {}
            work_again = "wires.csv" not in half
            if work_again:
                work(place)
            found = own_files(place)
            if there is None and half not in ({}, found):
                problems.append(f"killed before line {nth}: half a folder, {sorted(half)}")
            if not work_again and half != found:
                problems.append(f"killed before line {nth}: passes for whole, holds {sorted(half)}")
            if not {"wires.csv", "harness.toml", *(there or ())} <= set(found):
                problems.append(f"killed before line {nth}: then written again, and holds {sorted(found)}")
            whole.take_back(place)
            left = sorted(path.name for path in room.iterdir())
            if own_files(place) != found or left != sorted([*before, "loom"]):
                problems.append(f"killed before line {nth}: afterwards {left}")
            load_harness(place)
    raise AssertionError("no end")


def main() -> int:
    """Print one line a kind; 1 where anything was wrong. An argument: only every so manieth line."""
    bad, step = 0, int(sys.argv[1]) if sys.argv[1:] else 1
    for name, work, there in (
        ("new, a folder that is not there", new, None),
        ("new, a folder with something in it", new, {"photo.txt": "mine", "empty.txt": ""}),
        ("swap, a folder that is not there", swapped, None),
        ("swap, an empty folder", swapped, {}),
    ):
        kills, problems = stopped_everywhere(work, there, step)
        print(f"{name}: {kills} kills, {len(problems)} problems", *problems, sep="\n  ")
        bad += len(problems)
    return 1 if bad else 0


if __name__ == "__main__":
    raise SystemExit(main())
