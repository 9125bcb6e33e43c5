"""Which fault to mend first: ranked by what it could do in service."""

from __future__ import annotations

from collections.abc import Sequence

from loomtest.diagnosis.verdict import Fault, Finding, Verdict
from loomtest.harness.model import Harness

HOT_WATTS = 2.0  # a joint that sheds this much is too hot to touch within minutes (common practice)

# A short can burn; what is energised wrongly comes next; then what fails to work (common practice).
_ORDER: dict[Fault, int] = {
    "short": 0,
    "misplaced": 2,
    "crossed": 2,
    "leakage": 3,
    "high-resistance": 4,
    "intermittent": 5,
    "open": 6,
    "wrong-part": 7,
}


def ranked(findings: Sequence[Finding], verdict: Verdict, harness: Harness) -> list[Finding]:
    """The findings, most dangerous first; equals keep their order.

    A joint that sheds `HOT_WATTS` or more stands directly behind the shorts. Within a kind the most watts
    lead, then the most amperes in service.
    """

    def key(finding: Finding) -> tuple[int, float, float]:
        amps = _amps(finding, harness)
        watts = _watts(finding, verdict, harness)
        level = 1 if watts >= HOT_WATTS else _ORDER[finding.fault]
        return level, -watts, -amps

    return sorted(findings, key=key)


def _amps(finding: Finding, harness: Harness) -> float:
    """The largest current that any wire concerned carries in service; 0 where none is stated."""
    named = {suspect.wire for suspect in finding.suspects}
    nets = {int(harness.net_of[harness.code_of[p]]) for p in finding.points if p in harness.code_of}
    amps = [
        wire.amps or 0.0
        for index, wire in enumerate(harness.wires)
        if wire.name in named or (not named and int(harness.net_of[harness.start[index]]) in nets)
    ]
    return max(amps, default=0.0)


def _watts(finding: Finding, verdict: Verdict, harness: Harness) -> float:
    """I²R of the excess in the likeliest suspect; 0 where the current or the excess is not known."""
    if finding.fault != "high-resistance" or not finding.suspects:
        return 0.0
    suspect = finding.suspects[0]
    amps = next((wire.amps for wire in harness.wires if wire.name == suspect.wire), None)
    row = next((row for row in verdict.wires if row.wire == suspect.wire), None)
    ohms = suspect.ohms if suspect.ohms is not None else (row.ohms if row else None)
    if amps is None or ohms is None:
        return 0.0
    expected = row.expected_ohms if row and row.expected_ohms is not None else 0.0
    return amps * amps * max(ohms - expected, 0.0)
