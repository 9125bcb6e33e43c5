"""Jobs, as the kept runs tell them: which are done, which are open, and how long nothing happened."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from loomtest.evidence.archive.index import Kept


@dataclass(frozen=True, kw_only=True, slots=True)
class JobCourse:
    """One job: its looms and units, how many runs were kept, the last one's verdict, and whether the last run
    of every unit passed. `days_since`: whole days since the last run."""

    job: str
    customer: str
    harnesses: tuple[str, ...]
    units: tuple[str, ...]
    runs: int
    verdict: str
    done: bool
    days_since: int


def jobs_of(runs: Sequence[Kept], today: float) -> list[JobCourse]:
    """The jobs of kept runs, those that wait longest first, the open ones before the done ones.

    What came last is what was kept last: the clocks of two benches may differ. `today`: days since
    2000-01-01 UTC. Runs without a job's number, and rehearsals, belong to none.
    """
    of_job: dict[str, list[Kept]] = {}
    for kept in sorted(runs, key=lambda kept: kept.sequence):
        if kept.job and not kept.rehearsal:
            of_job.setdefault(kept.job, []).append(kept)
    found = []
    for number, own in of_job.items():
        last = {(kept.harness, kept.unit): kept for kept in own}
        found.append(
            JobCourse(
                job=number,
                customer=next((kept.customer for kept in reversed(own) if kept.customer), ""),
                harnesses=tuple(dict.fromkeys(kept.harness for kept in own)),
                units=tuple(dict.fromkeys(kept.unit for kept in own if kept.unit)),
                runs=len(own),
                verdict=own[-1].verdict,
                done=all(kept.verdict == "pass" for kept in last.values()),
                days_since=max(0, int(today - own[-1].day)),
            )
        )
    return sorted(found, key=lambda job: (job.done, -job.days_since))
