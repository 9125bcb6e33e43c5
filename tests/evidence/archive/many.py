"""Archives of many runs, made cheaply: the ledger and the index of all of them, the bags of the newest.

An invented manufacturer: one loom of 30 wires, 300 units a day at five benches, one in 25 wrong at first and
right when it comes again, a joint that drifts at bench 3.
"""

from __future__ import annotations

import hashlib
import json
import random
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

import sqlalchemy as sql

from loomtest.evidence.archive.database.rows import BagRows, rows_of
from loomtest.evidence.archive.database.tables import about, bag, finding, measured
from loomtest.evidence.archive.database.upkeep import Indexed, add_rows, begin_anew, known_state
from loomtest.evidence.archive.folder import LEDGER, Archive, Entry
from loomtest.evidence.archive.index import Index
from tests.evidence.archive.kept import BEGIN

WIRES = 30
A_DAY = 300
BENCHES = 5
HARNESS = "orchard tractor, invented"
_NEWEST = 300  # bags that are really there: what a history holds against the index
_AT_ONCE = 2000


@dataclass(frozen=True)
class MadeRun:
    """One run: its bag's name, description and verdict."""

    name: str
    info: dict[str, str]
    verdict: dict[str, Any]


def made_runs(count: int, seed: int = 1) -> Iterator[MadeRun]:
    """So many runs, the same every time."""
    chance = random.Random(seed)
    again: list[int] = []
    unit = 0
    for number in range(count):
        if again and chance.random() < 0.5:
            own, wrong = again.pop(0), False
        else:
            unit += 1
            own, wrong = unit, chance.random() < 0.04
        if wrong:
            again.append(own)
        day = BEGIN + timedelta(days=number / A_DAY)
        bench = number % BENCHES + 1
        at = int(chance.triangular(1, WIRES, 4)) if wrong else 0
        name = f"{day:%Y%m%d-%H%M%S}-orchard-tractor-{number:06}"
        info = {
            "External-Identifier": name, "Harness": HARNESS, "Stage": "final", "Job": str(1000 + own // 200),
            "Operator": f"A. Nobody {bench % 3}", "Run-Started": day.isoformat(timespec="seconds"),
            "Kept": day.isoformat(timespec="seconds"), "Tool-Version": "0.2.0", "Unit": f"U{own:06}",
            "Customer": "the harbour", "Bench": f"bench-{bench}",
        }  # fmt: skip
        yield MadeRun(name, info, _verdict(chance, at, bench, number / count))


def _verdict(chance: random.Random, at: int, bench: int, progress: float) -> dict[str, Any]:
    wires, nets = [], []
    for wire in range(1, WIRES + 1):
        drift = 0.004 * progress if (wire, bench) == (7, 3) else 0.0
        ohms = round(0.02 + 0.002 * wire + drift + chance.gauss(0, 0.0006), 6)
        own = {"wire": f"W{wire}", "from": f"X1:{wire}", "to": f"X2:{wire}", "with": [], "verdict": "pass"}
        own |= {"ohms": None if wire == at else ohms, "uncertainty_ohms": 0.0008, "measured_ohms": ohms}
        wires.append(own | {"limit_ohms": round(0.04 + 0.002 * wire, 6)})
        nets.append({"net": f"circuit {wire}", "points": [f"X1:{wire}", f"X2:{wire}"]})
    found = [{"fault": "open", "points": [f"X1:{at}", f"X2:{at}"], "suspects": [{"wire": f"W{at}"}]}] * bool(
        at
    )
    outcome = "fail" if at else "pass"
    return {"verdict": outcome, "wiring": outcome, "joints": "pass", "findings": found, "wires": wires,
            "nets": nets}  # fmt: skip


def many(folder: Path, count: int, url: str | None = None) -> Archive:
    """An archive of so many runs, in whose folder only the newest bags stand."""
    archive = Archive(folder, url)
    folder.mkdir(parents=True, exist_ok=True)
    database = Index(archive).database
    begin_anew(database, archive, known_state(database))
    state, ledger = known_state(database), hashlib.sha256()
    assert state is not None
    rows: list[BagRows] = []
    with (folder / LEDGER).open("w", encoding="utf-8", newline="\n") as lines:
        written = 0
        for number, run in enumerate(made_runs(count), 1):
            entry = Entry(number, run.name, hashlib.sha256(run.name.encode()).hexdigest())
            line = f"{entry.digest}  {run.name}/tagmanifest-sha256.txt\n"
            lines.write(line)
            ledger.update(line.encode())
            written += len(line)
            readings = b"from,to,value\nX1:1,X2:1,%d\n" % number
            rows.append(rows_of(entry, run.info, run.verdict, hashlib.sha256(readings).hexdigest()))
            if number > count - _NEWEST:
                _write(folder / run.name, run, readings)
            if len(rows) == _AT_ONCE or number == count:
                first = state.archive or rows[0].bag["digest"]
                further = Indexed(first, number, written, ledger.hexdigest())
                assert add_rows(database, rows, state, further), asdict(further)
                state, rows = further, []
    return archive


def _write(bag: Path, run: MadeRun, readings: bytes) -> None:
    (bag / "data" / "run").mkdir(parents=True)
    (bag / "bag-info.txt").write_text("".join(f"{key}: {text}\n" for key, text in run.info.items()), "utf-8")
    (bag / "data" / "verdict.json").write_text(json.dumps(run.verdict), "utf-8")
    (bag / "data" / "run" / "readings.csv").write_bytes(readings)


def multiplied(archive: Archive, times: int) -> None:
    """Put so many copies of all runs before them, as runs of other units: quicker than making them."""
    database, own = Index(archive).database, archive.ledger()
    count, after = len(own), len(own) * times
    lines = b"".join(
        f"{entry.digest}  {entry.folder}-{copy}/tagmanifest-sha256.txt\n".encode()
        for copy in range(times)
        for entry in own.entries()
    )
    (archive.folder / LEDGER).write_bytes(lines + own.data)
    state = known_state(database)
    assert state is not None
    with database.writing() as base:
        for table in (bag, finding, measured):
            far = {"sequence": table.c.sequence + 10 * after}  # past all others on the way
            base.execute(table.update().values(**far))
            for copy in range(times):
                changed = {"sequence": table.c.sequence - 10 * after + copy * count}
                if table is bag:
                    changed |= {name: bag.c[name] + f"-{copy}" for name in ("folder", "unit", "readings")}
                chosen = [changed.get(column.name, column).label(column.name) for column in table.c]
                query = sql.select(*chosen).where(table.c.sequence > 10 * after)
                base.execute(table.insert().from_select(list(table.c.keys()), query))
            back = {"sequence": table.c.sequence - 9 * after}
            base.execute(table.update().where(table.c.sequence > 10 * after).values(**back))
        whole = archive.ledger()
        digest = hashlib.sha256(whole.data).hexdigest()
        further = Indexed(state.archive, len(whole), len(whole.data), digest)
        base.execute(about.update().values(**asdict(further)))
