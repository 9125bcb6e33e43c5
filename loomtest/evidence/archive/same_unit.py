"""A unit's number that was kept before: two looms with one number are one loom to every history."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from loomtest.errors import ArchiveError
from loomtest.evidence.archive.database.rows import EPOCH, moment_of
from loomtest.evidence.archive.folder import Archive
from loomtest.evidence.archive.index import Index, Kept, Wanted

# Two benches that keep one number within this time hardly have one loom between them; clocks may differ.
TOGETHER_MIN = 15.0
_NEWEST = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitTested:
    """One unit at one bench. `job`: the job's number; empty where none was given, like the others."""

    harness: str
    unit: str
    job: str = ""
    stage: str = ""
    bench: str = ""


@dataclass(frozen=True, slots=True)
class SameUnit:
    """A run that was kept under the same number: `together` at another bench about the same time, or one that
    `passed` already in the same job and at the same stage."""

    kept: Kept
    together: bool


def kept_under_that_number(
    archive: Archive, tested: UnitTested, now: datetime, besides: str = ""
) -> SameUnit | None:
    """The newest run that speaks against keeping another one of that unit without a question; None where
    there is none, or where the index cannot be asked. `besides`: the folder of a run that is not meant.

    An index that another bench has not reached yet does not know its runs: ask again when all is kept.
    """
    if not tested.unit or not archive.exists():
        return None
    try:
        index = Index(archive)
        index.catch_up()
        runs = index.kept(Wanted(harness=tested.harness, unit=tested.unit, rehearsal=False), _NEWEST)
    except ArchiveError:
        return None
    today = (now - EPOCH).total_seconds() / 86400
    for kept in reversed(runs):
        if kept.folder == besides:
            continue
        apart_min = abs(moment_of(kept.kept)[0] - today) * 1440
        if kept.bench and tested.bench and kept.bench != tested.bench and apart_min <= TOGETHER_MIN:
            return SameUnit(kept, together=True)
        if kept.verdict == "pass" and (kept.job, kept.stage) == (tested.job, tested.stage):
            return SameUnit(kept, together=False)
    return None
