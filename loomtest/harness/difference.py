"""Two wire lists side by side: what was added, removed and changed during a rebuild. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import chain

from loomtest.harness.colours import colour_code
from loomtest.harness.model import Harness, Wire
from loomtest.harness.origin import was_at

FIELDS = ("from", "to", "kind", "colour", "size_mm2", "length_m", "ohms_min", "ohms_max", "amps", "circuit")
_ATTRIBUTES = {"from": "start", "to": "end"}
Value = str | float | None


@dataclass(frozen=True, slots=True)
class Changed:
    """A wire of both lists, as it is now; `fields` are (column, what it was, what it is)."""

    wire: Wire
    fields: tuple[tuple[str, Value, Value], ...]


@dataclass(frozen=True)
class Difference:
    """Rows of the new list that the old one has not, the other way round, and those that differ."""

    added: tuple[Wire, ...]
    removed: tuple[Wire, ...]
    changed: tuple[Changed, ...]
    same: int


def difference(old: Harness, new: Harness) -> Difference:
    """Compare two wire lists row by row.

    Rows match by name where both lists give one. Rows without a name are called after their place in the
    list, which moves when a row is put in before them: they match by their two ends, in either direction,
    also by those that they had before a connector change.
    """
    pairs: list[tuple[Wire, Wire]] = []
    named = {wire.name: wire for wire in old.wires if wire.named}
    left_old = dict.fromkeys(range(len(old.wires)))
    place = {wire.name: index for index, wire in enumerate(old.wires)}
    left_new = []
    for wire in new.wires:
        if wire.named and wire.name in named:
            pairs.append((named[wire.name], wire))
            del left_old[place[wire.name]]
        else:
            left_new.append(wire)
    by_ends: dict[frozenset[str], list[int]] = {}
    for index in left_old:
        by_ends.setdefault(frozenset((old.wires[index].start, old.wires[index].end)), []).append(index)
    added = []
    for wire in left_new:
        before = frozenset((was_at(wire, "from") or wire.start, was_at(wire, "to") or wire.end))
        lists = [by_ends.get(ends, []) for ends in (frozenset((wire.start, wire.end)), before)]
        twins = (i for i in chain(*lists) if _may_be_one(old.wires[i], wire))
        twin = next(twins, None)
        if twin is None:
            added.append(wire)
        else:
            by_ends[frozenset((old.wires[twin].start, old.wires[twin].end))].remove(twin)
            del left_old[twin]
            pairs.append((old.wires[twin], wire))
    changes = [Changed(now, fields) for before, now in pairs if (fields := _fields(before, now))]
    changes.sort(key=lambda change: change.wire.row)
    removed = tuple(old.wires[index] for index in left_old)
    return Difference(tuple(added), removed, tuple(changes), len(pairs) - len(changes))


def _may_be_one(before: Wire, now: Wire) -> bool:
    """False for two rows that both have names of their own: those are two wires."""
    return not (before.named and now.named)


def _fields(before: Wire, now: Wire) -> tuple[tuple[str, Value, Value], ...]:
    turned = (before.start, before.end) == (now.end, now.start) and now.kind != "diode"
    found = []
    for column in FIELDS:
        old, new = (getattr(wire, _ATTRIBUTES.get(column, column)) for wire in (before, now))
        if column == "colour":
            different = colour_code(str(old)) != colour_code(str(new))
        elif column in ("from", "to"):
            different = old != new and not turned
        else:
            different = old != new
        if different:
            found.append((column, old, new))
    return tuple(found)
