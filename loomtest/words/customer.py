"""The sentences of the page for a customer: circuits and places by their names, what was wrong in the past
tense, and what is measured now."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Literal

from loomtest.diagnosis.verdict import Finding, Row, Verdict, WireRow
from loomtest.harness.model import Harness, Net, Wire, connector_of
from loomtest.readings.mended import Mended
from loomtest.words.lines import all_of, capital
from loomtest.words.numbers import counted, ohms
from loomtest.words.where import wire_words

State = Literal["gone", "remaining", "not shown gone", "new", "doubtful"]
STATE_WORD: dict[State, str] = {
    "gone": "Fixed",
    "remaining": "Still there",
    "not shown gone": "Not proven fixed",
    "new": "New",
    "doubtful": "Doubtful",
}
STATE_TONE: dict[State, str] = {
    "gone": "good",
    "remaining": "bad",
    "not shown gone": "doubt",
    "new": "bad",
    "doubtful": "doubt",
}
NET_SHORT: dict[Row, str] = {
    "pass": "right",
    "fail": "at fault",
    "undecided": "doubtful",
    "untested": "not all measured",
}
NOTHING_WRONG = "The first measurement found nothing wrong."
NOT_NOTED = "No note was made of what was done."
SAYS_ONLY = (
    "This page says what was measured on the bench, on that day. It does not say that the vehicle is safe, "
    "and it is no roadworthiness certificate."
)
MOST_PLACES = 4


class Named:
    """Speaks of the places and circuits of one harness by their names, and by their codes where they have
    none."""

    def __init__(self, harness: Harness) -> None:
        self.harness = harness
        self._often = Counter(harness.places.values())
        self._known = {wire.circuit for wire in harness.wires if wire.circuit}
        self._wires: dict[str, Wire] = {wire.name: wire for wire in harness.wires}

    def place(self, point: str) -> str:
        """`alternator plug`; with its code where two places share a name, or the code alone."""
        hub = connector_of(point) or point
        name = self.harness.places.get(hub, "")
        if not name:
            return hub
        return name if self._often[name] == 1 else f"{name} ({hub})"

    def places(self, points: Sequence[str]) -> list[str]:
        """The places of points, each once."""
        return list(dict.fromkeys(self.place(point) for point in points))

    def net(self, net: Net) -> str:
        """A circuit by its name, or by the places that it joins."""
        if net.name in self._known:
            return net.name
        told = self.places([self.harness.points[point] for point in net.points])
        if len(told) == 1:
            return f"the circuit at {told[0]}"
        return f"the circuit from {told[0]} to {told[-1]}"

    def net_at(self, point: str) -> Net | None:
        """The circuit that a point belongs to; None for a cavity that nobody declared."""
        code = self.harness.code_of.get(point)
        return None if code is None else self.harness.nets[int(self.harness.net_of[code])]

    def circuits(self, finding: Finding) -> list[str]:
        """The circuits that a finding concerns, each once."""
        points = finding.points[:1] if finding.fault == "misplaced" else finding.points
        own = [self._wires[s.wire] for s in finding.suspects[:2] if s.wire in self._wires]
        named = [wire.circuit for wire in own if wire.circuit]
        nets = [net for point in points if (net := self.net_at(point)) is not None]
        if finding.fault in ("open", "high-resistance") and named:
            return list(dict.fromkeys(named))
        return list(dict.fromkeys(self.net(net) for net in nets)) or ["something"]

    def where(self, finding: Finding) -> str:
        """Where a fault sat: one place, or between two."""
        ends = [suspect.end for suspect in finding.suspects[:1] if suspect.end]
        told = self.places([*ends, *finding.points])
        if ends or finding.moves or len(told) == 1:
            told = told[:1] if ends or len(told) == 1 else told[:MOST_PLACES]
            return capital(all_of(told))
        return capital("between " + all_of(told[:2])) if told else ""

    def wire(self, name: str) -> str:
        """`black 2.5 mm² wire`."""
        wire = self._wires.get(name)
        if wire is None:
            return f"wire {name}"
        words = wire_words(wire)
        return words if wire.kind != "wire" or words.startswith("wire ") else f"{words} wire"


def wrong_sentence(finding: Finding, state: State, named: Named) -> str:
    """What is wrong, or was, to someone who knows no electricity."""
    what = all_of(named.circuits(finding)[:3])
    if state == "doubtful":
        return f"The readings do not settle whether this is right: {what}."
    if state in ("gone", "not shown gone"):
        return {
            "open": f"A wire was broken or not connected: {what} could not work.",
            "short": f"Two circuits were shorted: {what}. A fuse could blow, something could run that was "
            "switched off, or a wire could burn.",
            "crossed": f"Wires were swapped: {what} could not work as they should.",
            "misplaced": f"A wire was in the wrong cavity: {what} could not work as it should.",
            "high-resistance": f"A poor joint: {what} was weak, and the joint could get hot.",
            "leakage": f"Damp, dirt or worn insulation let a little current leak: {what}.",
            "intermittent": f"A contact came and went when the wires moved: {what} could not be relied on.",
            "wrong-part": f"The wrong part was fitted: {what} could not work as it should.",
        }[finding.fault]
    return {
        "open": f"A wire is broken or not connected: {what} will not work.",
        "short": f"Two circuits are shorted: {what}. A fuse may blow, something may run that is switched "
        "off, or a wire may burn.",
        "crossed": f"Wires are swapped: {what} will not work as they should.",
        "misplaced": f"A wire is in the wrong cavity: {what} will not work as it should.",
        "high-resistance": f"A poor joint: {what} will be weak, and the joint can get hot.",
        "leakage": f"Damp, dirt or worn insulation lets a little current leak: {what}.",
        "intermittent": f"A contact comes and goes when the wires move: {what} cannot be relied on.",
        "wrong-part": f"The wrong part is fitted: {what} will not work as it should.",
    }[finding.fault]


def done_sentence(finding: Finding, mended: Mended, named: Named) -> str:
    """What the run after says was mended of a finding; "" where it says nothing of it."""
    wires = [s.wire for s in finding.suspects if s.wire in mended.wires]
    touched = {*finding.points, *finding.moves, *finding.moves.values()}
    places = [point for point in mended.places if point in touched]
    sides = set(finding.points[:2])
    if finding.fault in ("short", "leakage", "intermittent") and any(set(p) == sides for p in mended.pairs):
        told = named.places(finding.points[:2])
        where = f"between {all_of(told)}" if len(told) > 1 else f"at {told[0]}"
        return f"The two circuits were worked on {where}."
    if places:
        return f"The wires were worked on at {all_of(named.places(places)[:MOST_PLACES])}."
    if wires:
        told = list(dict.fromkeys(named.wire(name) for name in wires))
        return f"Worked on: {all_of(told[:2])}, with both its ends."
    return ""


def then_words(finding: Finding, rows: Mapping[str, WireRow], between_ohms: float | None) -> str:
    """What it measured before: `over-range`, `0.39 Ω`; "" where one number does not tell it."""
    if finding.fault in ("short", "leakage"):
        return "" if between_ohms is None else ohms(between_ohms)
    if finding.fault == "open":
        return "over-range"
    if finding.fault == "high-resistance" and finding.suspects:
        suspect = finding.suspects[0]
        row = rows.get(suspect.wire)
        value = suspect.ohms if suspect.ohms is not None else (row.ohms if row else None)
        return "" if value is None else ohms(value)
    return ""


def now_words(finding: Finding, state: State, rows: Sequence[WireRow], between_ohms: float | None) -> str:
    """What it measures now: each wire against its limit, or how far two circuits are apart."""
    if finding.fault in ("short", "leakage"):
        if between_ohms is None:
            return "apart" if state == "gone" else "not measured again"
        apart = "apart: " if state == "gone" else ""
        return f"{apart}over-range" if math.isinf(between_ohms) else f"{apart}{ohms(between_ohms)}"
    told = [row for row in rows if row.ohms is not None]
    if not told:
        return "joined as it should be" if state == "gone" else "not measured again"
    values = all_of([ohms(row.ohms) for row in told[:4]])
    limits = [row.limit_ohms for row in told if row.limit_ohms is not None]
    if not limits:
        return values
    most = all_of(list(dict.fromkeys(ohms(limit) for limit in limits[:4])))
    return f"{values} (at most {most})"


def answer_sentence(verdict: Verdict, states: Sequence[State]) -> str:
    """The answer for the customer, in one or two sentences."""
    left = sum(state in ("remaining", "new") for state in states)
    fixed = sum(state == "gone" for state in states)
    if verdict.verdict == "fail":
        also = f" {counted(fixed, 'fault is', 'faults are')} fixed." if fixed else ""
        return (
            f"Not right yet: {counted(left or len(verdict.findings), 'fault is', 'faults are')} left.{also}"
        )
    unproven = sum(state == "not shown gone" for state in states)
    if unproven:
        what = counted(unproven, "fault is", "faults are")
        return f"Not proven yet: {what} not shown to be fixed." + (f" {fixed} fixed." if fixed else "")
    if verdict.verdict == "not-proven":
        open_ = "No fault is left, but not everything is proven"
        return f"{open_}: what was not measured stands below."
    if fixed:
        what = "The fault is fixed" if fixed == 1 else f"All {fixed} faults are fixed"
        return f"{what}, and everything that was measured is right."
    return "Everything that was measured is right."
