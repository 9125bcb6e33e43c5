"""What a plan proves and leaves unproven, in plain sentences."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

import numpy as np

from loomtest.diagnosis.seen.isolation import required_pairs
from loomtest.harness.model import Harness, IsolationLevel
from loomtest.words.numbers import counted


class CellFacts(Protocol):
    """Of one cell of a circuit; `bench.plan.continuity.CellProbings` is one."""

    @property
    def dead(self) -> tuple[int, ...]:
        """Wires that carry no current between any two reachable points."""

    @property
    def alike(self) -> tuple[tuple[int, ...], ...]:
        """Groups of wires that no readings tell apart."""

    @property
    def in_loop(self) -> bool:
        """Whether these lie in loops."""


# Assumed times of one person with one meter; nobody's measurement.
SECONDS_PER_TOUCH = 6.0  # find the cavity, touch, let the meter settle
SECONDS_PER_TYPING = 4.0  # read the value, put it down
SECONDS_PER_PROBING = SECONDS_PER_TOUCH + SECONDS_PER_TYPING
SECONDS_PER_CLIP = 8.0  # take a clip off and hang it elsewhere, or hang a further tooth of the comb
SECONDS_PER_WALK = 6.0  # to another connector
MOST_NAMES = 8
MOST_NETS_COMPARED = 400  # past it nobody goes round with two probes


def assumed(touch_s: float | None = None) -> tuple[str, ...]:
    """What the minutes rest on; `touch_s`: how long a reading took in an earlier run of this loom."""
    reading = (
        f"{touch_s:.0f} s a reading, as in your own run"
        if touch_s
        else f"{SECONDS_PER_TOUCH:.0f} s to touch and {SECONDS_PER_TYPING:.0f} s to put a value down"
    )
    return (
        f"minutes: {reading}, {SECONDS_PER_CLIP:.0f} s for each clip hung on a point, "
        f"{SECONDS_PER_WALK:.0f} s for each change of connector; "
        + ("the last two assumed, not measured" if touch_s else "assumed, not measured"),
    )


def in_segments(pairs: int, minutes: int) -> str:
    """What it would cost to check circuits whose wires share a branch of the loom."""
    return (
        f"shorts between circuits whose wires share a branch and can rub through there: {_pairs(pairs)}, "
        f"{counted(pairs, 'more touch', 'more touches')}, about {counted(max(1, minutes), 'minute')}; "
        "isolation_in_segments = true under [limits] asks for them"
    )


def walk_text(metres: int) -> str:
    """How far the probe goes."""
    return f"the probe goes {metres} m along the loom"


def proven(totals: Mapping[str, int], level: IsolationLevel, pairs: int) -> tuple[str, ...]:
    """What stands proven when every reading comes out as expected."""
    out = ["every circuit unbroken between the points you can reach"]
    if totals["loops"]:
        out.append("every wire of a loop, by the value of the readings: a beeper cannot tell")
    if totals["joints"]:
        out.append(
            "the resistance of every wire on its own, as far as readings at the points you can reach can tell"
        )
    if totals["parts"]:
        out.append("the parts left plugged in, within their ranges")
    where = {
        "full": "no circuit shorted to another, empty cavities in the list included",
        "bonded": "no circuit shorted to another, empty cavities left out",
        "neighbours": "no shorts between circuits in cavities side by side, in one branch or in one place",
    }
    if level != "none":
        out.append(f"{where[level]} ({_pairs(pairs)})")
    return tuple(out)


def unproven(
    harness: Harness,
    level: IsolationLevel,
    cells: Sequence[CellFacts],
    parts_alone: Sequence[int],
    joints_left_out: int,
) -> tuple[str, ...]:
    """What stays unproven even when every reading comes out as expected.

    `joints_left_out`: the readings that `joints` would add.
    """
    out = []
    names = [wire.name for wire in harness.wires]
    dead = [names[wire] for wire in sorted(wire for cell in cells for wire in cell.dead)]
    if dead:
        out.append(f"{_some(dead)}: no probe reaches what is beyond")
    hidden = [net.name for net in harness.nets if not any(harness.reachable[code] for code in net.points)]
    if hidden:
        out.append(f"{_some(hidden)}: no probe reaches any point of the circuit")
    if parts_alone:
        out.append(f"{_some([names[w] for w in parts_alone])}: no pair of points shows the part")
    for group, in_loop in sorted((group, cell.in_loop) for cell in cells for group in cell.alike):
        told = _some([names[w] for w in group], most=len(group))
        if in_loop:
            out.append(f"{told}: no reading tells one from another; disconnect one end to measure it alone")
        else:
            out.append(f"{told} each on its own: they are judged together")
    if joints_left_out:
        more = "1 reading" if joints_left_out == 1 else f"{joints_left_out} readings"
        out.append(f"which of the wires at a splice has a poor joint ({more} more with joints)")
    out.extend(_unproven_isolation(harness, level))
    return tuple(out)


def _unproven_isolation(harness: Harness, level: IsolationLevel) -> list[str]:
    out = []
    full, own = required_pairs(harness, "full").count, required_pairs(harness, level).count
    if level == "none" and full:
        out.append(f"shorts: {_pairs(full)} of circuits are not checked")
    elif level == "neighbours":
        out.append(
            f"{_pairs(full - own)} of circuits that are not next to each other, such as two wires chafed "
            "together inside the wrap (bonded or full checks them)"
        )
    elif level == "bonded" and full > own:
        out.append(
            f"{_pairs(full - own)} with an empty cavity: a terminal pushed into one reads as a broken wire"
        )
    reach = len(np.unique(harness.net_of[harness.reachable]))
    through_parts = reach * (reach - 1) // 2 - full
    if through_parts:
        out.append(
            f"{_pairs(through_parts)} of circuits with a part between them: unplug the parts to check "
            "them for shorts"
        )
    return out


def _pairs(count: int) -> str:
    return "1 pair" if count == 1 else f"{count} pairs"


def _some(names: Sequence[str], most: int = MOST_NAMES) -> str:
    """The names, the first few of many."""
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")
