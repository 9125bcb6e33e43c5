"""The first page of the report: the answer, and what it means, without a word of electricity."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from loomtest.diagnosis.verdict import Finding, Verdict
from loomtest.evidence.pictures.drawing import Box, Dot, Drawing, Item, to_svg
from loomtest.evidence.pictures.ends import mark_shapes
from loomtest.harness.model import Harness, Wire
from loomtest.words.cautions import restraint_sentence
from loomtest.words.labels import FAULT_WORD, ROW_TONE, ROW_WORD
from loomtest.words.numbers import counted
from loomtest.words.where import plain_sentence

MOST_SAID = 12
BAR_W, BAR_H = 640.0, 16.0


def bare_mark(finding: Finding, fill: str = "mark") -> Any:
    """A fault's mark as decoration: the word beside it is read instead."""
    return bare(Drawing(20, 20, "", "", mark_shapes(finding, 10, 10, 9, fill)))


def bare(drawing: Drawing) -> Any:
    """A drawing as decoration, without a name of its own."""
    from markupsafe import Markup

    svg = to_svg(drawing, alone=False, ident="bare")
    start = svg.index("</desc>") + len("</desc>")
    return Markup(
        f'<svg viewBox="0 0 {drawing.width:g} {drawing.height:g}" aria-hidden="true">' + svg[start:].strip()
    )


def meaning(
    findings: Sequence[Finding], harness: Harness, by_name: Mapping[str, Wire]
) -> list[dict[str, Any]]:
    """The faults in plain words, numbered as in the list that follows."""
    return [
        {
            "number": number,
            "word": FAULT_WORD[finding.fault],
            "mark": bare_mark(finding),
            "say": plain_sentence(finding, harness, by_name),
        }
        for number, finding in enumerate(findings[:MOST_SAID], 1)
    ]


def tally(verdict: Verdict) -> dict[str, Any]:
    """How many wires are as they should be, as a bar in proportion and in words."""
    count = {state: sum(row.verdict == state for row in verdict.wires) for state in ROW_WORD}
    total = len(verdict.wires)
    items: list[Item] = []
    x, parts = 0.0, []
    for state in ("fail", "undecided", "untested", "pass"):
        number = count[state]
        if not number:
            continue
        wide = BAR_W * number / total
        tone = ROW_TONE[state]
        open_end = state in ("undecided", "untested")
        items.append(Box(x + 1, 1, max(wide - 2, 2), BAR_H - 2, 3, "card" if open_end else tone, tone, 2.0))
        x += wide
        sign = bare(Drawing(14, 14, "", "", [_sign(state, tone)]))
        words = ROW_WORD[state]
        parts.append({"tone": tone, "sign": sign, "text": f"{number:,} {words}"})
    said = counted(total, "wire") if total else "no wires"
    return {"bar": bare(Drawing(BAR_W, BAR_H, "", "", items)), "parts": parts, "of": said}


def _sign(state: str, tone: str) -> Item:
    """The signs of the table of wires: round, as it should be; square, at fault; a ring, open."""
    if state == "fail":
        return Box(2, 2, 10, 10, 0, tone)
    return Dot(7, 7, 5.4, tone) if state == "pass" else Dot(7, 7, 4.6, "card", tone, 2.2)


def looked_at(verdict: Verdict) -> list[str]:
    """What was looked at and what was not, for someone who only wants to know how much was checked."""
    cover = verdict.coverage
    told = [_share("Wires measured from end to end", cover.wires_tested, cover.wires)]
    if verdict.isolation == "none":
        told.append("Circuits were not checked for shorts.")
    elif cover.isolation_pairs:
        pairs = "Pairs of circuits checked for shorts"
        told.append(_share(pairs, cover.isolation_pairs_tested, cover.isolation_pairs))
    if cover.parts:
        told.append(_share("Parts that stay plugged in, measured", cover.parts_tested, cover.parts))
    if cover.unreachable_nets:
        told.append(
            f"{counted(cover.unreachable_nets, 'circuit has', 'circuits have')} no point you can reach."
        )
    return [*told, *restraint_sentence(cover.restraint)]


def _share(what: str, done: int, all_: int) -> str:
    return f"{what}: {done:,} of {all_:,}."
