"""Five benches, one archive, one PostgreSQL: `python -m tests.scores.benches [UNITS]` (400; in full 2000).

Each bench is a process that records a unit's run and keeps it. Meanwhile benches are killed without warning
and start again, and the database goes away, as in a crash, and comes back. At the end every unit must stand
in the ledger once and in the index once, in one order, and every bag must verify. All of it on loopback.

`python -m tests.scores.benches asked [RUNS]`: history and yield over 1,000 to 100,000 runs on both databases.
`python -m tests.scores.benches verify [BAGS]`: bags of 0.4 MB checked a second, all of them and changed ones.
"""

from __future__ import annotations

import multiprocessing
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from multiprocessing.context import ForkProcess
from pathlib import Path

from loomtest.evidence.archive.bag import UNIT, digest_of, read_info
from loomtest.evidence.archive.folder import Archive
from loomtest.evidence.archive.index import ANYTHING, Index
from loomtest.evidence.archive.keep import Keeping, keep_run
from loomtest.evidence.archive.names import bag_of_readings
from loomtest.evidence.archive.verify import Scope, verify_archive
from loomtest.readings.model import Job
from loomtest.readings.run import About, Reading, create_run
from tests.evidence.archive import kept
from tests.evidence.archive.many import HARNESS, many, multiplied
from tests.postgres import PASSWORD, Server, running
from tests.speed.archive import copies, template

BENCHES = 5
MADE_ONE_BY_ONE = 10_000
FORK = multiprocessing.get_context("fork")
AWAY = "away.txt"  # in a bench's folder: the units that were kept while the database was away


@dataclass(frozen=True)
class Bench:
    """One bench: its own folder for runs, the shared archive, its units."""

    number: int
    folder: Path
    archive: Archive
    units: int

    def work(self) -> None:
        """Test one unit after the other, going on where an earlier process was stopped."""
        harness = kept.loom(self.folder / "loom", HARNESS)
        done = self.acknowledged()
        for number in range(self.units):
            unit = f"B{self.number}-{number:05}"
            if unit in done:
                continue
            run = self.folder / "runs" / unit
            if run.is_dir() and (bag_of_readings(self.archive, digest_of(run / "readings.csv")) is not None):
                self._note("done.txt", unit)  # it was stopped between keeping and saying so
                continue
            shutil.rmtree(run, ignore_errors=True)
            about = About("final", "A. Nobody", job=Job("1041", unit))
            with create_run(run, harness, about, clock=lambda: datetime.now().astimezone()) as writer:
                for at, wire in enumerate(harness.wires):
                    writer.record(
                        Reading(wire.start, wire.end, 0.1 + self.number / 10 + at / 100 + number / 1e6)
                    )
            keeping = Keeping(
                kept.simple_judge, kept.simple_report, datetime.now().astimezone(), unit.lower(),
                bench=f"bench-{self.number}", pages="when wrong",
            )  # fmt: skip
            if keep_run(run, self.archive, keeping).not_indexed:
                self._note(AWAY, unit)
            self._note("done.txt", unit)
            shutil.rmtree(run)

    def acknowledged(self) -> set[str]:
        """Units that were said to be kept."""
        path = self.folder / "done.txt"
        return set(path.read_text().split()) if path.is_file() else set()

    def _note(self, file: str, unit: str) -> None:
        with (self.folder / file).open("a") as stream:
            stream.write(unit + "\n")

    def start(self) -> ForkProcess:
        """Its process."""
        self.folder.mkdir(parents=True, exist_ok=True)
        process = FORK.Process(target=self.work)
        process.start()
        return process


def five(units: int) -> None:
    """Benches, kills, outages; then the count."""
    chance = random.Random(3)
    with running(durable=True) as server, tempfile.TemporaryDirectory() as place:
        archive = Archive(Path(place) / "archive", server.url(), os.cpu_count() or 1)
        benches = [Bench(k, Path(place) / f"bench{k}", archive, units) for k in range(1, BENCHES + 1)]
        began_s = time.monotonic()
        working = {bench.number: bench.start() for bench in benches}
        kills, outages = _trouble(benches, working, server, chance)
        took_s = time.monotonic() - began_s
        late = Index(archive).catch_up()
        rate = BENCHES * units / took_s
        print(f"{BENCHES} benches of {units} units: {rate:.1f} runs a second, {took_s:.0f} s")
        told = [bench.folder / AWAY for bench in benches]
        away = sum(len(path.read_text().split()) for path in told if path.is_file())
        print(f"killed {kills} times; the database was away {outages} times")
        print(f"{away} runs were kept meanwhile; {late} had to be put into the index at the end")
        _count(archive, benches)


def _trouble(
    benches: list[Bench], working: dict[int, ForkProcess], server: Server, chance: random.Random
) -> tuple[int, int]:
    """Kill a bench every second or two, take the database away every five or six; how often each was done."""
    kills = outages = 0
    next_kill_s, next_outage_s = time.monotonic() + 1.0, time.monotonic() + 3.0
    while any(process.is_alive() for process in working.values()):
        time.sleep(0.05)
        now_s = time.monotonic()
        alive = [bench for bench in benches if working[bench.number].is_alive()]
        if now_s > next_kill_s and alive:
            victim = chance.choice(alive)
            process = working[victim.number]
            assert process.pid is not None
            os.kill(process.pid, signal.SIGKILL)
            process.join()
            working[victim.number] = victim.start()
            kills, next_kill_s = kills + 1, now_s + chance.uniform(1.0, 2.0)
        if now_s > next_outage_s:
            server.stop("immediate")
            time.sleep(chance.uniform(0.5, 1.5))
            server.start()
            outages, next_outage_s = outages + 1, time.monotonic() + chance.uniform(4.0, 6.0)
        for bench in benches:  # one that ended by an error would lose its units, which the count shows
            if working[bench.number].exitcode not in (None, 0):
                print(f"bench {bench.number} ended with {working[bench.number].exitcode}")
    return kills, outages


def _count(archive: Archive, benches: list[Bench]) -> None:
    entries = archive.entries()
    units = Counter(read_info(archive.folder / entry.folder).get(UNIT, "") for entry in entries)
    wanted = {f"B{bench.number}-{number:05}" for bench in benches for number in range(bench.units)}
    lost, doubled = len(wanted - set(units)), sum(count - 1 for count in units.values())
    said = set().union(*(bench.acknowledged() for bench in benches))
    columns = Index(archive).columns(ANYTHING, ("folder", "unit"))
    same = columns["folder"] == [entry.folder for entry in entries]
    print(f"ledger: lost {lost}, doubled {doubled}, said to be kept and not there {len(said - set(units))}")
    lost, doubled = len(wanted - set(columns["unit"])), len(columns["unit"]) - len(set(columns["unit"]))
    print(f"index: lost {lost}, doubled {doubled}, in the ledger's order: {'yes' if same else 'NO'}")
    wrong = [one for one in verify_archive(archive) if not one.good]
    print(f"verify: {len(entries)} bags, {len(wrong)} wrong", *(one.wrong for one in wrong[:3]))


def asked(runs: int) -> None:
    """How long a question takes as the archive grows, its own process each time."""
    sizes = [size for size in (1_000, 100_000) if size <= runs] or [runs]
    print(
        f"{'runs':>8} {'database':<11} {'history':>16} {'one unit':>16} {'yield':>16}   (elapsed, processor)"
    )
    with running() as server:
        for size in sizes:
            for url in (None, server.url()):
                with tempfile.TemporaryDirectory() as place:
                    archive = many(Path(place) / "archive", min(size, MADE_ONE_BY_ONE), url)
                    if size > MADE_ONE_BY_ONE:
                        multiplied(archive, size // MADE_ONE_BY_ONE - 1)
                    where = ["--archive", str(archive.folder), *(["--index", url] if url else [])]
                    took = [
                        _took("history", *where),
                        _took("history", "--unit", "U000077", *where),
                        _took("yield", HARNESS, *where),
                    ]
                row = " ".join(f"{elapsed:>7.2f} s {used:>5.2f} s" for elapsed, used in took)
                print(f"{size:>8} {'PostgreSQL' if url else 'SQLite':<11} {row}")


def _took(*words: str) -> tuple[float, float]:
    """(elapsed, processor) seconds of a command, the least of three."""
    least = [float("inf"), float("inf")]
    for _ in range(3):
        began_s, before = time.perf_counter(), os.times()
        command = [sys.executable, "-m", "loomtest", *words]
        done = subprocess.run(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        after = os.times()
        used = after.children_user + after.children_system - before.children_user - before.children_system
        least = [min(least[0], time.perf_counter() - began_s), min(least[1], used)]
    return least[0], least[1]


def verified(bags: int) -> None:
    """Bags a second, of 0.4 MB, on all processors."""
    with tempfile.TemporaryDirectory() as place:
        payload = template(Path(place) / "made")
        archive = Archive(Path(place) / "archive", None, os.cpu_count() or 1)
        copies(payload, archive, bags)
        size = sum(path.stat().st_size for path in (archive.folder / archive.entries()[0].folder).rglob("*"))
        print(f"{bags} bags of {size / 1e6:.2f} MB, {archive.processes} processors")
        one = Archive(archive.folder)
        todo = (("all, one process", one, Scope()), ("all", archive, Scope()),
                ("what changed", archive, Scope(changed=True)))  # fmt: skip
        for name, which, scope in todo:
            began_s, before = time.perf_counter(), os.times()
            wrong = [each for each in verify_archive(which, scope=scope) if not each.good]
            took_s, after = time.perf_counter() - began_s, os.times()
            used_s = sum(after[:4]) - sum(before[:4])
            row = f"{name:<17} {bags / took_s:>7.0f} bags a second, {1e3 * used_s / bags:.2f} ms of processor"
            print(f"{row} a bag, {len(wrong)} wrong")


def main(words: list[str]) -> None:
    """Run what was asked for, or the benches and then everything at a modest size."""
    os.environ["PGPASSWORD"] = PASSWORD
    number = int(words[-1]) if words and words[-1].isdigit() else None
    if words[:1] == ["asked"]:
        asked(number or 100_000)
    elif words[:1] == ["verify"]:
        verified(number or 1_000)
    else:
        five(number or 400)


if __name__ == "__main__":
    main(sys.argv[1:])
