"""The wires: occurrences and cores with size, colour and length, and the connections that they make."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from loomtest.harness.exchange.terminals import Terminals
from loomtest.harness.exchange.tree import Element
from loomtest.harness.exchange.values import Say, Unit, cell, colour_cell, measured, size_cell
from loomtest.harness.exchange.variants import Variant, Variants

CELLS = ("from", "to", "wire", "colour", "size", "length", "kind", "circuit", "note")


@dataclass(frozen=True, slots=True)
class Conductor:
    """A wire, or a core of a `cable`, with what its catalogue says; `ids`: all it goes by."""

    element: Element
    ids: tuple[str, ...]
    number: str
    cable: str
    catalogue: Element | None
    lengths: tuple[Element, ...]


@dataclass(frozen=True, slots=True)
class DrawnWire:
    """A row of the wire list, as cells; `ids`: what it is called in the file; `line` there."""

    line: int
    ids: tuple[str, ...]
    start: str
    end: str
    name: str
    colour: str = ""
    size: str = ""
    length: str = ""
    kind: str = ""
    circuit: str = ""
    note: str = ""

    def cells(self) -> list[str]:
        """The row under the header `CELLS`."""
        about = [self.name, self.colour, self.size, self.length, self.kind, self.circuit, self.note]
        return [self.start, self.end, *about]


def conductors_of(harness: Element, by_id: Mapping[str, Element], say: Say) -> dict[str, Conductor]:
    """All wires and cores by their ids; a cable with cores is no conductor itself."""
    found: dict[str, Conductor] = {}
    for wire in harness.all("General_wire_occurrence"):
        part = _part(wire, by_id, say)
        lengths = tuple(wire.all("Length_information"))
        cores = list(wire.all("Core_occurrence"))
        if wire.kind != "Special_wire_occurrence" and not cores:
            number = wire.told("Wire_number")
            found[wire.id] = Conductor(wire, (wire.id,), number, "", part, lengths)
        for core in cores:
            own = tuple(core.all("Length_information")) or lengths
            found[core.id] = Conductor(
                core,
                (core.id, wire.id),
                core.told("Wire_number"),
                wire.told("Special_wire_id"),
                _part(core, by_id, say),
                own,
            )
    return found


def _part(element: Element, by_id: Mapping[str, Element], say: Say) -> Element | None:
    part = element.told("Part")
    if part and part not in by_id:
        say(element, f"a part {part} that the file does not have", "its id; size and colour are left out")
    return by_id.get(part)


def read_rows(
    harness: Element,
    conductors: Mapping[str, Conductor],
    terminals: Terminals,
    units: Mapping[str, Unit],
    say: Say,
) -> list[DrawnWire]:
    """A row for each connection with two clear ends; each of the others is said, with its id."""
    rows: list[DrawnWire] = []
    counts = Counter(conductor.number for conductor in conductors.values())
    for connection in harness.all("Connection"):
        wire = connection.told("Wire")
        conductor = conductors.get(wire)
        if conductor is None:
            found = f"a wire {wire} that the file does not have" if wire else "no wire"
            say(connection, found, "the id of a wire or core; the connection was left out")
            continue
        points = _ends(connection, terminals, say)
        if points is not None:
            alone = counts[conductor.number] == 1 or not conductor.cable
            name = conductor.number if alone else f"{conductor.cable}.{conductor.number}"
            rows.append(_row(connection, replace(conductor, number=name), points, units, say))
    return rows


def _ends(connection: Element, terminals: Terminals, say: Say) -> tuple[str, str] | None:
    """The two points that a connection joins, from position 0 to position 1; None, said, where unclear."""
    extremities = list(connection.all("Extremities"))
    if len(extremities) != 2:
        found = "a wire with " + {0: "no end", 1: "one end"}.get(len(extremities), f"{len(extremities)} ends")
        say(connection, found, "two; it was left out")
        return None
    extremities.sort(key=lambda one: one.told("Position_on_wire").rstrip(".0") or "0")
    points = []
    for extremity in extremities:
        contact = extremity.told("Contact_point")
        point = terminals.point_of.get(contact)
        if point is None:
            why = terminals.unclear.get(contact, "is not in the file" if contact else "is not told")
            say(connection, f"a wire whose end ({contact or 'contact point'}) {why}", "two; it was left out")
            return None
        points.append(point)
    if points[0] == points[1]:
        say(connection, f"a wire with both ends at {points[0]}", "two different points; it was left out")
        return None
    return points[0], points[1]


def _row(
    connection: Element,
    conductor: Conductor,
    points: tuple[str, str],
    units: Mapping[str, Unit],
    say: Say,
) -> DrawnWire:
    def about(_: Element, found: str, expected: str) -> None:
        say(conductor.element, found, expected)

    part = conductor.catalogue
    area = part.first("Cross_section_area") if part is not None else None
    colours = [] if part is None else [*part.all("Cover_colour"), *part.all("Core_colour")]
    colour, odd = colour_cell(colours)
    name = conductor.number or connection.told("Id") or conductor.ids[0]
    return DrawnWire(
        line=connection.line,
        ids=(*conductor.ids, connection.id),
        start=points[0],
        end=points[1],
        name=name,
        colour=colour,
        size=size_cell(measured(area, units, 2, about)) if area is not None else "",
        length=cell(_length(conductor.lengths, units, about) or None),
        circuit=connection.told("Signal_name"),
        note=f"colour {odd}" if odd else "",
    )


def _length(lengths: Sequence[Element], units: Mapping[str, Unit], say: Say) -> float | None:
    """That of production before any other; of two alike the first that can be read."""
    for length in sorted(lengths, key=lambda one: "production" not in one.told("Length_type").casefold()):
        value = length.first("Length_value")
        metres = measured(value, units, 1, say) if value is not None else None
        if metres:
            return metres
    return None


def fuse_rows(
    harness: Element, by_id: Mapping[str, Element], terminals: Terminals, used: set[str], say: Say
) -> list[DrawnWire]:
    """A row for each fuse that sits between two cavities of a box at which wires end; the others are said."""
    sits: dict[str, list[str]] = {}
    for box in harness.all("Component_box_occurrence"):
        for slot in box.all("Component_slots"):
            for text in _words(slot):
                sits.setdefault(text, []).append(slot.id)
    rows = []
    for fuse in harness.all("Fuse_occurrence"):
        held = [word for word in _words(fuse) if word in terminals.slots or word in terminals.point_of]
        held += sits.get(fuse.id, [])
        points: dict[str, None] = {}
        for identity in held:
            places = terminals.slots.get(identity) or (terminals.point_of.get(identity, ""),)
            points.update(dict.fromkeys(point for point in places if point))
        name = fuse.told("Id") or fuse.id
        ends = list(points)
        if len(ends) == 2 and used.issuperset(ends):
            rows.append(DrawnWire(fuse.line, (fuse.id,), ends[0], ends[1], name, kind="fuse"))
        else:
            where = f"at {', '.join(ends)}" if ends else "in no place that is told"
            say(fuse, f"fuse {name} {where}", "two cavities at which wires end; it was left out")
    return rows


def _words(element: Element) -> Iterator[str]:
    """Every word of the texts below an element, but for its part."""
    for child in element.children:
        if child.tag != "Part":
            yield from child.text.split()
            yield from _words(child)


def chosen(rows: Sequence[DrawnWire], variants: Variants, variant: Variant | None) -> list[DrawnWire]:
    """The rows of a variant; all of them without one."""
    return [row for row in rows if variants.holds(variant, row.ids)]


def with_names(rows: Sequence[DrawnWire]) -> tuple[list[DrawnWire], list[tuple[str, str]]]:
    """The rows with a name each: the second of a name gets `_2`; and which ones were changed."""
    out, changed, taken = [], [], set[str]()
    for row in rows:
        name, number = row.name, 1
        while name in taken:
            number += 1
            name = f"{row.name}_{number}"
        taken.add(name)
        out.append(row if name == row.name else replace(row, name=name))
        if name != row.name:
            changed.append((row.name, name))
    return out, changed
