"""A bench whose program is stopped at any moment, in a process of its own for each unit."""

from __future__ import annotations

import os
import time
from datetime import datetime
from pathlib import Path

from loomtest.bench.rehearsal.board import RehearsalPort
from loomtest.bench.scanner.driver import Scanner
from loomtest.bench.scanner.sockets import proposed
from loomtest.evidence.archive.folder import Archive
from loomtest.evidence.page.page import write_report
from loomtest.evidence.station.line import LeftOver, LineSettings, UnitLine
from loomtest.harness.load import load_harness
from loomtest.words.verdict import judge
from tests.bench.scanner.on_a_line import remembered


class Bench:
    """One loom, one archive. What a process has scanned to the end it notes in a log before it keeps it."""

    def __init__(self, loom: Path, place: Path) -> None:
        self.harness = load_harness(loom)
        self.port = remembered([loom])
        self.log = place / "finished.log"
        self.log.touch()
        self.settings = LineSettings(
            harness=self.harness,
            archive=Archive(place / "archive"),
            runs=place / "runs",
            judge=judge,
            report=write_report,
            clock=lambda: datetime.now().astimezone(),
            stage="line",
            operator="Kim",
            bench="bench 1",
            rehearsal=True,
        )

    def one(self, port: RehearsalPort, unit: str) -> tuple[float, float]:
        """Scan and keep a unit; how long the two took, in seconds."""
        begun_s = time.monotonic()
        line = UnitLine(self.settings)
        with Scanner(port) as scanner:
            folder = line.scan(unit, scanner, proposed(self.harness, scanner.identity.pins))
        with self.log.open("a") as log:
            log.write(folder.name.rpartition("-")[2] + "\n")
            log.flush()
            os.fsync(log.fileno())
        scanned_s = time.monotonic()
        line.keep(folder)
        line.close()
        return scanned_s - begun_s, time.monotonic() - scanned_s

    def killed(self, unit: str, after_s: float, how: int, scanned: bool = False) -> None:
        """The same in a process that is stopped after so many seconds; `scanned`: counted from the moment its
        scan was whole on disk."""
        noted = self.log.stat().st_size
        child = os.fork()
        if child == 0:
            try:
                self.one(self.port, unit)
            finally:
                os._exit(0)
        while scanned and self.log.stat().st_size == noted:
            time.sleep(0.002)
        time.sleep(after_s)
        os.kill(child, how)
        os.waitpid(child, 0)

    def settle(self) -> list[LeftOver]:
        """What the next start finds."""
        line = UnitLine(self.settings)
        found = list(line.settle())
        line.close()
        return found

    def finished(self) -> list[str]:
        """Identifiers of the scans that came to their end."""
        return self.log.read_text().split()

    def kept(self) -> list[str]:
        """Identifiers of the kept runs, as their names end."""
        return [entry.name.rpartition("-")[2] for entry in self.settings.archive.entries()]
