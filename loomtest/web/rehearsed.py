"""`loomtest bench --demo`: an invented loom, a rehearsed meter whose hands follow the prompts, a fault found,
mended and gone; all of it by itself, and marked as a rehearsal.
"""

from __future__ import annotations

import asyncio
import shutil
import tempfile
from collections.abc import Callable
from contextlib import suppress
from importlib.resources import as_file, files
from pathlib import Path
from typing import TYPE_CHECKING

from anyio import to_thread

from loomtest.errors import LoomtestError
from loomtest.web.place import RUNS
from loomtest.words import web as words

if TYPE_CHECKING:
    from loomtest.web.hub import Room
    from loomtest.web.place import Loom
    from loomtest.web.served import Served
    from loomtest.web.sitting import BenchSitting

PACE = 7.0  # times as fast as hands and a meter: two sittings in about two minutes
OPEN_AFTER_S = 3.0
FAULTS_FILE = "faults.csv"  # as the rehearsal reads it
WITH_FAULT = "fault,wire,from,to,ohms,volts\nopen,W17,,,,\n"
WITHOUT = "fault,wire,from,to,ohms,volts\n"
LOOK_S = 6.0  # time to look at what was found


def rehearsed_folder() -> Path:
    """A fresh copy of the invented tractor's loom, in a folder of its own among the temporary ones."""
    place = Path(tempfile.mkdtemp(prefix="loomtest-demo-")) / "orchard tractor (invented)"
    place.mkdir()
    with as_file(files("loomtest.data")) as data:
        for name in ("harness.toml", "wires.csv"):
            shutil.copy(data / "demo" / "orchard_tractor" / name, place / name)
    (place / FAULTS_FILE).write_text(WITH_FAULT, "utf-8")
    return place


async def play(served: Served, pace: float = PACE, look_s: float = LOOK_S) -> None:
    """Once a screen is there: measure, mend, measure again and compare."""
    loom = served.place.single
    assert loom is not None
    room = served.hub.room(loom)
    first, second = loom.folder / RUNS / "run-1", loom.folder / RUNS / "run-2"
    room.first = _sitting(loom, first, "before", pace)
    with suppress(LoomtestError):
        await _ended(room)
        room.tell(words.DEMO_FOUND)
        await asyncio.sleep(look_s)
        await to_thread.run_sync((loom.folder / FAULTS_FILE).write_text, WITHOUT, "utf-8")
        await room.begin(_sitting(loom, second, "after", pace))
        room.tell(words.DEMO_MENDED)
        await _ended(room)
        room.tell(words.DEMO_DONE)
        await asyncio.sleep(look_s / 2)
        room.go(f"/compare?before={first.name}&after={second.name}")


def _sitting(loom: Loom, folder: Path, stage: str, pace: float) -> Callable[[], BenchSitting]:
    from loomtest.web.sitting import BenchSitting
    from loomtest.web.wishes import SittingWishes

    wishes = SittingWishes(stage, "", "", f"rehearse:{loom.folder}", OPEN_AFTER_S, pace)
    return lambda: BenchSitting(loom, folder, wishes)


async def _ended(room: Room) -> None:
    """Until the sitting has ended; a poor first touch is owned up to, as hands would."""
    while room.sitting is None or not room.sitting.ended:
        await asyncio.sleep(0.1)
        if room.sitting is not None and room.sitting.state()["question"] is not None:
            await room.do({"do": "answer", "text": "poor-touch"}, asyncio.Queue())
