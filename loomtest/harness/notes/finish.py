"""The wires of a page from its joints: one spelling a point, an earth of its own, nothing doubled."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.chains import TWO_SIDED
from loomtest.harness.notes.meaning import Ask, Joint, UnsureError
from loomtest.harness.notes.names import Names
from loomtest.harness.notes.notation import NotedWire
from loomtest.harness.notes.result import Kind, LookAt, NotedLine, ToLookAt
from loomtest.harness.points import folded, natural

Made = Callable[[Joint, int, object], NotedWire]


def finish(
    lines: Sequence[NotedLine],
    joints: Sequence[tuple[int, Joint]],
    exact: Sequence[tuple[int, NotedWire]],
    names: Names,
    made: Made,
    doubts: Mapping[int, tuple[Ask, str]],
) -> tuple[list[NotedLine], list[NotedWire], list[LookAt]]:
    """The lines with their wires, all wires in the order of the lines, and what to look at.

    `doubts` are lines that the rest of the page makes doubtful, with the reason.
    """
    earthed = _two_sided(_earthed(joints, names), names)
    by_line: dict[int, list[NotedWire]] = {}
    failed: dict[int, UnsureError] = {}
    for (index, _), joint in zip(joints, earthed, strict=True):
        try:
            by_line.setdefault(index, []).append(made(joint, lines[index].number, names))
        except UnsureError as error:
            failed[index] = error
    told = {index for index, _ in exact}
    for index, wire in exact:
        by_line.setdefault(index, []).append(wire)
    look: list[LookAt] = []
    _one_spelling(by_line, lines, look)
    _twice(by_line, lines, look)
    found: list[NotedLine] = []
    wires: list[NotedWire] = []
    named: dict[str, int] = {}
    for index, line in enumerate(lines):
        own = by_line.get(index, [])
        why: tuple[Ask, str] | None = None
        if index in failed:
            why = failed[index].why, failed[index].about
        for wire in own:
            if folded(wire.start) == folded(wire.end):
                why = Ask.SAME_ENDS, wire.start
            if line.number in doubts and index not in told:
                why = doubts[line.number]
            if wire.wire and named.setdefault(wire.wire, index) != index:
                why = Ask.NAME_TWICE, wire.wire
        if why is not None:
            readings = ("; ".join(wire.words for wire in own),) if own and index not in failed else ()
            found.append(replace(line, kind=Kind.UNREAD, why=why[0], about=why[1], readings=readings))
            continue
        kind = line.kind
        if kind is Kind.WIRES and not own:
            kind = Kind.AGAIN
        found.append(replace(line, kind=kind, wires=tuple(own)))
        wires += own
    look += _grounds(wires)
    return found, wires, look


_EARTHED = trade.words("nouns", "earthed")


def _earthed(joints: Sequence[tuple[int, Joint]], names: Names) -> list[Joint]:
    """A load that has a feed and an earth, both without a terminal, gets one for its earth: they are two
    points, and as one they would join feed and earth. So do all of a run from load to load to an earth."""
    fed: dict[str, set[int]] = {}  # a load without a terminal: the lines that join it to no ground
    for line, joint in joints:
        for own, other in ((joint.start, joint.end), (joint.end, joint.start)):
            if not own.terminal and not names.is_ground(other.key):
                fed.setdefault(names.alias(own.key), set()).add(line)
    found: list[Joint] = []
    run: dict[str, int] = {}  # the loads whose earth a run goes through, by its line
    for line, joint in reversed(joints):
        ends = []
        for own, other in ((joint.start, joint.end), (joint.end, joint.start)):
            key, beyond = names.alias(own.key), names.alias(other.key)
            bare = not own.terminal and bool(own.words) and not trade.is_ground(own.key)
            load = bare and (own.sort in ("load", "") or own.key.split()[-1] in _EARTHED)
            elsewhere = bool(fed.get(key, set()) - {line})
            goes_on = elsewhere and line in (run.get(key), run.get(beyond))
            if load and (goes_on or (names.is_ground(other.key) and key in fed)):
                own = replace(own, terminal="E")
                run |= {key: line} if elsewhere else {}
            ends.append(own)
        found.append(replace(joint, start=ends[0], end=ends[1]))
    return found[::-1]


_LEADS = {"stator", "flywheel", "magneto", "pickup", "generator"}  # known by the colours of their leads


def _all_differ(colours: Sequence[str]) -> bool:
    return len(colours) > 1 and all(colours) and len(set(colours)) == len(colours)


def _two_sided(joints: Sequence[Joint], names: Names) -> list[Joint]:
    """A switch with a wire to it and one from it, and no names for its terminals: two points, for as one it
    would be bridged. So is what has an `other side`: the side named first is another one."""
    uses: dict[str, list[tuple[int, str]]] = {}
    other: set[str] = set()
    named: set[str] = set()
    for index, joint in enumerate(joints):
        for side, end in (("start", joint.start), ("end", joint.end)):
            key = names.alias(end.key)
            if end.other:
                other.add(key)
            elif end.terminal:
                named.add(key)
            else:
                uses.setdefault(key, []).append((index, side))
    found = list(joints)
    for key, places in uses.items():
        colours = [joints[index].said.get("colour", "") for index, _ in places]
        if key.split()[-1:] and key.split()[-1] in _LEADS and key not in named and _all_differ(colours):
            for (index, side), colour in zip(places, colours, strict=True):
                whole = replace(getattr(found[index], side), terminal=re.sub(r"[ /]", "_", colour))
                found[index] = replace(found[index], **{side: whole})
            continue
        sides = [side for _, side in places]
        two = key.split()[-1:] and key.split()[-1] in TWO_SIDED and sides.count("end") == 1
        through = two and "start" in sides and key not in named | other
        if not through and key not in other:
            continue
        for index, side in places:
            terminal = "1" if key in other or side == "end" else "2"
            whole = replace(getattr(found[index], side), terminal=terminal)
            found[index] = replace(found[index], **{side: whole})
    return found


def _one_spelling(
    by_line: dict[int, list[NotedWire]], lines: Sequence[NotedLine], look: list[LookAt]
) -> None:
    spelled: dict[str, str] = {}
    for index in sorted(by_line):
        wires = by_line[index]
        for place, wire in enumerate(wires):
            ends = []
            for point in (wire.start, wire.end):
                name, colon, cavity = point.rpartition(":") if ":" in point else (point, "", "")
                first = spelled.setdefault(name.casefold(), name)
                if first != name:
                    look.append(LookAt(lines[index].number, ToLookAt.SPELLED, (name, first)))
                ends.append(first + colon + cavity)
            wires[place] = replace(wire, start=ends[0], end=ends[1])


def _twice(by_line: dict[int, list[NotedWire]], lines: Sequence[NotedLine], look: list[LookAt]) -> None:
    """A wire stated again, from its other end or in passing, is one wire: what is new of it is added."""
    first: dict[frozenset[str], tuple[int, int]] = {}
    for index in sorted(by_line):
        kept: list[NotedWire] = []
        for wire in by_line[index]:
            pair = frozenset((wire.start, wire.end))
            if pair not in first:
                first[pair] = index, len(kept)
                kept.append(wire)
                continue
            there, place = first[pair]
            other = by_line[there][place] if there != index else kept[place]
            agrees = all(
                not a or not b or a == b
                for a, b in (
                    (wire.colour, other.colour),
                    (wire.size, other.size),
                    (wire.length, other.length),
                    (wire.kind, other.kind),
                )
            )
            own_two = wire.wire and other.wire and wire.wire != other.wire
            if there == index or own_two or not agrees:
                kept.append(wire)
                look.append(
                    LookAt(
                        lines[index].number, ToLookAt.TWICE, (wire.start, wire.end, str(lines[there].number))
                    )
                )
                continue
            merged = replace(
                other,
                colour=other.colour or wire.colour,
                size=other.size or wire.size,
                length=other.length or wire.length,
                kind=other.kind or wire.kind,
            )
            by_line[there][place] = merged
            look.append(
                LookAt(lines[index].number, ToLookAt.TWICE, (wire.start, wire.end, str(lines[there].number)))
            )
        by_line[index] = kept


def _grounds(wires: Sequence[NotedWire]) -> list[LookAt]:
    counts: dict[str, int] = {}
    for wire in wires:
        for point in {wire.start, wire.end}:
            counts[point] = counts.get(point, 0) + 1
    plain = {"gnd", "ground", "earth", "chassis", "mass", "body", "frame"}
    return [
        LookAt(0, ToLookAt.ONE_GROUND, (point, str(counts[point])))
        for point in sorted(counts, key=natural)
        if counts[point] > 1 and point.casefold() in plain
    ]
