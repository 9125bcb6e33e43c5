"""Where along a wire a fault is, which readings would tell it, and the cautions that belong beside them.

Cautions: common practice, and what the sources of `words/cautions.py` say of currents in a loom.
"""

from __future__ import annotations

import math
from itertools import groupby

from loomtest.diagnosis.verdict import WirePlace
from loomtest.diagnosis.why import ReadBothEnds, ReadPieces
from loomtest.harness.model import Wire
from loomtest.words.lines import all_of, capital
from loomtest.words.numbers import metres, percent, shown_ohms
from loomtest.words.places import Places, wire_text

LOOM_ALONE = "The loom lies on the bench, off the vehicle, and every control unit is unplugged."
FUSE_AND_LAMP = (
    "The current goes through a fuse and a lamp, never straight from the battery, and for ten seconds at "
    "most. The thinnest wire on its way decides how large it may be."
)
ALONG_THE_WIRE = "Distances run along the wire, not along the wrap."
NEVER_PIERCED = "Never pierce insulation to look for it: open the wrap."
PLACE_CAUTIONS = (LOOM_ALONE, FUSE_AND_LAMP, ALONG_THE_WIRE, NEVER_PIERCED)

_INCH_M = 0.0254
TYPE_WITH_UNIT = {
    "voltage_drop": "type the volts and the amps, such as 36 mV 1.5 A; a minus sign is no mistake",
    "capacitance": "type the capacitance with its unit, such as 120 pF",
}
SKIP_PLACES = "Skip leaves it out."
PLACE_BLOCK = "To find the place, before you fix it"


def fed_at(feed: tuple[str, ...]) -> str:
    """Where the current goes in and out, in a line that has little room."""
    return f"feed {feed[0]}, out at {feed[1]}"


def what_to_type(quantity: str) -> str:
    """What to type where the meter shows nothing to take by a key."""
    return TYPE_WITH_UNIT.get(quantity, "type the value, or ol for over-range")


def finds_place(fault: str, points: tuple[str, ...]) -> str:
    """What a reading is for: `finds the place of the short, X1:1 to X1:2`."""
    what = "break" if fault == "open" else "short"
    return f"finds the place of the {what}, {' to '.join(points)}"


def place_first(quantity: str, feed: tuple[str, ...], places: Places) -> str:
    """What to do before the leads touch, for a reading that tells a place."""
    if quantity == "voltage_drop":
        at = [places.point(point) for point in feed]
        return f"To find the place: feed the current in at {at[0]} and out at {at[1]}."
    if quantity == "capacitance":
        return "To find the place: turn the meter to capacitance."
    return "To find the place: measure by four leads."


def place_cautions(quantity: str) -> tuple[str, ...]:
    """The cautions that stand beside a reading that tells a place."""
    return PLACE_CAUTIONS if quantity == "voltage_drop" else (LOOM_ALONE, f"{ALONG_THE_WIRE} {NEVER_PIERCED}")


def place_read(quantity: str, value: float, amps: float | None) -> str:
    """What was read: `36 mV at 1.5 A`, `120 pF`, `0.41 Ω`."""
    if quantity == "capacitance":
        return f"{value * 1e12:.4g} pF" if abs(value) < 1e-9 else f"{value * 1e9:.4g} nF"
    if quantity != "voltage_drop":
        return shown_ohms(value)
    return f"{value * 1e3:.4g} mV" + (f" at {amps:.3g} A" if amps else "")


def place_text(place: WirePlace, places: Places, what: str) -> str:
    """`The short is 0.62 m from X1 cavity 3 along red wire W5, ± 12 cm.`"""
    wire = places.wire(place.wire)
    if place.zone is not None:
        end = wire.start if place.zone == "start" else wire.end
        near = "in the middle" if place.zone == "middle" else f"in the third next to {places.point(end)}"
        return f"{capital(what)} is {near}: the meter's steps show no more than that."
    text = f"{capital(what)} is {_where(place, wire, places)}, {_give(place, wire)}."
    if place.beside is not None:
        other = places.wire(place.beside.wire)
        text += f" Seen from the other wire: {_where(place.beside, other, places)}."
    return text


def far_text(far_m: float, wire: Wire) -> str:
    """A distance along a wire, in the unit of its length: `0.62 m`, `24 in`."""
    return f"{far_m / _INCH_M:.0f} in" if wire.inches else metres(far_m)


def place_line(place: WirePlace, wire: Wire, places: Places) -> str:
    """`0.62 m from X1 cavity 3 along red wire W5, ± 12 cm`, where there is room for one line."""
    if place.zone == "middle":
        return f"in the middle third of {wire_text(wire)}"
    if place.zone is not None:
        end = wire.start if place.zone == "start" else wire.end
        return f"in the third of {wire_text(wire)} next to {places.point(end)}"
    return f"{_where(place, wire, places)}, {_give(place, wire)}"


def open_there(points: tuple[str, ...], place: WirePlace) -> str:
    """What to do at a place that is known."""
    if place.zone is not None:
        return f"Look at the crimps at both ends first. Then open the wrap there. {NEVER_PIERCED}"
    pair = f"{points[0]} to {points[1]}"
    return f"Open the wrap there, fix it, and measure {pair} again. {ALONG_THE_WIRE} {NEVER_PIERCED}"


def ask_text(todo: ReadBothEnds, places: Places) -> str:
    """The readings that would tell the place of a short, or why none is told."""
    if not todo.fits:
        return (
            "The readings along the wires fit no single place: look for a second short between the two "
            "circuits, or for a poor joint, and measure again."
        )
    if not todo.asked:
        return (
            "The readings along the wires leave the place open: take them again with more current, or with "
            "a meter that shows smaller steps."
        )
    steps, fed = [], False
    for feed, of_feed in groupby(todo.asked, key=lambda one: one.feed):
        read = all_of([f"{one.start} to {one.end}" for one in of_feed])
        if feed:
            at, fed = all_of([places.point(point) for point in feed]), True
            steps.append(f"feed a current into {at}, and read the volts from {read}")
        else:
            steps.append(f"read the ohms by four leads from {read}")
    cautions = PLACE_CAUTIONS if fed else (LOOM_ALONE, ALONG_THE_WIRE, NEVER_PIERCED)
    return f"To find the place: {'; then '.join(steps)}. {' '.join(cautions)}"


def pieces_text(todo: ReadPieces, places: Places) -> str:
    """The capacitances that would tell the place of a break, or what stands in the way."""
    ends, wire = all_of([places.point(point) for point in todo.ends]), wire_text(places.wire(todo.wire))
    if todo.why == "damp":
        return (
            f"Both ends of {wire} show more than the whole wire can have: it is damp, or a last strand still "
            "holds. Dry it and measure again, and look at the crimps first."
        )
    if todo.why == "less":
        return (
            f"Both ends of {wire} together show less than the wire should have: it may be broken twice. "
            "Look at the crimps first, and zero the meter with its leads in the air."
        )
    if todo.why == "faint":
        return f"The meter's steps are too coarse for {wire}. Look at the crimps at both ends first."
    if todo.why == "lengths":
        return (
            f"Write the lengths of {wire} and of the wires that hang on it into the wire list: without them "
            "the capacitances tell no place."
        )
    if todo.why == "rests":
        return (
            f"The ends of {wire} were measured against different circuits: {_against(todo, places)}. Tie the "
            f"same ones together and measure the capacitance from {ends} again."
        )
    return (
        f"To find the place: tie all other circuits together and measure the capacitance from {ends} too, "
        f"then that of a whole wire beside it. {LOOM_ALONE} {ALONG_THE_WIRE}"
    )


def _against(todo: ReadPieces, places: Places) -> str:
    """`X1 cavity 1 against horn and left lamp, X2 cavity 1 against horn`."""
    pairs = zip(todo.ends, todo.rests, strict=False)
    return ", ".join(f"{places.point(end)} against {all_of(rest)}" for end, rest in pairs)


def _where(place: WirePlace, wire: Wire, places: Places) -> str:
    """`0.62 m from X1 cavity 3 along red wire W5`."""
    start, along = places.point(place.start), wire_text(wire)
    if place.metres is None:
        return f"{percent(place.share)} of the way from {start} along {along}"
    return f"{far_text(place.metres, wire)} from {start} along {along}"


def _give(place: WirePlace, wire: Wire) -> str:
    """`± 12 cm`: the larger half of the interval."""
    if place.metres is None or place.interval_metres is None:
        low, high = place.interval_share
        return f"± {math.ceil(max(high - place.share, place.share - low) * 100)} %"
    low, high = place.interval_metres
    half = max(high - place.metres, place.metres - low)
    if wire.inches:
        return f"± {math.ceil(half / _INCH_M)} in"
    return f"± {math.ceil(half * 100)} cm"
