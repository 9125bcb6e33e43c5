"""Sentences for a person: how a wire, a point, a resistance is spoken of in findings."""

from __future__ import annotations

import math
from collections.abc import Sequence

from loomtest.harness.colours import colour_words
from loomtest.harness.model import Harness, Wire, cavity_of, connector_of


def ohms_text(ohm: float) -> str:
    """A resistance with a unit that suits it: `31 mΩ`, `0.42 Ω`, `4.7 kΩ`, `2.2 MΩ`, `over-range`."""
    if math.isinf(ohm):
        return "over-range"
    for least, scale, unit in ((1e6, 1e6, "MΩ"), (1e3, 1e3, "kΩ"), (0.2, 1.0, "Ω")):
        if abs(ohm) >= least:
            return f"{ohm / scale:.3g} {unit}"
    milliohm = ohm * 1e3
    return f"{milliohm:.0f} mΩ" if abs(milliohm) >= 10 else f"{milliohm:.1f} mΩ"


def point_text(harness: Harness, point: str) -> str:
    """`X1 cavity 3 (bulkhead, left of the battery)`; a single terminal by its name.

    After a connector change it says what the point was, too: `X5N cavity 1 (was X5:2) (under the wheel)`.
    """
    place = harness.places.get(connector_of(point) or point, "")
    name = name_text(point) + was_text(harness, point)
    return f"{name} ({place})" if place else name


def name_text(point: str) -> str:
    """`X1 cavity 3`; a single terminal by its name."""
    connector = connector_of(point)
    return f"{connector} cavity {cavity_of(point)}" if connector else point


def was_text(harness: Harness, point: str) -> str:
    """` (was X5:2)` for a point that came out of a connector change, else nothing."""
    before = harness.former.get(point, ())
    return f" (was {', '.join(before)})" if before else ""


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


def one_of(words: Sequence[str], last: str = "or") -> str:
    """`a`, `a or b`, `a, b or c`."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def capital(sentence: str) -> str:
    """The sentence with its first letter large and nothing else changed."""
    return sentence[:1].upper() + sentence[1:]
