"""Switches: they may join their two circuits or part them, and both must be seen before one is tested.

Read joined and apart, a switch works: what was read while it was on says nothing else, and is set aside. Read
joined only, nothing tells it from a short, and the person is asked to work it. And where two circuits are
joined through no listed part, a switch left on or a part still plugged in is asked about before a short.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from loomtest.diagnosis.seen.observe import APART, JOINED, Observations
from loomtest.diagnosis.verdict import Finding, Suspect
from loomtest.diagnosis.why import LeftOn, ReadJoined, WorkTheSwitch
from loomtest.harness.model import BoolArray, Harness, IntArray, connector_of
from loomtest.readings.model import Readings

_OFF = re.compile(r"\boff\b", re.IGNORECASE)
_DEVICE = re.compile(r"switch|\bsw\d*\b|pump|motor|relay", re.IGNORECASE)
_LIKE_A_PART_OHM = 0.5  # a bridge of solder or a strand reads less (common practice)


@dataclass(frozen=True)
class Switches:
    """`set_aside`: (n,) readings through a switch that others show apart; `tested`: (W,) switches read both
    ways; `undecided`: joined only; `findings`: said to be off, and joined."""

    set_aside: BoolArray
    tested: BoolArray
    undecided: tuple[Finding, ...] = ()
    findings: tuple[Finding, ...] = ()


def switches_of(harness: Harness, readings: Readings, seen: Observations) -> Switches:
    """What the readings say of every row of `kind = switch`."""
    aside = np.zeros(len(readings), dtype=np.bool_)
    tested = np.zeros(len(harness.wires), dtype=np.bool_)
    undecided, findings = [], []
    for wire in (w for w, row in enumerate(harness.wires) if row.kind == "switch"):
        on, off = _ways(harness, readings, seen, wire)
        said_off = [i for i in on.tolist() if _OFF.search(readings.notes.get(i, ""))]
        if said_off:
            told = _finding(harness, readings, seen, wire, said_off[0])
            findings.append(replace(told, suspects=(*told.suspects, *_wires_beside(harness, wire))))
        elif len(on) and len(off):
            aside[on] = True
            tested[wire] = True
        elif len(on):
            undecided.append(_finding(harness, readings, seen, wire, int(on[0])))
    return Switches(aside, tested, tuple(undecided), tuple(findings))


def _ways(harness: Harness, readings: Readings, seen: Observations, wire: int) -> tuple[IntArray, IntArray]:
    """Readings between the switch's two nets that show them joined, and apart."""
    count = len(harness.points)
    net = np.append(harness.net_of, np.full(len(readings.points) - count, -1))
    one, other = int(net[harness.start[wire]]), int(net[harness.end[wire]])
    a, b = net[readings.start], net[readings.end]
    across = ((a == one) & (b == other)) | ((a == other) & (b == one))
    across[list(readings.bonded)] = False
    return np.flatnonzero(across & (seen.state == JOINED)), np.flatnonzero(across & (seen.state == APART))


def _finding(harness: Harness, readings: Readings, seen: Observations, wire: int, row: int) -> Finding:
    switch = harness.wires[wire]
    names = readings.points[int(readings.start[row])], readings.points[int(readings.end[row])]
    low, high = float(seen.low_ohm[row]), float(seen.high_ohm[row])
    ohm = low if low == high else math.nan
    return Finding(
        "short",
        (switch.start, switch.end),
        (Suspect(switch.name, probability=0.6),),
        probability=0.5,
        why=LeftOn(*names, ohm, (switch.name,)),
        todo=WorkTheSwitch(*names),
    )


def _wires_beside(harness: Harness, switch: int) -> tuple[Suspect, ...]:
    """The wires of the two circuits that the switch stands between."""
    nets = {int(harness.net_of[harness.start[switch]]), int(harness.net_of[harness.end[switch]])}
    wires = [w for net in sorted(nets) for w in harness.nets[net].conductors]
    return tuple(Suspect(harness.wires[w].name, probability=0.3 / len(wires)) for w in wires)


def left_on(harness: Harness, shorts: Sequence[Finding]) -> list[Finding]:
    """For shorts that read like a part, or meet where a switch or a part plugs in: ask about that first."""
    out = []
    for short in shorts:
        if short.fault != "short" or not isinstance(short.why, ReadJoined) or math.isnan(short.why.ohm):
            continue
        if short.why.ohm >= _LIKE_A_PART_OHM or _device_between(harness, short.points):
            why = LeftOn(short.why.start, short.why.end, short.why.ohm)
            todo = WorkTheSwitch(short.why.start, short.why.end)
            out.append(replace(short, suspects=(), probability=0.5, why=why, todo=todo))
    return out


def _device_between(harness: Harness, points: Sequence[str]) -> bool:
    """True where both circuits meet in a connector whose name or place speaks of a switch or part."""
    sides = []
    for point in points:
        if point not in harness.code_of:
            return False
        net = harness.nets[int(harness.net_of[harness.code_of[point]])]
        sides.append({connector_of(harness.points[p]) for p in net.points} - {""})
    shared = set.intersection(*sides)
    return any(_DEVICE.search(f"{hub} {harness.places.get(hub, '')}") for hub in shared)


def without(readings: Readings, aside: BoolArray) -> Readings:
    """The readings but for those set aside."""
    if not aside.any():
        return readings
    kept = np.flatnonzero(~aside)
    place = {int(old): new for new, old in enumerate(kept.tolist())}
    columns = (
        "start", "end", "quantity", "value", "above_ohm", "current_a", "uncertainty", "temperature_c", "row",
    )  # fmt: skip
    return replace(
        readings,
        bonded={place[i]: tie for i, tie in readings.bonded.items() if i in place},
        notes={place[i]: note for i, note in readings.notes.items() if i in place},
        times={place[i]: time for i, time in readings.times.items() if i in place},
        turned=None if readings.turned is None else readings.turned[kept],
        sitting=None if readings.sitting is None else readings.sitting[kept],
        **{name: getattr(readings, name)[kept] for name in columns},
    )
