"""A harness out of a KBL file (VDA 4964, 2.3 to 2.5): cells of our wire list, cavities, places and branches.

The classes are those of the published standard. What a wire list cannot hold is counted and named; what is
broken is named with its id and left out, the rest is read. `FILE.kbl#NAME` is one configuration of the file.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from loomtest.errors import Problem
from loomtest.harness.exchange.filename import split_configuration
from loomtest.harness.exchange.lying import read_lie
from loomtest.harness.exchange.terminals import Terminals, read_terminals
from loomtest.harness.exchange.tree import Element, read_tree, uncollected
from loomtest.harness.exchange.values import unit_of
from loomtest.harness.exchange.variants import Variant, Variants, read_variants
from loomtest.harness.exchange.wires import (
    CELLS,
    DrawnWire,
    chosen,
    conductors_of,
    fuse_rows,
    read_rows,
    with_names,
)
from loomtest.harness.lie import Lie
from loomtest.harness.model import connector_of
from loomtest.harness.outward import visible
from loomtest.harness.table import Table

MOST_SAID = 25  # of one kind, one by one
MOST_NAMED = 8  # in one sentence
_ROOT = "KBL_container"
_HARNESSES = ("Harness", "Harness_container")
_KEPT = frozenset(
    {
        *_HARNESSES, "Unit", "Cartesian_point", "Node", "Segment", "Connector_housing", "General_wire",
        "Component_box", "Module", "Harness_configuration",
    }
)  # fmt: skip
_READ = {
    "Connector_occurrence", "Component_box_occurrence", "General_wire_occurrence", "Connection",
    "Fuse_occurrence", "Module", "Harness_configuration",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Exchanged:
    """What a file says of one loom. `rows` are of `wires`; `cavities` of each connector, empty ones too."""

    name: str
    rows: tuple[DrawnWire, ...]
    cavities: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    places: Mapping[str, str] = field(default_factory=dict)
    lie: Lie | None = None
    file: str = ""

    @property
    def table(self) -> Table:
        """The wire list; its lines are those of the exchange file."""
        return Table(self.file, CELLS, 1, tuple((row.line, row.cells()) for row in self.rows), ",")


def read_exchange(path: Path, problems: list[Problem]) -> Exchanged | None:
    """The loom in a file; None with the reason among the problems. Everything odd is added to them, too."""
    file, configuration = split_configuration(path)
    with uncollected():
        root = read_tree(file, _KEPT, problems)
        return None if root is None else _FileReading(visible(str(file)), root, problems).loom(configuration)


class _FileReading:
    def __init__(self, file: str, root: Element, problems: list[Problem]) -> None:
        self.file, self.root, self.problems = file, root, problems
        self.by_id: dict[str, Element] = {}
        self.kinds: Counter[str] = Counter()
        self.more: dict[str, list[Problem]] = {}

    def say(self, element: Element, found: str, expected: str) -> None:
        """A warning that names the element; of many of a kind the first ones, then how many more."""
        kind = re.sub(r"\S*\d\S*", "", expected)
        self.kinds[kind] += 1
        where = f"{element.tag} {element.id}".strip()
        problem = Problem(
            self.file, element.line or None, visible(where), visible(found), visible(expected), "warning"
        )
        self.more.setdefault(kind, []).append(problem)
        if self.kinds[kind] <= MOST_SAID:
            self.problems.append(problem)

    def note(self, found: str, expected: str) -> None:
        self.problems.append(Problem(self.file, None, "", visible(found), visible(expected), "warning"))

    def refuse(self, found: str, expected: str) -> None:
        self.problems.append(Problem(self.file, None, "", visible(found), visible(expected)))

    def loom(self, configuration: str) -> Exchanged | None:
        if self.root.tag != _ROOT:
            self.refuse(f"XML whose root is {self.root.tag}", f"{_ROOT}, the root of a KBL file")
            return None
        harnesses = [child for tag in _HARNESSES for child in self.root.all(tag)]
        if not harnesses:
            self.refuse("no harness", "an element Harness or Harness_container with the wires")
            return None
        if len(harnesses) > 1:
            self.note(f"{len(harnesses)} harnesses", "one in a file; the first was read")
        self._index(self.root)
        harness = harnesses[0]
        version = self.root.version
        if version and not re.match(r"2\.[3-5]", version):
            self.note(f"version {version}", "KBL 2.3, 2.4 or 2.5; it was read as these are")
        variants = read_variants([self.root, harness])
        variant = None
        if configuration:
            variant = variants.named(configuration)
            if variant is None:
                self._no_such(configuration, variants)
                return None
        return self._read(harness, variants, variant)

    def _index(self, element: Element) -> None:
        for child in element.children:
            if child.id:
                if child.id in self.by_id:
                    self.say(child, f"an id that {self.by_id[child.id].tag} has too", "ids each once")
                else:
                    self.by_id[child.id] = child
            if child.children:
                self._index(child)

    def _read(self, harness: Element, variants: Variants, variant: Variant | None) -> Exchanged | None:
        units = {unit.id: unit_of(unit) for unit in self.root.all("Unit")}
        terminals = read_terminals(harness, self.by_id, self.say)
        conductors = conductors_of(harness, self.by_id, self.say)
        every = read_rows(harness, conductors, terminals, units, self.say)
        ends = {point for row in every for point in (row.start, row.end)}
        fuses = fuse_rows(harness, self.by_id, terminals, ends, self.say)
        rows = chosen([*every, *fuses], variants, variant)
        joined = {word for c in harness.all("Connection") for word in c.refers("Wire")}
        idle = [c for identity, c in conductors.items() if identity not in joined]
        self._variants(every, variants, variant)
        rows, renamed = with_names(rows)
        self._renamed(terminals.names.changed + renamed)
        self._left_out(harness, idle=[c.number or c.ids[0] for c in idle])
        if not rows:
            self.refuse("no wire that could be read", "a Connection for each wire, with two Extremities")
            return None
        stations = self._stations(terminals, variants, variant, rows)
        lie = read_lie([self.root, harness], self.by_id, terminals, stations, units, self.say)
        self._the_rest()
        return Exchanged(
            name=self._name(harness, variant),
            rows=tuple(rows),
            cavities={name: c for name, c in terminals.cavities.items() if name in stations and c},
            places={name: text for name, text in terminals.places.items() if name in stations},
            file=self.file,
            lie=None if lie is None else Lie(lie.branches, lie.at_m, self.file),
        )

    def _stations(
        self, terminals: Terminals, variants: Variants, variant: Variant | None, rows: list[DrawnWire]
    ) -> set[str]:
        """Connectors, rings and splices of the loom: where a wire of it ends, or that its modules hold."""
        used = {connector_of(p) or p for row in rows for p in (row.start, row.end)}
        for identity, name in terminals.station_of.items():
            if variants.holds(variant, (identity,)):
                used.update(
                    n for n in terminals.connectors_of.get(identity, [name]) if n in terminals.cavities
                )
        return used

    def _name(self, harness: Element, variant: Variant | None) -> str:
        texts = (harness.told(tag) for tag in ("Description", "Abbreviation", "Part_number", "Id"))
        name = next((text for text in texts if text), "") or Path(self.file).stem
        return f"{name}, {variant.name}" if variant is not None else name

    def _no_such(self, configuration: str, variants: Variants) -> None:
        if not variants.listed:
            self.refuse(f"no configuration {configuration}", "the file without #: it holds one loom")
            return
        near = variants.near(configuration)
        names = ", ".join(one.name for one in variants.listed[: 3 * MOST_NAMED])
        hint = f"; the nearest is {near[0]}" if near else ""
        self.refuse(f"no configuration {configuration}", f"one of {names}{hint}")

    def _variants(self, rows: list[DrawnWire], variants: Variants, variant: Variant | None) -> None:
        """Without a choice: what there is to choose, and wires that no single loom can hold both of."""
        if variant is not None or not variants.listed:
            return
        listed = [
            f"{one.name} ({one.what}, {_wires(len(chosen(rows, variants, one)))})" for one in variants.listed
        ]
        whole = [
            text for text, one in zip(listed, variants.listed, strict=True) if one.what == "configuration"
        ]
        shown = whole or listed
        found = f"{_wires(len(rows))} of all variants together; to choose from: {', '.join(shown[:40])}"
        found += f" and {len(shown) - 40} more" if shown[40:] else ""
        self.note(found, "one of them: --configuration NAME, or FILE.kbl#NAME")
        between: dict[frozenset[str], list[DrawnWire]] = {}
        for row in rows:
            between.setdefault(frozenset((row.start, row.end)), []).append(row)
        for same in between.values():
            owners = [self._modules(row, variants) for row in same]
            if len({owner for owner in owners if owner}) > 1:
                told = ", ".join(row.name for row in same)
                one = same[0]
                found = f"wires of different variants between {one.start} and {one.end}: {told}"
                problem = Problem(
                    self.file, one.line, "", visible(found), "one of them in a loom: choose one", "warning"
                )
                self.kinds["variants"] += 1
                self.more.setdefault("variants", []).append(problem)
                if self.kinds["variants"] <= MOST_SAID:
                    self.problems.append(problem)

    def _modules(self, row: DrawnWire, variants: Variants) -> frozenset[str]:
        return frozenset().union(*(variants.modules_of.get(one, frozenset()) for one in row.ids))

    def _renamed(self, changed: list[tuple[str, str]]) -> None:
        if changed:
            told = ", ".join(f"{was or 'nothing'} is {now}" for was, now in changed[: 2 * MOST_NAMED])
            told += f" and {len(changed) - 2 * MOST_NAMED} more" if changed[2 * MOST_NAMED :] else ""
            found = f"{len(changed)} names with a space or a colon, or of two things"
            self.note(found, f"names each once; so it was read: {told}")

    def _left_out(self, harness: Element, idle: list[str]) -> None:
        counts = Counter(
            child.tag
            for child in harness.children
            if child.tag not in _READ and child.tag.endswith(("_occurrence", "_assignment"))
        )
        if counts:
            found = ", ".join(f"{count} {tag}" for tag, count in sorted(counts.items()))
            self.note(found, "what a wire list holds; these were left out")
        if idle:
            told = ", ".join(idle[:MOST_NAMED]) + (" …" if idle[MOST_NAMED:] else "")
            self.note(f"{_wires(len(idle))} without a connection ({told})", "two ends; they were left out")

    def _the_rest(self) -> None:
        for kind, count in self.kinds.items():
            if count > MOST_SAID:
                rest = self.more[kind][MOST_SAID:]
                told = ", ".join(problem.column or problem.found for problem in rest[: 2 * MOST_NAMED])
                self.note(f"{len(rest)} more of these: {told}", rest[0].expected)


def _wires(count: int) -> str:
    return f"{count} wire" + ("s" if count != 1 else "")
