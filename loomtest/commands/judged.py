"""What judge and report do alike: read a loom and its readings, and judge them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from loomtest.commands.terminal.progress import Progress
    from loomtest.diagnosis.verdict import Verdict
    from loomtest.harness.model import Harness
    from loomtest.readings.model import Instrument, Readings


@dataclass(frozen=True)
class Judged:
    """A loom, what was measured of it and with what (None: not said), and what that means."""

    harness: Harness
    readings: Readings
    instrument: Instrument | None
    verdict: Verdict


def judged(
    harness: str,
    readings: Sequence[str],
    instrument: str | None,
    progress: Progress,
    markers: str | None = None,
) -> Judged:
    """Read the files named on the command line, and judge. Raises LoomtestError as the readers do."""
    from loomtest.harness.load import load_harness
    from loomtest.readings.together import load_together
    from loomtest.words.verdict import judge

    expected = load_harness(harness)
    progress.say(f"reading {', '.join(readings)}")
    meter = None
    if instrument is not None:
        from loomtest.readings.instrument import load_instrument

        meter = load_instrument(instrument)
    measured = load_together(readings, expected, meter, markers)
    progress.say("judging")
    return Judged(expected, measured, meter, judge(expected, measured, meter))
