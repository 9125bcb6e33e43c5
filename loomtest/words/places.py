"""How a point, a wire and a part are spoken of."""

from __future__ import annotations

from loomtest.harness.colours import colour_words
from loomtest.harness.model import Harness, Wire, cavity_of, connector_of


def name_text(point: str) -> str:
    """`X1 cavity 3`; a single terminal by its name."""
    connector = connector_of(point)
    return f"{connector} cavity {cavity_of(point)}" if connector else point


def was_text(harness: Harness, point: str) -> str:
    """` (was X5:2)` for a point that came out of a connector change, else nothing."""
    before = harness.former.get(point, ())
    return f" (was {', '.join(before)})" if before else ""


def point_text(harness: Harness, point: str) -> str:
    """`X1 cavity 3 (bulkhead, left of the battery)`; a single terminal by its name.

    After a connector change it says what the point was, too: `X5N cavity 1 (was X5:2) (under the wheel)`.
    """
    place = harness.places.get(connector_of(point) or point, "")
    name = name_text(point) + was_text(harness, point)
    return f"{name} ({place})" if place else name


def wire_text(wire: Wire) -> str:
    """`red 1.5 mm² wire W7`, `lamp L2`: colour, size, kind and name, so far as they are known."""
    words = []
    if wire.colour:
        words.append(colour_words(wire.colour))
    if wire.size_mm2 is not None and wire.kind == "wire":
        words.append(f"{wire.size_mm2:.3g} mm²")
    words += [wire.kind, wire.name]
    return " ".join(words)


def span_text(harness: Harness, wire: Wire) -> str:
    """The wire with its two ends and its circuit."""
    circuit = f", {wire.circuit}" if wire.circuit else ""
    ends = f"{point_text(harness, wire.start)} to {point_text(harness, wire.end)}"
    return f"{wire_text(wire)} from {ends}{circuit}"
