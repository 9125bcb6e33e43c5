"""A recorder that is killed, and a disk that is full: what was acknowledged is there, and nothing else is.

Small numbers here; LOOMTEST_LAWS=deep kills 200 times.
"""

from __future__ import annotations

import multiprocessing
import os
import random
import signal
import time
from datetime import datetime
from multiprocessing.connection import Connection
from pathlib import Path

from loomtest.errors import RunFolderError
from loomtest.harness.model import Harness
from loomtest.readings.load import load_readings
from loomtest.readings.run import About, Reading, create_run, resume_run
from tests.readings.looms import small_loom

KILLS = 200 if os.environ.get("LOOMTEST_LAWS") == "deep" else 15
# A forked child has everything imported already, so that a kill falls into recording and not into starting.
FORK = multiprocessing.get_context("fork")


def clock() -> datetime:
    return datetime.now().astimezone()


def record_on(folder: Path, harness: Harness, told: Connection, first: int) -> None:
    if (folder / "run.toml").exists():
        writer = resume_run(folder, clock=clock, harness=harness)
    else:
        writer = create_run(folder, harness, About("before"), clock=clock)
    for number in range(first, first + 100_000):
        row = writer.record(Reading("X1:1", "X2:1", float(number)))
        told.send((row, number))


def test_every_acknowledged_reading_survives_a_kill_and_the_run_goes_on(tmp_path: Path) -> None:
    harness, folder = small_loom(tmp_path / "loom"), tmp_path / "run"
    moments = random.Random(5)
    acknowledged: dict[int, int] = {}
    number = 1
    for kill in range(KILLS):
        ear, mouth = FORK.Pipe(duplex=False)
        child = FORK.Process(target=record_on, args=(folder, harness, mouth, number))
        child.start()
        mouth.close()
        if kill % 3:  # else killed while the folder is made or the run resumed
            ear.poll(20)
        time.sleep(moments.uniform(0.0, 0.05))
        assert child.pid is not None
        os.kill(child.pid, signal.SIGKILL)
        child.join()
        try:
            while True:
                row, value = ear.recv()
                acknowledged[row] = value
                number = value + 1
        except EOFError:
            pass
        number += 1  # one may be recorded and not acknowledged: no other gets its number
        if not (folder / "run.toml").exists():
            continue  # killed before the folder was made: it is not there, half-made or otherwise
        readings = load_readings(folder, harness)
        there = dict(zip((readings.row - 1).tolist(), readings.value.tolist(), strict=True))
        assert {row: there.get(row) for row in acknowledged} == acknowledged
        assert len(there) <= len(acknowledged) + kill + 1  # at most one more for each kill
    assert len(acknowledged) > KILLS
    writer = resume_run(folder, clock=clock, harness=harness)  # the killed holder's lock is no hindrance
    writer.record(Reading("X1:1", "X2:1", "0.5"))
    writer.close("complete")
    assert load_readings(folder, harness).value[-1] == 0.5


def test_a_full_disk_is_a_plain_message_and_what_was_there_is_safe(tmp_path: Path) -> None:
    """The limit on the size of a file stands in for a full disk: the write fails part of the way through."""
    import resource

    harness, folder = small_loom(tmp_path / "loom"), tmp_path / "run"
    ear, mouth = FORK.Pipe(duplex=False)

    def record_with_little_room() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        writer = create_run(folder, harness, About(), clock=clock)
        try:
            for number in range(1000):
                mouth.send(writer.record(Reading("X1:1", "X2:1", float(number))))
        except RunFolderError as error:
            mouth.send(str(error))
        writer._lock.release()
        os._exit(0)

    child = FORK.Process(target=record_with_little_room)
    child.start()
    child.join()
    mouth.close()
    said = []
    while ear.poll():
        try:
            said.append(ear.recv())
        except EOFError:
            break
    *rows, message = said
    assert f"line {rows[-1] + 1} is safe" in message  # the header is line 1
    assert (folder / "readings.csv").read_bytes().endswith(b"\n")
    readings = load_readings(folder, harness)
    assert (readings.row - 1).tolist() == rows
    assert readings.warnings == ()
