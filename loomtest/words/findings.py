"""What a finding says: what is wrong, with the thing first and the number after it.

One short function for each way to come to a finding (`diagnosis/why.py`), registered by its type.
"""

from __future__ import annotations

import math
from functools import singledispatch

from loomtest.diagnosis.markers.doubts import LeftByMarkers
from loomtest.diagnosis.verdict import Finding
from loomtest.diagnosis.why import (
    Contradicts,
    DiodeConducts,
    Leaks,
    LeftOn,
    MayBeSwapped,
    PartReads,
    ReadApart,
    ReadJoined,
    TouchesNowAndThen,
    Why,
    WrongPlaces,
)
from loomtest.harness.model import Wire, cavity_of, connector_of
from loomtest.words.lines import all_of, capital, one_of
from loomtest.words.marked import doubt_text
from loomtest.words.numbers import ohms, shown_ohms
from loomtest.words.place import place_text
from loomtest.words.places import Places, wire_text

SECOND_WAY = 0.2  # another way that is at least so likely is told


@singledispatch
def finding_text(why: Why, finding: Finding, places: Places) -> str:
    """One or two sentences: what is wrong, and where. Raises TypeError for a fact without a sentence."""
    raise TypeError(f"no sentence for {type(why).__name__}")


@finding_text.register
def _(why: WrongPlaces, finding: Finding, places: Places) -> str:
    wires = [wire_text(places.wire(suspect.wire)) for suspect in finding.suspects]
    if finding.fault == "crossed":
        at = cavities_text(list(finding.moves), places)
        if len(finding.moves) == 2:
            text = f"The wires in {at} are swapped: {all_of(wires)}."
        else:
            ways = [f"the wire for {short(a)} is in {short(b)}" for a, b in finding.moves.items()]
            text = f"The wires in {at} are swapped round ({all_of(wires)}): {all_of(ways)}."
    else:
        home, place = next(iter(finding.moves.items()))
        shared = bool(finding.suspects) and finding.suspects[0].probability is not None
        named = capital(one_of(wires) if shared else all_of(wires))
        verb = "is" if shared or len(wires) == 1 else "are"
        text = f"{named} {verb} in {places.point(place)} and should be in {places.point(home)}."
    if len(finding.alternatives) > 1 and finding.alternatives[1].probability > SECOND_WAY:
        what = "swap" if finding.fault == "crossed" else "mistake"
        other = cavities_text(list(finding.alternatives[1].points), places)
        text += f" The {what} could equally be at {other}: check both ends."
    return text


@finding_text.register
def _(why: MayBeSwapped, finding: Finding, places: Places) -> str:
    wires = [wire_text(places.wire(suspect.wire)) for suspect in finding.suspects]
    at = cavities_text(list(finding.moves), places)
    return f"The wires in {at} may be swapped: {all_of(wires)} both read open. Or both are broken."


@finding_text.register
def _(why: LeftOn, finding: Finding, places: Places) -> str:
    one, other = (places.circuit(point) for point in finding.points)
    switches = [wire_text(places.wire(name)) for name in why.switches]
    what = f"Is {one_of(switches)} on" if switches else "Is a switch on, or is a part still plugged in"
    read = f"{why.start} to {why.end} read {shown_ohms(why.ohm)}"
    return f"{what}? {capital(one)} and {other} are joined: {read}."


@finding_text.register
def _(why: ReadApart, finding: Finding, places: Places) -> str:
    read = f"{places.between(finding.points)} read {shown_ohms(why.ohm)}"
    wires = [places.wire(suspect.wire) for suspect in finding.suspects]
    if len(wires) == 1:
        broken = "is broken or not connected" if wires[0].conducts else "does not conduct"
        text = f"{capital(places.span(wires[0]))} {broken}: {read}."
        if finding.place is not None:
            text += f" {place_text(finding.place, places, 'the break')}"
        return text
    which = one_of([wire_text(wire) for wire in wires])
    return f"{capital(places.between(finding.points))} should be joined and read {shown_ohms(why.ohm)}: " + (
        f"{which} is broken or not connected."
    )


@finding_text.register
def _(why: ReadJoined, finding: Finding, places: Places) -> str:
    one, other = (places.circuit(point) for point in finding.points)
    how = f"{why.start} to {why.end} read {shown_ohms(why.ohm)}"
    if why.marked:
        how = f"{why.start} and {why.end} read the same marker clips"
    elif math.isnan(why.ohm):
        how = "the points clipped together conduct"
    if finding.place is not None:
        where = place_text(finding.place, places, "the short")
        return f"{capital(one)} and {other} are shorted: {how}. {where}"
    near = places.between(finding.points)
    where = f"The most likely place is between {near}" if why.beside else f"Look first near {near}"
    text = f"{capital(one)} and {other} are shorted: {how}. {where}."
    parts = [wire_text(places.wire(suspect.wire)) for suspect in finding.suspects]
    return f"{text} It may be {one_of(parts)} itself." if parts else text


@finding_text.register
def _(why: Leaks, finding: Finding, places: Places) -> str:
    least = ohms(places.harness.limits.isolation_ohms)
    between = capital(places.between(finding.points))
    return (
        f"{between} should be apart, and current leaks: {shown_ohms(why.ohm)}, where over {least} is right."
    )


@finding_text.register
def _(why: PartReads, finding: Finding, places: Places) -> str:
    wanted = (
        f"at most {ohms(why.most_ohm)}" if why.most_ohm is not None else f"at least {ohms(why.least_ohm)}"
    )
    parts = [places.wire(suspect.wire) for suspect in finding.suspects]
    if len(parts) == 1:
        return f"{capital(places.span(parts[0]))} reads {shown_ohms(why.ohm)}; {wanted} is normal."
    listed = all_of([wire_text(part) for part in parts])
    return f"{capital(listed)} together read {shown_ohms(why.ohm)}; {wanted} is normal."


@finding_text.register
def _(why: DiodeConducts, finding: Finding, places: Places) -> str:
    row: Wire = places.wire(finding.suspects[0].wire)
    if why.forward:
        how = "conducts both ways: it has failed, or something bridges it"
    elif why.backward:
        how = "conducts the wrong way only: it is in the wrong way round"
    else:
        how = f"does not conduct from {row.start} to {row.end}: it is open, or in the wrong way round"
    return f"{capital(places.span(row))} {how}."


@finding_text.register
def _(why: Contradicts, finding: Finding, places: Places) -> str:
    between = capital(places.between(finding.points))
    against = "the other readings have them joined" if why.joined else "nothing that was found joins them"
    return (
        f"{between} read {shown_ohms(why.ohm)}, but {against}. A probe may have been on another point, or a "
        "joint comes and goes."
    )


@finding_text.register
def _(why: TouchesNowAndThen, finding: Finding, places: Places) -> str:
    return (
        f"{capital(places.between(finding.points))} should be apart. They read joined once, over-range once. "
        "Something touches now and then, or a probe was on another point."
    )


def cavities_text(points: list[str], places: Places) -> str:
    """`X1 (bulkhead) cavities 2 and 3` for cavities of one connector, else every point by itself."""
    hubs = {connector_of(point) for point in points}
    hub = next(iter(hubs))
    if (
        len(hubs) > 1
        or not hub
        or len(points) < 2
        or any(places.harness.former.get(point) for point in points)
    ):
        return all_of([places.point(point) for point in points])
    return f"{places.hub(hub)} cavities {all_of([cavity_of(point) for point in points])}"


def short(point: str) -> str:
    """`cavity 3` of a connector named already; a single terminal by its name."""
    return f"{connector_of(point)} cavity {cavity_of(point)}" if connector_of(point) else point


@finding_text.register
def _(why: LeftByMarkers, finding: Finding, places: Places) -> str:
    return doubt_text(why.doubt, finding, places)
