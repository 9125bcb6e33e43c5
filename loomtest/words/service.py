"""What a fault does in service: volts lost, watts turned to heat, what will not work."""

from __future__ import annotations

import math

from loomtest.diagnosis.meaning import meaning
from loomtest.diagnosis.verdict import Finding
from loomtest.diagnosis.why import JointReads, JumpsBetween
from loomtest.words.numbers import amps, percent, volts, watts
from loomtest.words.places import Places


def consequence_text(finding: Finding, places: Places) -> str:
    """One sentence, where the current is known or two circuits are shorted; else nothing."""
    if finding.fault == "short":
        return _shorted(finding, places)
    if isinstance(finding.why, JumpsBetween):
        carries = places.wire(finding.suspects[0].wire).amps
        return "A loose joint works on the bench and fails on the road." if carries else ""
    if isinstance(finding.why, JointReads) and not finding.why.open:
        current = places.wire(finding.suspects[0].wire).amps
        excess = finding.why.ohm - (finding.why.expected_ohm or 0.0)
        return resistance_text(excess, current, places.harness.limits.system_volts)
    if finding.fault == "open":
        carried = [places.wire(suspect.wire).amps or 0.0 for suspect in finding.suspects]
        return resistance_text(math.inf, max(carried, default=0.0), places.harness.limits.system_volts)
    return ""


def resistance_text(excess_ohm: float | None, current_a: float | None, system_volts: float) -> str:
    """What so much resistance too much does at a current; nothing where either is not known.

    Where the joint would take the whole of the system's voltage the circuit simply does not work: I²R of the
    full current would be a figure that cannot happen.
    """
    if current_a is None or not current_a > 0 or excess_ohm is None or math.isnan(excess_ohm):
        return ""
    if not math.isfinite(excess_ohm):
        return f"No current can flow: what it feeds ({amps(current_a)}) will not work."
    lost = meaning(excess_ohm, current_a, system_volts)
    if lost.share >= 1:
        return f"It cannot carry its {amps(current_a)}: the circuit will not work."
    return (
        f"At {amps(current_a)} it loses {volts(lost.volts)} ({percent(lost.share)} of {system_volts:g} V) "
        f"and makes {watts(lost.watts)} of heat in the joint."
    )


def _shorted(finding: Finding, places: Places) -> str:
    harness = places.harness
    at = [harness.net_of[harness.code_of[p]] for p in finding.points if p in harness.code_of]
    names = sorted({harness.nets[int(net)].name for net in at if len(harness.nets[int(net)].points) > 1})
    if len(names) != 2:
        return ""
    return f"With the battery on, current flows between {names[0]} and {names[1]} whatever is switched."
