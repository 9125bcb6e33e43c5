"""What is said about joints: how much is too much, what to do next, what would decide."""

from __future__ import annotations

import math

from loomtest.diagnosis.verdict import Finding
from loomtest.diagnosis.why import (
    Advice,
    FlexAtBothEnds,
    JointReads,
    JumpsBetween,
    MeasureDrop,
    MeasureFiner,
    MeasureWire,
    OpenRing,
    RemakeJoints,
    SecondTouch,
    TellFromOthers,
    UnplugOneEnd,
)
from loomtest.words.findings import finding_text
from loomtest.words.lines import all_of, capital, one_of
from loomtest.words.numbers import amps, ohms, ohms_between, shown_ohms, volts
from loomtest.words.places import Places, wire_text
from loomtest.words.todo import todo_text

MOST_REPEATS = 25  # nobody touches a joint more often than this
RESOLVED_VOLT = 0.001  # one count of a handheld meter on its lowest voltage range (common practice)


@finding_text.register
def _(why: JointReads, finding: Finding, places: Places) -> str:
    span = capital(places.span(places.wire(finding.suspects[0].wire)))
    lead = "" if why.sure else "Suspected: "
    if why.open:
        text = f"{span} does not conduct; current goes another way round"
    elif why.expected_ohm is not None:
        text = f"{span} has {_size(why)}, {ohms(why.ohm - why.expected_ohm)} too much"
        text += f" ({ohms(why.expected_ohm)} is healthy)"
    else:
        text = f"{span} has {_size(why)}, too much"
    if len(finding.suspects) > 1:
        others = one_of([wire_text(places.wire(suspect.wire)) for suspect in finding.suspects[1:]])
        text += f". Or it is {others}: these readings cannot tell which"
    return f"{lead}{text}."


@finding_text.register
def _(why: JumpsBetween, finding: Finding, places: Places) -> str:
    wires = one_of([wire_text(places.wire(suspect.wire)) for suspect in finding.suspects])
    return (
        f"{why.start} to {why.end} jumps between {shown_ohms(why.low_ohm)} and {shown_ohms(why.high_ohm)}. "
        f"A joint of {wires} is loose, or a probe slipped (then take that reading back)."
    )


def _size(why: JointReads) -> str:
    spread = ohms_between(*why.interval_ohms)
    return ohms(why.ohm) if spread == ohms(why.ohm) else f"{ohms(why.ohm)} ({spread})"


@todo_text.register
def _(todo: RemakeJoints, finding: Finding, places: Places) -> str:
    wire = places.wire(todo.wire)
    ends = all_of([places.point(wire.start), places.point(wire.end)])
    return f"Clean or remake the joints of {wire.name} at {ends}, then measure again."


@todo_text.register
def _(todo: MeasureWire, finding: Finding, places: Places) -> str:
    where = ends_text(todo.wire, places)
    if todo.in_ohms:
        return f"Measure {where} with the meter on ohms."
    if todo.again:
        return f"Measure {where} again: lift both probes in between, four-wire if you can."
    return f"Measure {where}."


@todo_text.register
def _(todo: SecondTouch, finding: Finding, places: Places) -> str:
    where = ends_text(todo.wire, places)
    return f"Touch {where} again: one reading alone may be a poor touch, two that agree decide."


@todo_text.register
def _(todo: OpenRing, finding: Finding, places: Places) -> str:
    return (
        f"Unscrew or unplug the {todo.free} end of {todo.wire}, then measure {todo.other} to that end. "
        "Another way round joins the two ends and hides this wire."
    )


@todo_text.register
def _(todo: UnplugOneEnd, finding: Finding, places: Places) -> str:
    wire = places.wire(todo.wire)
    return (
        f"Disconnect one end of {wire.name} and measure along it, {wire.start} to {wire.end}: other wires "
        "join the same points."
    )


@todo_text.register
def _(todo: TellFromOthers, finding: Finding, places: Places) -> str:
    wire = places.wire(todo.wire)
    hidden = [p for p in (wire.start, wire.end) if p in places.harness.unreachable]
    if not hidden:
        return f"Measure {wire.start} to {wire.end}: it tells {wire.name} from the others."
    near = next((p for p in (wire.start, wire.end) if p not in hidden), wire.start)
    return (
        f"Open the wrapping at {hidden[0]} and measure {near} to {hidden[0]}: it tells {wire.name} from the "
        "others."
    )


@todo_text.register
def _(todo: MeasureDrop, finding: Finding, places: Places) -> str:
    load = (
        f"Measure the volts lost: switch on the circuit's own load ({amps(todo.amps)}), through a fuse that "
        "fits the thinnest wire before it, for ten seconds at most."
    )
    if todo.ground:
        return f"{load} Black lead on battery minus, red on {todo.start}: right is under a tenth of a volt."
    return f"{load} One lead on {todo.start}, the other on {todo.end}: right is under half a volt."


@todo_text.register
def _(todo: MeasureFiner, finding: Finding, places: Places) -> str:
    return (
        f"Measure {ends_text(todo.wire, places)} more finely (± {ohms(todo.uncertainty_ohm, 1)} cannot "
        f"tell {ohms(todo.advice.allowed_ohm)}): {advice_text(todo.advice)}."
    )


@todo_text.register
def _(todo: FlexAtBothEnds, finding: Finding, places: Places) -> str:
    return f"Flex the loom, probes on {todo.start} and {todo.end}, and fix the joint that moves the value."


def ends_text(name: str, places: Places) -> str:
    """`X1:3 to X4:1`, the two ends of a wire; or what to do where a probe reaches only one."""
    wire = places.wire(name)
    ends = [p for p in (wire.start, wire.end) if p not in places.harness.unreachable]
    return (
        " to ".join(ends) if len(ends) == 2 else f"the nearest points you can reach on both sides of {name}"
    )


def advice_text(advice: Advice) -> str:
    """How to decide, the cheapest way first."""
    ways = []
    if advice.repeats is None:
        ways.append("touch the tips together and record what the meter shows, to take the leads off")
    elif 1 < advice.repeats <= MOST_REPEATS:
        ways.append(f"average {advice.repeats} readings, lifting the probes each time")
    ways.append("measure four-wire")
    drop = advice.amps * advice.allowed_ohm
    if math.isfinite(drop) and drop >= RESOLVED_VOLT:
        finely = "" if drop >= 5 * RESOLVED_VOLT else ", read to the millivolt"
        lost = f"at {amps(advice.amps)}, {ohms(advice.allowed_ohm)} loses {volts(drop)}{finely}"
        ways.append(f"measure the voltage drop ({lost})")
    return "; ".join(ways[:-1]) + "; or " + ways[-1] if len(ways) > 1 else ways[0]
