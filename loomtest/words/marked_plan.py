"""A plan with marker clips in words: what it proves, where the clips go, what to touch."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from loomtest.words.lines import Line, wrapped
from loomtest.words.marked import AFTER, BEFORE, plug_text
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
    left: Any,
    placings: Sequence[Any],
    touches: Sequence[Any],
    levels: Sequence[Line] = (),
) -> Iterator[Line]:
    """The plan for a terminal, round by round. `left`: the plan itself (harness, totals, loops, unmarked,
    hidden_pairs); `levels`: what the loom costs without the clips."""
    totals: Mapping[str, int] = left.totals
    rings: Sequence[str] = left.loops
    yield Line(left.harness, "head")
    plugs = f"{counted(totals['plugs'], 'marker plug')} and " if totals.get("plugs") else ""
    yield from wrapped(
        f"{counted(totals['marked'], 'touch', 'touches')}, {plugs}{counted(totals['placings'], 'clip')} put "
        f"on in {counted(totals['rounds'], 'round')}, about {counted(max(1, totals['minutes']), 'minute')}."
    )
    yield from levels
    yield Line("")
    yield Line("First", "head")
    yield from wrapped(*BEFORE, indent=2)
    for number in range(1, totals["rounds"] + 1):
        yield Line("")
        yield Line(f"Round {number}", "head")
        own = [one for one in placings if one.round == number]
        for plug in dict.fromkeys(one.clip.plug for one in own if one.clip.plug):
            clips = [one.clip.marker for one in own if one.clip.plug == plug]
            yield Line(f"  {plug_text(plug, clips)}")
        for one in own:
            if not one.clip.plug:
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
    if left.unmarked:
        names = ", ".join(left.unmarked[:12]) + (" and more" if len(left.unmarked) > 12 else "")
        yield from wrapped(f"No marker is left for: {names}. Add loose clips, or build a plug.", indent=2)
    if left.hidden_pairs:
        pairs = counted(left.hidden_pairs, "pair")
        yield from wrapped(f"{pairs} of circuits: a plug covers what would have to be touched.", indent=2)
    yield Line("")
    yield from wrapped(AFTER, tone="doubt")
