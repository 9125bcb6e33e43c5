"""How long one reading takes this person: from the times in the runs of this loom, once there are some."""

from __future__ import annotations

from datetime import datetime
from itertools import pairwise
from pathlib import Path
from statistics import median

from loomtest.errors import LoomtestError
from loomtest.harness.model import Harness
from loomtest.readings.load import load_readings
from loomtest.readings.runfile import RUN_FILE, read_run_file

LEAST_GAPS = 10  # readings after one another from which a pace is taken
_BETWEEN_S = (1.0, 120.0)  # faster is a scanner or a script, slower a pause


def own_seconds(harness: Harness) -> float | None:
    """The median time from one reading to the next in the newest run beside the loom's files; None without.

    Rehearsed runs do not count.
    """
    if harness.source is None:
        return None
    folder = harness.source if harness.source.is_dir() else harness.source.parent
    runs = sorted([*folder.glob(f"*/{RUN_FILE}"), *folder.glob(f"runs/*/{RUN_FILE}")])
    for run in sorted(runs, key=lambda path: path.stat().st_mtime, reverse=True)[:5]:
        found = seconds_of(run.parent, harness)
        if found is not None:
            return found
    return None


def seconds_of(run: Path, harness: Harness) -> float | None:
    """The median time between readings of one run; None where it has too few or is rehearsed."""
    try:
        if read_run_file(run).rehearsal:
            return None
        times = load_readings(run, harness).times
    except LoomtestError:
        return None
    at = [datetime.fromisoformat(times[index]).timestamp() for index in range(len(times)) if times.get(index)]
    gaps = [b - a for a, b in pairwise(at) if _BETWEEN_S[0] <= b - a <= _BETWEEN_S[1]]
    return median(gaps) if len(gaps) >= LEAST_GAPS else None
