"""Where a fault is, what it means to the owner, and where to put the probes: one sentence each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from loomtest.diagnosis.verdict import Finding, Suspect
from loomtest.harness.colours import colour_words
from loomtest.harness.model import Harness, Wire, connector_of
from loomtest.words.lines import one_of
from loomtest.words.place import far_text, place_line
from loomtest.words.places import Places, name_text, point_text


def wire_words(wire: Wire) -> str:
    """`red 1.5 mm²`, `lamp`: what the hand looks for; the wire's name where nothing else is known."""
    if wire.kind != "wire":
        return wire.kind
    size = f"{wire.size_mm2:.3g} mm²" if wire.size_mm2 is not None else ""
    seen = " ".join(word for word in (colour_words(wire.colour), size) if word)
    return seen or f"wire {wire.name}"


def where_sentence(finding: Finding, harness: Harness, by_name: Mapping[str, Wire]) -> str:
    """Where to look: `red 1.5 mm², somewhere between X1 cavity 3 (bulkhead) and splice SP2`."""
    suspects = [suspect for suspect in finding.suspects if suspect.wire in by_name]
    if finding.fault in ("crossed", "misplaced") and finding.moves:
        return _moved(finding, harness)
    if finding.place is not None:
        return place_line(finding.place, by_name[finding.place.wire], Places(harness))
    if finding.fault in ("short", "leakage"):
        return "between " + one_of([_named(harness, point) for point in finding.points[:3]], "and")
    if len(suspects) > 1 and (suspects[0].probability or 0) <= 2 * (suspects[1].probability or 0):
        words = one_of([f"{wire_words(by_name[s.wire])} ({s.wire})" for s in suspects[:4]])
        ends = one_of([_named(harness, point) for point in finding.points[:2]], "and")
        return f"in one of {len(suspects)} wires, {words}, between {ends}"
    if suspects:
        return _in_wire(suspects[0], by_name[suspects[0].wire], finding, harness)
    return "between " + one_of([_named(harness, point) for point in finding.points[:4]], "and")


def _in_wire(suspect: Suspect, wire: Wire, finding: Finding, harness: Harness) -> str:
    start, end = wire.start, wire.end
    if suspect.end == wire.start or (finding.points and finding.points[0] == wire.end):
        start, end = end, start
    span = f"{wire_words(wire)} from {_named(harness, start)}"
    if suspect.end in (wire.start, wire.end):
        return f"{span}, at its end in {_named(harness, suspect.end or '')}"
    return f"{wire_words(wire)}, somewhere between {_named(harness, start)} and {_named(harness, end)}"


def _moved(finding: Finding, harness: Harness) -> str:
    places = list(finding.moves)
    if finding.fault == "misplaced":
        belongs, found = next(iter(finding.moves.items()))
        return f"the wire for {_named(harness, belongs)} is in {_named(harness, found)}"
    hubs = {connector_of(point) for point in places}
    if len(hubs) == 1 and (hub := next(iter(hubs))):
        place = harness.places.get(hub, "")
        names = one_of([name_text(point).removeprefix(f"{hub} cavity ") for point in places], "and")
        return f"in {hub}{f' ({place})' if place else ''}, cavities {names}"
    return "in " + one_of([_named(harness, point) for point in places], "and")


def _named(harness: Harness, point: str) -> str:
    splice = point in harness.unreachable and not connector_of(point)
    return f"splice {point_text(harness, point)}" if splice else point_text(harness, point)


@dataclass(frozen=True)
class Probes:
    """Where the two leads go to look again, and what is right there."""

    red: str
    black: str
    joined: bool

    @property
    def sentence(self) -> str:
        """`Red lead: X1 cavity 3. Black lead: X4 cavity 1. ...`"""
        right = "a low, steady value" if self.joined else "over-range"
        leads = f"Red lead: {name_text(self.red)}. Black lead: {name_text(self.black)}."
        return f"{leads} Once fixed, the meter shows {right}."


def probes_for(finding: Finding, harness: Harness) -> Probes | None:
    """The two points to probe when it is mended; None where no probe can reach."""
    if finding.fault in ("short", "leakage"):
        ends = [p for point in finding.points[:2] if (p := _reached(harness, point, ()))]
        return Probes(ends[0], ends[1], False) if len(ends) == 2 else None
    first = next(iter(finding.moves), finding.points[0] if finding.points else "")
    red = _reached(harness, first, ())
    if not red:
        return None
    other = [p for p in finding.points if p != first and not finding.moves]
    black = _reached(harness, other[0], (red,)) if other else ""
    black = black or _reached(harness, first, (red, *finding.points))
    return Probes(red, black, True) if black else None


def _reached(harness: Harness, point: str, besides: tuple[str, ...]) -> str:
    """The point itself, or another of its net that a probe reaches; "" where there is none."""
    if point not in harness.code_of:
        return ""
    own = [harness.points[p] for p in harness.nets[int(harness.net_of[harness.code_of[point]])].points]
    return next((p for p in (point, *own) if p not in besides and p not in harness.unreachable), "")


def plain_sentence(finding: Finding, harness: Harness, by_name: Mapping[str, Wire]) -> str:
    """What the fault means to someone who knows no electricity."""
    circuits = _circuits(finding, harness, by_name)
    what = one_of(circuits[:3], "and")
    at = _at(finding, harness, by_name)
    return {
        "open": f"A wire is broken or not connected{at}: {what} will not work.",
        "short": f"Two circuits are shorted{at}: {what}. "
        "A fuse may blow, something may run that is switched off, or a wire may burn.",
        "crossed": f"Wires are swapped{at}: {what} will not work as they should.",
        "misplaced": f"A wire is in the wrong cavity{at}: {what} will not work as it should.",
        "high-resistance": f"A poor joint{at}: {what} will be weak, and the joint can get hot.",
        "leakage": f"Damp, dirt or worn insulation lets a little current leak{at}: {what}. "
        "It tends to get worse.",
        "intermittent": f"A contact comes and goes{at} when the wires move: you cannot rely on {what}.",
        "wrong-part": f"The wrong part is fitted{at}: {what} will not work as it should.",
    }[finding.fault]


def _at(finding: Finding, harness: Harness, by_name: Mapping[str, Wire]) -> str:
    """` at X4 (alternator plug)`, ` 0.62 m from X4`, or ` between` two places where the end is not known."""
    if finding.place is not None and finding.place.metres is not None:
        far = far_text(finding.place.metres, by_name[finding.place.wire])
        hub = connector_of(finding.place.start) or finding.place.start
        return f" {far} from {hub}" + (f" ({harness.places[hub]})" if hub in harness.places else "")
    ends = [suspect.end for suspect in finding.suspects[:1] if suspect.end]
    hubs = list(dict.fromkeys(connector_of(p) or p for p in (*ends, *finding.points)))
    told = [f"{hub} ({harness.places[hub]})" if hub in harness.places else hub for hub in hubs]
    if ends or len(told) == 1 or finding.moves:
        return f" at {told[0]}"
    return " between " + one_of(told[:2], "and") if told else ""


def _circuits(finding: Finding, harness: Harness, by_name: Mapping[str, Wire]) -> list[str]:
    """The circuits concerned by name, else their points."""
    points = finding.points[:1] if finding.fault == "misplaced" else finding.points
    nets = [harness.nets[int(harness.net_of[harness.code_of[p]])].name for p in points
            if p in harness.code_of]  # fmt: skip
    named = [by_name[s.wire].circuit for s in finding.suspects[:2] if s.wire in by_name]
    found = list(dict.fromkeys(name for name in (*nets, *named) if name))
    known = {wire.circuit for wire in harness.wires if wire.circuit}
    words = [name if name in known else f"the circuit at {name_text(name)}" for name in found]
    return words or ["something"]
