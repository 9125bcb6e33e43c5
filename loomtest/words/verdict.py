"""The verdict that people get: what `diagnosis` found, in the order of danger and in sentences."""

from __future__ import annotations

from dataclasses import replace

from loomtest.diagnosis.judge import judge as diagnosed
from loomtest.diagnosis.verdict import Verdict
from loomtest.harness.model import Harness
from loomtest.readings.model import Instrument, Readings
from loomtest.words.danger import ranked
from loomtest.words.doubted import told
from loomtest.words.spoken import spoken


def judge(harness: Harness, readings: Readings, instrument: Instrument | None = None) -> Verdict:
    """What the readings say about the harness, the most dangerous finding first.

    The instrument is the one given, else the run's own, else a generic 3½-digit handheld meter, which the
    verdict's notes then say. Never raises for what readings say of each other.
    """
    return spoken(harness, worded(harness, diagnosed(harness, readings, instrument)))


def worded(harness: Harness, verdict: Verdict) -> Verdict:
    """The verdict with its findings, decided and doubtful, in the order of danger."""
    return replace(
        verdict,
        findings=tuple(ranked(verdict.findings, verdict, harness)),
        undecided=tuple(ranked(verdict.undecided, verdict, harness)),
        doubted=tuple(map(told, verdict.doubted)),
    )
