"""How a point, a wire and a part are spoken of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

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


class Places:
    """Speaks of the points of one harness; where a connector is, and what a point was, is said once.

    One object serves one finding, from its first sentence to its last.
    """

    def __init__(self, harness: Harness, by_name: Mapping[str, Wire] | None = None) -> None:
        self.harness = harness
        self._by_name = by_name
        self._said: set[str] = set()

    def point(self, point: str) -> str:
        """`X1 cavity 3 (bulkhead)`, and `X1 cavity 3` the next time; at another cavity `X1 cavity 4`."""
        return name_text(point) + self.was(point) + self._place(connector_of(point) or point)

    def hub(self, connector: str) -> str:
        """`X1 (bulkhead)`, and `X1` the next time."""
        return connector + self._place(connector)

    def was(self, point: str) -> str:
        """` (was X5:2)` the first time, for a point that came out of a connector change."""
        text = was_text(self.harness, point)
        return self._once(f"was {point}", text)

    def between(self, points: Sequence[str]) -> str:
        """Two points: `X1 cavity 3 (bulkhead) and X4 cavity 1`."""
        return " and ".join(self.point(point) for point in points[:2])

    def wire(self, name: str) -> Wire:
        """The wire of that name."""
        if self._by_name is not None:
            return self._by_name[name]
        return next(wire for wire in self.harness.wires if wire.name == name)

    def span(self, wire: Wire) -> str:
        """`red 1.5 mm² wire W7 from X1 cavity 3 to X4 cavity 1, brake lamp`."""
        circuit = f" ({wire.circuit})" if wire.circuit else ""
        return f"{wire_text(wire)}{circuit} from {self.point(wire.start)} to {self.point(wire.end)}"

    def circuit(self, point: str) -> str:
        """The circuit of a point by its name, or the point where it has none."""
        if point not in self.harness.code_of:
            return f"the cavity {name_text(point)}"
        net = self.harness.nets[int(self.harness.net_of[self.harness.code_of[point]])]
        return net.name if len(net.points) > 1 else f"{name_text(point)} (a point of its own)"

    def _place(self, hub: str) -> str:
        place = self.harness.places.get(hub, "")
        return self._once(hub, f" ({place})") if place else ""

    def _once(self, key: str, text: str) -> str:
        if key in self._said:
            return ""
        self._said.add(key)
        return text
