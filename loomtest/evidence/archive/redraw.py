"""What follows from the readings of a kept run: verdict judged anew, page and pictures drawn anew.

A bag's checksums say that nothing changed since it was closed. They say nothing of who closed it: a page that
was replaced before, with its checksums made good, is shown only by drawing it again.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from loomtest.diagnosis.verdict import Verdict
from loomtest.errors import LoomtestError
from loomtest.evidence.archive import bag as archive_bag
from loomtest.evidence.archive.handed import RUN_PLACE, delivered_by, readings_in
from loomtest.evidence.archive.keep import REPORT_PLACE, VERDICT_FILE, Judge, Report, harness_of
from loomtest.evidence.page.customer import Seal, write_customer
from loomtest.evidence.page.opening import opening_page
from loomtest.harness.model import Harness
from loomtest.readings.model import Readings


@dataclass(frozen=True, slots=True)
class Redraw:
    """How readings are judged and shown today."""

    judge: Judge
    report: Report


@dataclass(frozen=True, slots=True)
class Redrawn:
    """What does not follow from the readings (`wrong`), what could not be compared (`unchecked`), and what is
    worth saying."""

    wrong: tuple[str, ...] = ()
    unchecked: tuple[str, ...] = ()
    said: tuple[str, ...] = ()


def redrawn(bag: Path, redraw: Redraw) -> Redrawn:
    """Judge the readings of a bag again, draw its page and pictures again, and compare.

    A page of another version of this program that differs is unchecked, never good: which version drew it
    is only what the bag claims.
    """
    kept_by, now = _claimed_version(bag), version("loomtest")
    versions = f" (kept by version {kept_by}, this is {now})" if kept_by != now else ""
    try:
        kept = json.loads((bag / "data" / VERDICT_FILE).read_text("utf-8"))
        harness, readings, verdict = judged(bag, redraw.judge)
        # Through its text, so that both sides have been written and read alike.
        again = json.loads(json.dumps(verdict.to_json()))
        differences = verdict_differences(kept, again)
    except (OSError, ValueError, RecursionError, LoomtestError) as error:
        return Redrawn((f"cannot be judged again: {error}{versions}",))
    except (AttributeError, KeyError, TypeError):  # well-formed JSON of some other shape
        return Redrawn((f"cannot be judged again: {VERDICT_FILE} holds no verdict{versions}",))
    if differences:
        return Redrawn((f"is judged otherwise now: {'; '.join(differences)}{versions}",))
    said = (f"verdict {again['verdict']}; judged again, same result{versions}",)
    try:
        other = _other_files(bag, redraw, (harness, readings, verdict))
    except (OSError, LoomtestError) as error:
        return Redrawn((f"cannot be drawn again: {error}{versions}",))
    if other and kept_by == now:
        return Redrawn(tuple(f"{name} is not what the readings give" for name in other), (), said)
    if other:
        return Redrawn((), (f"{', '.join(other)}: not checked{versions}",), said)
    drawn = (bag / "data" / REPORT_PLACE).is_dir()
    page = "page and pictures drawn again, same result" if drawn else "kept without a page"
    return Redrawn((), (), (*said, page))


def judged(bag: Path, judge: Judge) -> tuple[Harness, Readings, Verdict]:
    """The harness, the readings and today's verdict of a bag. Raises InputError."""
    run = bag / "data" / RUN_PLACE
    harness = harness_of(run)
    readings = readings_in(bag / "data", harness)
    return harness, readings, judge(harness, readings)


def _claimed_version(bag: Path) -> str:
    try:
        return archive_bag.read_info(bag).get(archive_bag.TOOL, "unknown")
    except LoomtestError:
        return "unknown"


def _other_files(bag: Path, redraw: Redraw, told: tuple[Harness, Readings, Verdict]) -> list[str]:
    """Files of the report that differ from what is drawn now, are missing, or are too many; and the page that
    is opened first. A run kept without pages has none to compare."""
    harness, readings, verdict = told
    kept = bag / "data" / REPORT_PLACE
    info = archive_bag.read_info(bag)
    found = []
    opening = bag / archive_bag.OPENING
    if opening.is_file():  # runs kept by version 0.1 have none
        again = opening_page(bag, info, harness, verdict).encode()
        found += [archive_bag.OPENING] if opening.read_bytes() != again else []
    with TemporaryDirectory() as aside:
        place = Path(aside) / REPORT_PLACE
        if (kept / "report.html").is_file():
            redraw.report(harness, readings, verdict, place)
            (place / VERDICT_FILE).unlink(missing_ok=True)  # stands beside the report in a bag
        seal = Seal(bag=info.get("External-Identifier", ""))
        delivered = delivered_by(bag / "data", harness, redraw.judge, seal)
        if delivered is not None:
            write_customer(delivered, place)
        names = {
            p.relative_to(root).as_posix() for root in (kept, place) for p in root.rglob("*") if p.is_file()
        }
        return found + [
            f"{REPORT_PLACE}/{name}" for name in sorted(names) if _bytes(kept / name) != _bytes(place / name)
        ]


def _bytes(path: Path) -> bytes | None:
    return path.read_bytes() if path.is_file() else None


def verdict_differences(kept: Mapping[str, Any], again: Mapping[str, Any]) -> list[str]:
    """Where two verdict objects differ in what they decide: outcomes, findings, the verdict of each wire.

    Resistances and probabilities are not compared digit by digit: another version or another machine may
    round them otherwise.
    """
    found = [
        f"{key} was {kept.get(key)}, is {again.get(key)}"
        for key in ("verdict", "wiring", "joints")
        if kept.get(key) != again.get(key)
    ]
    for key in ("findings", "undecided"):
        before, after = _faults(kept.get(key, ())), _faults(again.get(key, ()))
        found += [f"no longer {_told(fault)}" for fault in before if fault not in after]
        found += [f"newly {_told(fault)}" for fault in after if fault not in before]
    was = {row["wire"]: row["verdict"] for row in kept.get("wires", ())}
    now = {row["wire"]: row["verdict"] for row in again.get("wires", ())}
    changed = [wire for wire in {**was, **now} if was.get(wire) != now.get(wire)]
    found += [f"wire {wire} was {was.get(wire)}, is {now.get(wire)}" for wire in changed[:5]]
    return found


def _faults(findings: Any) -> list[tuple[str, tuple[str, ...], tuple[str, ...], tuple[tuple[str, str], ...]]]:
    return [
        (
            finding["fault"],
            tuple(finding["points"]),
            tuple(suspect["wire"] for suspect in finding["suspects"]),
            tuple(sorted(finding["moves"].items())),
        )
        for finding in findings
    ]


def _told(fault: tuple[str, tuple[str, ...], tuple[str, ...], tuple[tuple[str, str], ...]]) -> str:
    return f"{fault[0]} at {' and '.join(fault[1])}"
