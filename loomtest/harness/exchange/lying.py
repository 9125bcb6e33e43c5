"""How the loom of an exchange file lies: its nodes and segments as branches of ours."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from loomtest.harness.exchange.names import LegalNames
from loomtest.harness.exchange.terminals import Terminals
from loomtest.harness.exchange.tree import Element
from loomtest.harness.exchange.values import Say, Unit, measured
from loomtest.harness.lie import Branch, Lie, Place3D

_MM = 1e-3  # coordinates have no unit of their own: millimetres


def read_lie(
    parents: Sequence[Element],
    by_id: Mapping[str, Element],
    terminals: Terminals,
    used: set[str],
    units: Mapping[str, Unit],
    say: Say,
) -> Lie | None:
    """The branches, or None where the file has no segments.

    A node where one connector, ring or splice sits (of `used`, those of the loom chosen) is called after it;
    where several sit, each hangs on the node by a branch of no length.
    """
    nodes = [node for parent in parents for node in parent.all("Node")]
    segments = [segment for parent in parents for segment in parent.all("Segment")]
    sits: dict[str, list[str]] = {}
    for node in nodes:
        for identity in node.refers("Referenced_components"):
            occurrence = identity if identity in terminals.station_of else terminals.owner.get(identity, "")
            names = terminals.connectors_of.get(occurrence, [terminals.station_of.get(occurrence, "")])
            sits.setdefault(node.id, []).extend(name for name in names if name in used)
    own = LegalNames()
    own.taken = {name.casefold() for name in (*terminals.station_of.values(), *terminals.cavities)}
    name_of: dict[str, str] = {}
    branches: list[Branch] = []
    placed: set[str] = set()
    for node in nodes:
        here = [name for name in dict.fromkeys(sits.get(node.id, [])) if name not in placed]
        placed.update(here)
        name_of[node.id] = here[0] if len(here) == 1 else own.give(node.told("Id"), node.id)
        branches += [Branch(name_of[node.id], name, 0.0, node.line) for name in here if len(here) > 1]
    joined: list[Branch] = []
    for segment in segments:
        branch = _branch(segment, name_of, units, say)
        joined += [branch] if branch is not None else []
    if not joined:
        return None
    at_m = {name_of[n.id]: place for n in nodes if (place := _place(n, by_id, say)) is not None}
    lie = Lie((*joined, *branches), at_m)
    return Lie(lie.branches, {name: place for name, place in at_m.items() if name in lie.nodes})


def _branch(
    segment: Element, name_of: Mapping[str, str], units: Mapping[str, Unit], say: Say
) -> Branch | None:
    ends = [segment.told("Start_node"), segment.told("End_node")]
    names = [name_of.get(node, "") for node in ends]
    if not all(names):
        lost = ends[0] if not names[0] else ends[1]
        found = f"a segment whose node {lost} the file does not have" if lost else "a segment with one node"
        say(segment, found, "two nodes; it was left out")
        return None
    if names[0] == names[1]:
        say(segment, "a segment from a node to itself", "two nodes; it was left out")
        return None
    for tag in ("Physical_length", "Virtual_length"):  # as it was made, before as it was drawn
        for value in segment.all(tag):
            length = measured(value, units, 1, lambda _, found, expected: say(segment, found, expected))
            if length is not None:
                return Branch(names[0], names[1], length, segment.line)
    return Branch(names[0], names[1], None, segment.line)


def _place(node: Element, by_id: Mapping[str, Element], say: Say) -> Place3D | None:
    point = by_id.get(node.told("Cartesian_point"))
    if point is None:
        if node.told("Cartesian_point"):
            say(node, "a point that the file does not have", "the id of a Cartesian_point")
        return None
    try:
        x, y, z = (float(one.text) * _MM for one in point.all("Coordinates"))
    except ValueError:
        say(point, "a place without three numbers", "Coordinates three times; it was left out")
        return None
    return (x, y, z) if all(abs(value) < 1e4 for value in (x, y, z)) else None
