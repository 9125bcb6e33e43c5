"""Small invented runs, and an archive of them, for the tests of the evidence."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta, timezone
from pathlib import Path

import numpy as np

from loomtest.diagnosis.verdict import Coverage, Finding, NetRow, Suspect, Verdict, WireRow
from loomtest.evidence.archive.folder import Archive
from loomtest.evidence.archive.keep import Keeping, KeptRun, keep_run
from loomtest.evidence.archive.redraw import Redraw
from loomtest.evidence.archive.verify import Checked, verify_archive
from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness
from loomtest.readings.model import Readings
from loomtest.readings.run import About, Reading, create_run

BEGIN = datetime(2026, 5, 1, 12, 0, tzinfo=timezone(timedelta(hours=2)))


def loom(folder: Path, name: str = "orchard tractor, invented") -> Harness:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "wires.csv").write_text("from,to,wire,circuit\nX1:1,X2:1,W1,horn\nX1:2,X2:2,W2,lamp\n", "utf-8")
    (folder / "harness.toml").write_text(f'name = "{name}"\n', "utf-8")
    return load_harness(folder)


def make_run(folder: Path, harness: Harness, ohms: Sequence[float] = (0.1, 0.2), day: float = 0.0) -> Path:
    now = BEGIN + timedelta(days=day)
    with create_run(folder, harness, About("after", "A. Nobody"), clock=lambda: now) as writer:
        for wire, value in zip(harness.wires, ohms, strict=True):
            writer.record(Reading(wire.start, wire.end, value))
    return folder


def simple_judge(harness: Harness, readings: Readings) -> Verdict:
    """One limit of 1 ohm for every wire: enough to tell whether the same readings are judged."""
    rows, findings = [], []
    for wire in harness.wires:
        start, end = harness.code_of[wire.start], harness.code_of[wire.end]
        values = readings.value[(readings.start == start) & (readings.end == end)]
        ohms = float(np.mean(values)) if len(values) else None
        bad = ohms is not None and ohms > 1.0
        rows.append(
            WireRow(
                wire.name,
                wire.start,
                wire.end,
                0.1,
                1.0,
                ohms,
                0.01,
                None,
                (),
                None,
                "fail" if bad else "pass",
            )
        )
        if bad:
            findings.append(Finding("high-resistance", (wire.start, wire.end), (Suspect(wire.name),)))
    outcome = "fail" if findings else "pass"
    nets = [NetRow(net.name, tuple(harness.points[p] for p in net.points), "pass") for net in harness.nets]
    return Verdict(
        harness=harness.name,
        verdict=outcome,
        wiring="pass",
        joints=outcome,
        joints_judged_at_ohms=1.0,
        joints_resolved_ohms=0.1,
        isolation="full",
        findings=tuple(findings),
        undecided=(),
        wires=tuple(rows),
        nets=tuple(nets),
        coverage=Coverage(2, 2, 1, 1, 0, 0, 0),
        untested=(),
    )


def simple_report(harness: Harness, readings: Readings, verdict: Verdict, out: Path) -> None:
    out.mkdir(parents=True)
    (out / "report.html").write_text(f"<p>{verdict.verdict}</p>\n", "utf-8")


SIMPLE = Redraw(simple_judge, simple_report)


def keeping(identifier: str, day: float = 0.0) -> Keeping:
    return Keeping(simple_judge, simple_report, BEGIN + timedelta(days=day), identifier)


def keep(archive: Archive, run: Path, identifier: str, day: float = 0.0) -> KeptRun:
    return keep_run(run, archive, keeping(identifier, day))


def checked(archive: Archive, judge: bool = True) -> list[Checked]:
    return list(verify_archive(archive, SIMPLE if judge else None))


def wrong(archive: Archive, judge: bool = True) -> dict[str, tuple[str, ...]]:
    return {one.name: one.wrong for one in checked(archive, judge) if one.wrong}


def filled(folder: Path, count: int = 3) -> Archive:
    """An archive of so many runs of one loom, and one of another loom in between."""
    first, second = loom(folder / "loom"), loom(folder / "boat", "fishing launch, invented")
    archive = Archive(folder / "archive")
    for number in range(count):
        keep(
            archive,
            make_run(folder / f"run{number}", first, (0.1, 0.2 + number), number),
            f"id{number}",
            number,
        )
        if number == 0:
            keep(archive, make_run(folder / "boat_run", second), "boat", number)
    return archive


def tree(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()
    }
