"""Each fault of a run as a card: what and where in words, its mark, the faces it concerns, what to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from loomtest.diagnosis.verdict import Finding
from loomtest.evidence.page.first import bare_mark
from loomtest.evidence.pictures.closeup import closeups
from loomtest.evidence.pictures.drawing import to_svg
from loomtest.harness.model import Harness, Wire
from loomtest.words.labels import FAULT_WORD
from loomtest.words.lines import held
from loomtest.words.numbers import ohms, ohms_between, percent
from loomtest.words.plain import said
from loomtest.words.where import probes_for, where_sentence

MOST_CLOSE = 40  # faults with close-ups of the faces they concern


@dataclass(frozen=True)
class LoomIndex:
    """The harness with its wires by name, and by the points where they end."""

    harness: Harness
    by_name: dict[str, Wire]
    at: dict[str, list[Wire]]

    @classmethod
    def of(cls, harness: Harness) -> LoomIndex:
        """The index of a harness."""
        at: dict[str, list[Wire]] = {}
        for wire in harness.wires:
            for point in {wire.start, wire.end}:
                at.setdefault(point, []).append(wire)
        return cls(harness, {wire.name: wire for wire in harness.wires}, at)


@dataclass(frozen=True)
class FaultCard:
    """One fault as a page shows it: every text made, its mark and its close-ups drawn."""

    number: int
    tone: str
    word: str
    mark: Any
    points: str
    where: str
    text: str
    consequence: str
    next: str
    probes: str
    faces: tuple[Any, ...]
    suspects: tuple[str, ...]
    alternatives: tuple[str, ...]


def fault_cards(findings: Sequence[Finding], loom: LoomIndex, first: int, tone: str) -> list[FaultCard]:
    """A card for each finding, numbered from `first`; `tone` is bad, or doubt."""
    faults = []
    for number, finding in enumerate(findings, first):
        where = where_sentence(finding, loom.harness, loom.by_name)
        text, consequence, after = map(held, said(finding))
        probes = probes_for(finding, loom.harness)
        faults.append(
            FaultCard(
                number,
                tone,
                FAULT_WORD[finding.fault] + ("?" if tone == "doubt" else ""),
                bare_mark(finding, "mark" if tone == "bad" else tone),
                " – ".join(finding.points[:6]) + (" …" if len(finding.points) > 6 else ""),
                held(where),
                text or "No more is known.",
                consequence,
                after,
                probes.sentence if probes else "",
                _faces(finding, loom, number, tone) if number < first + MOST_CLOSE else (),
                tuple(_suspect(finding, i) for i in range(len(finding.suspects[:12]))),
                tuple(_moves(other.moves) for other in finding.alternatives[1:]),
            )
        )
    return faults


def _faces(finding: Finding, loom: LoomIndex, number: int, tone: str) -> tuple[Any, ...]:
    from markupsafe import Markup

    return tuple(
        Markup(to_svg(drawing, alone=False, ident=f"close-{number}-{place}", sized=True))
        for place, drawing in enumerate(closeups(loom.harness, finding, tone, loom.at))
    )


def _suspect(finding: Finding, index: int) -> str:
    suspect = finding.suspects[index]
    text = f"Wire {suspect.wire}" + (f", at {suspect.end}" if suspect.end else "")
    if suspect.ohms is not None:
        text += f": {ohms(suspect.ohms)}"
        if suspect.interval_ohms and (between := ohms_between(*suspect.interval_ohms)) != ohms(suspect.ohms):
            text += f" ({between})"
    if suspect.probability is not None:
        text += f", probability {percent(suspect.probability)}"
    return held(text + ".")


def _moves(moves: Any) -> str:
    return "; ".join(f"the wire for {a} is in {b}" for a, b in moves.items()) + "."
