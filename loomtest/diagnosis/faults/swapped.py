"""Two wires that read open along their own pairs only: swapped with each other, sooner than both broken.

One mistake is likelier than two. Where nobody has read across, nothing tells: the swap is said first, with
the pair that would tell, and the two broken wires are said to be no surer than that.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from loomtest.diagnosis.verdict import Alternative, Finding, Suspect
from loomtest.diagnosis.why import MayBeSwapped, TellCrossed
from loomtest.harness.model import Harness, cavity_of, connector_of
from loomtest.harness.points import natural

_SWAPPED = 0.8  # one mistake beside two, both unmeasured (our choice: a swap is the commoner one by far)


@dataclass(frozen=True)
class _Swap:
    """Two open findings, the two points whose wires would have changed places, and the pair that tells."""

    opens: tuple[int, int]
    places: tuple[str, str]
    probe: tuple[str, str]


def swapped_or_broken(
    harness: Harness, findings: Sequence[Finding], probed: set[frozenset[str]]
) -> tuple[list[Finding], list[Finding]]:
    """(the findings, broken wires that may be swapped no surer than they are; the suspected swaps).

    `probed`: pairs of points that some reading joined or parted.
    """
    plain = [(i, f.points) for i, f in enumerate(findings) if f.fault == "open" and len(f.suspects) == 1]
    swaps = [
        swap
        for n, one in enumerate(plain)
        for other in plain[n + 1 :]
        for swap in _ways(harness, one, other, probed)
    ]
    out, suspected, taken = list(findings), [], set[int]()
    swaps.sort(key=lambda swap: (_farness(harness, *swap.places), swap.opens, swap.places))
    for swap in swaps:
        if taken & set(swap.opens):
            continue
        taken.update(swap.opens)
        wires = tuple(findings[i].suspects[0].wire for i in swap.opens)
        todo = TellCrossed(*swap.probe, (wires[0], wires[1]))
        for i in swap.opens:
            out[i] = replace(findings[i], probability=round(1 - _SWAPPED, 3), todo=todo)
        a, b = swap.places
        ways = [other.places for other in swaps if other.opens == swap.opens]
        suspected.append(
            Finding(
                "crossed",
                swap.places,
                tuple(Suspect(wire) for wire in wires),
                {a: b, b: a},
                tuple(Alternative(way, {way[0]: way[1], way[1]: way[0]}, 1 / len(ways)) for way in ways),
                probability=_SWAPPED,
                why=MayBeSwapped(),
                todo=todo,
            )
        )
    return out, suspected


def _ways(
    harness: Harness,
    one: tuple[int, Sequence[str]],
    other: tuple[int, Sequence[str]],
    probed: set[frozenset[str]],
) -> Iterator[_Swap]:
    """The swaps that would explain both opens, none of whose telling pairs was read."""
    (i, points), (j, others) = one, other
    found = []
    for near in (0, 1):
        for far in (0, 1):
            a, b = points[near], others[far]  # their wires would have changed places
            alike = connector_of(a) == connector_of(b) and (connector_of(a) or _bare(harness, a, b))
            if not alike or {a, b} & harness.unreachable:
                continue
            tells = [(a, others[1 - far]), (b, points[1 - near])]
            found.append((a, b, [pair for pair in tells if not set(pair) & harness.unreachable]))
    if any(frozenset(pair) in probed for _, _, tells in found for pair in tells):
        return
    yield from (_Swap((i, j), (a, b), tells[0]) for a, b, tells in found if tells)


def _bare(harness: Harness, *points: str) -> bool:
    """True where each holds one wire: what sits on a sender or stud can change places, too."""
    ends = [p for wire in harness.wires for p in (wire.start, wire.end)]
    return all(ends.count(point) == 1 for point in points)


def _farness(harness: Harness, a: str, b: str) -> tuple[bool, int]:
    """The likelier first: where someone worked, and near each other."""
    connector = connector_of(a)
    own = [p for p in harness.points if connector_of(p) == connector]
    own.sort(key=lambda p: natural(cavity_of(p))) if connector else None
    worked = bool({connector, a, b} & harness.worked_on)
    return not worked, abs(own.index(a) - own.index(b)) if a in own and b in own else len(own)
