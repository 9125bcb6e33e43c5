"""Readings typed by hand: one value, one pair, or a whole line `POINT POINT VALUE [note]`."""

from __future__ import annotations

from loomtest.bench.plan.plan import Step
from loomtest.errors import nearest
from loomtest.harness.model import Harness, connector_of
from loomtest.harness.points import folded, read_point
from loomtest.readings.model import Instrument, Quantity
from loomtest.readings.run import Reading
from loomtest.readings.values import parse_unit, parse_value
from loomtest.words.cautions import NEVER_A_METER

LINE = "POINT POINT VALUE [note], such as X1:3 X4:1 0.12"


def typed_value(text: str, quantity: Quantity = Quantity.RESISTANCE) -> float:
    """Ohms or volts of what was typed, +inf for over-range. Raises ValueError with what was expected."""
    return parse_value(text, quantity).number


def quantity_of(step: Step | None, instrument: Instrument) -> Quantity:
    """What a reading at this step is of, with this meter."""
    if step is not None and step.quantity == "diode":
        return Quantity.DIODE
    return Quantity.RESISTANCE_4W if instrument.method == "four-wire" else Quantity.RESISTANCE


def point_of(text: str, harness: Harness) -> str:
    """The point as the harness spells it; an undeclared cavity of a known connector is one too.

    Raises ValueError that names the nearest known points, and for a point of a restraint system.
    """
    point = _spelled(text, harness)
    if point in harness.untouchable:
        raise ValueError(f"{point} belongs to a restraint system. {NEVER_A_METER}")
    return point


def _spelled(text: str, harness: Harness) -> str:
    point = read_point(text)
    if point in harness.code_of:
        return point
    alike = [known for known in harness.points if folded(known) == folded(point)]
    if len(alike) == 1:
        return alike[0]
    connectors = {connector_of(known) for known in harness.points} - {""}
    if connector_of(point) in connectors:
        return point
    close = nearest(point, harness.points)
    wanted = " or ".join(close) if close else "a point of the harness"
    raise ValueError(f"found the point {point!r}; expected {wanted}")


def pair_of(text: str, harness: Harness) -> tuple[str, str]:
    """Two different points out of `X1:3 X4:1`. Raises ValueError."""
    words = text.replace(",", " ").split()
    if len(words) != 2:
        raise ValueError(f"found {text!r}; expected two points, such as X1:3 X4:1")
    start, end = point_of(words[0], harness), point_of(words[1], harness)
    if start == end:
        raise ValueError(f"found {start} twice; expected two different points")
    return start, end


def step_between(harness: Harness, start: str, end: str) -> Step:
    """A step for a pair that no plan asked for: joined is expected inside a net, over-range elsewhere."""
    codes = [harness.code_of.get(point) for point in (start, end)]
    joined = None not in codes and harness.net_of[codes[0]] == harness.net_of[codes[1]]
    if joined:
        return Step(0, "continuity", start, end, None, "")
    return Step(0, "isolation", start, end, float("inf"), "")


def read_line(text: str, harness: Harness, four_wire: bool = False) -> Reading:
    """One typed line as a reading to record. Raises ValueError with what was found and expected.

    A unit may stand apart from its number (`0.42 ohm`); one of farads (`120 pF`) makes it a capacitance.
    What comes after is the note.
    """
    words = text.split()
    if len(words) < 3:
        raise ValueError(f"found {text.strip()!r}; expected {LINE}")
    start, end = pair_of(" ".join(words[:2]), harness)
    value, rest = words[2], words[3:]
    if rest and _dimension(rest[0]) in ("ohm", "farad") and value[-1:].isdigit():
        value, rest = f"{value} {rest[0]}", rest[1:]
    quantity = Quantity.RESISTANCE_4W if four_wire else Quantity.RESISTANCE
    if value.casefold() in ("yes", "no"):
        quantity = Quantity.CONTINUITY
    elif value.casefold() == "o":
        value = "OL"
    elif _dimension(value.lstrip("+-0123456789.,eE ")) == "farad":
        quantity = Quantity.CAPACITANCE
    parse_value(value, quantity)
    return Reading(start, end, value, quantity=quantity, note=" ".join(rest))


def _dimension(word: str) -> str:
    """What a unit counts; "" for a word that is none."""
    try:
        return parse_unit(word)[1]
    except ValueError:
        return ""
