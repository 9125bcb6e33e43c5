"""A plan with marker clips in words: what it proves, where the clips go, what to touch."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from loomtest.words.lines import Line, wrapped
from loomtest.words.marked import AFTER, BEFORE
from loomtest.words.numbers import counted, shown_ohms


def proves_text(touch: Any) -> str:
    """What one touch proves; a touch has `point`, `round`, `why` and `circuit`, as the plan has them."""
    if touch.why == "circuit":
        return f"{touch.circuit} whole up to {touch.point}, and apart from the round's others"
    if touch.why == "itself":
        return f"the clip of {touch.circuit} sits on {touch.point}"
    return f"{touch.circuit} apart from every circuit with a clip in round {touch.round}"


def proofs(touches: Sequence[Any]) -> list[str]:
    """`proves_text` of each."""
    return [proves_text(touch) for touch in touches]


def marked_plan_lines(
    harness: str,
    totals: Mapping[str, int],
    placings: Sequence[Any],
    touches: Sequence[Any],
    rings: Sequence[str],
    levels: Sequence[Line] = (),
) -> Iterator[Line]:
    """The plan for a terminal, round by round. `levels`: what the loom costs without the clips."""
    yield Line(harness, "head")
    yield from wrapped(
        f"{counted(totals['marked'], 'touch', 'touches')}, {counted(totals['placings'], 'clip')} put on in "
        f"{counted(totals['rounds'], 'round')}, about {counted(max(1, totals['minutes']), 'minute')}."
    )
    yield from levels
    yield Line("")
    yield Line("First", "head")
    yield from wrapped(*BEFORE, indent=2)
    for number in range(1, totals["rounds"] + 1):
        yield Line("")
        yield Line(f"Round {number}", "head")
        for one in placings:
            if one.round == number:
                yield Line(f"  clip {one.clip.marker:<5} on {one.point}")
        for touch in touches:
            if touch.round == number:
                shows = shown_ohms(touch.expected_ohms)
                yield Line(f"{touch.step:>5}  {touch.point:<10} {shows:<12} {touch.circuit}")
    yield Line("")
    yield Line("It leaves open", "head")
    yield from wrapped("Joints: measure pairs of points for those.", indent=2)
    if rings:
        yield from wrapped(f"Wires side by side or in a ring: {', '.join(rings)}.", indent=2)
    yield Line("")
    yield from wrapped(AFTER, tone="doubt")
