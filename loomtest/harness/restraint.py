"""Airbags, belt tensioners and their wiring: found in a wire list, so that nothing is ever measured there.

The few milliamperes of an ohmmeter can fire an igniter; makers' service manuals forbid every meter on it
(common practice). A wire is one of a restraint system when its `kind` says so, or any of its texts.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from loomtest.harness.forest import components
from loomtest.harness.model import Wire, connector_of

_WORDS = re.compile(
    r"air[\s_-]*bag|(?<![a-z])srs(?![a-z])|squib|(?:seat[\s_-]*)?belt[\s_-]*(?:pre[\s_-]*)?tensioner"
    r"|pre[\s_-]*tensioner",
    re.IGNORECASE,
)


def restraint_word(wire: Wire) -> str:
    """What in a row's texts speaks of a restraint system; "" where nothing does."""
    extra = [cell for _, cell in wire.extra]
    for text in (wire.name, wire.start, wire.end, wire.circuit, wire.note, *extra):
        found = _WORDS.search(text)
        if found:
            return found[0]
    return ""


def untouchable(wires: Sequence[Wire], code_of: Mapping[str, int]) -> frozenset[str]:
    """Points where a probe would touch a restraint system: the ends of its wires, and the cavities that other
    wires and fuses join to them. A stud, ground or splice at which other circuits end as well stays open to
    the probe, and nothing beyond it is ruled out: else one earth would rule out the whole loom.
    """
    others = [wire for wire in wires if wire.kind != "restraint"]
    shared = {p for wire in others for p in (wire.start, wire.end) if not connector_of(p)}
    ends = {p for wire in wires if wire.kind == "restraint" for p in (wire.start, wire.end)} - shared
    if not ends:
        return frozenset()
    joins = [
        (code_of[wire.start], code_of[wire.end])
        for wire in others
        if wire.conducts and not {wire.start, wire.end} & shared
    ]
    labels = components(len(code_of), joins)
    live = {labels[code_of[point]] for point in ends}
    return frozenset(p for p, code in code_of.items() if labels[code] in live and p not in shared)
