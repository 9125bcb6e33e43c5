"""What compare and the page for a customer do alike: read a loom and two runs of it, and judge both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from loomtest.commands.terminal.progress import Progress
    from loomtest.diagnosis.change.change import Side
    from loomtest.errors import Problem
    from loomtest.harness.model import Harness
    from loomtest.readings.model import Readings


@dataclass(frozen=True)
class TwoRuns:
    """A loom, and what was measured of it before and after; `warnings` are those of both files."""

    harness: Harness
    before: Side
    after: Side
    warnings: Sequence[Problem]


def two_runs(
    harness: str,
    runs: tuple[str, str],
    instrument: str | None,
    progress: Progress,
    together: bool = False,
) -> TwoRuns:
    """Read the files named on the command line, and judge. Raises LoomtestError as the readers do.

    A run from before a connector change is told in the points of today. `together`: a later run of the mended
    places alone counts with what still stands of the first.
    """
    from loomtest.diagnosis.change.change import Side
    from loomtest.diagnosis.change.follow import follow_readings, follow_verdict
    from loomtest.harness.load import load_harness
    from loomtest.readings.earlier import load_earlier
    from loomtest.readings.instrument import load_instrument
    from loomtest.readings.together import check_goes_on, going_on, odd_pair
    from loomtest.words.verdict import judge

    expected = load_harness(harness)
    meter = load_instrument(instrument) if instrument is not None else None
    warnings: list[Problem] = []

    def side(path: str, earlier: Readings | None = None) -> Side:
        progress.say(f"reading {path}")
        taken_on, readings = load_earlier(path, expected)
        warnings.extend(readings.warnings)
        if earlier is not None and taken_on is expected:
            readings = going_on(earlier, readings, expected)
        progress.say(f"judging {path}")
        verdict = judge(taken_on, readings, meter)
        if taken_on is not expected:
            readings, verdict = follow_readings(readings, expected), follow_verdict(verdict, expected)
        return Side(readings, verdict, meter)

    if together:
        check_goes_on(Path(runs[0]), Path(runs[1]))
    before = side(runs[0])
    after = side(runs[1], before.readings if together else None)
    warnings.extend(odd_pair(before.readings, after.readings, runs[1]))
    return TwoRuns(expected, before, after, warnings)
