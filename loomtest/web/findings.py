"""What the readings of a run mean so far, as the screens show it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from loomtest.web.place import Loom

if TYPE_CHECKING:
    from loomtest.web.place import JudgedRun

MOST_SHOWN = 40


def found_so_far(loom: Loom, run: str) -> dict[str, Any]:
    """The findings of a run, the most dangerous first, and the places that are in doubt."""
    judged = loom.judged(run)
    return {"kind": "found", "run": run, "faults": faults(judged), "say": answer(judged)}


def answer(judged: JudgedRun) -> dict[str, str]:
    """The answer in a sentence, and the tone that goes with it."""
    from loomtest.words.labels import OUTCOME_TONE
    from loomtest.words.plain import headline

    if not len(judged.readings):
        return {"tone": "soft", "text": "Not measured yet."}
    verdict = judged.verdict
    return {"tone": OUTCOME_TONE[verdict.verdict], "text": headline(verdict, judged.harness)}


def faults(judged: JudgedRun) -> list[dict[str, Any]]:
    """One entry a fault: what, where, what to do next."""
    from loomtest.evidence.page.first import bare_mark
    from loomtest.words.danger import ranked
    from loomtest.words.labels import FAULT_WORD
    from loomtest.words.plain import doubts, said_once
    from loomtest.words.where import probes_for, where_sentence

    harness, verdict = judged.harness, judged.verdict
    by_name = {wire.name: wire for wire in harness.wires}
    found = [("bad", each) for each in ranked(verdict.findings, verdict, harness)]
    found += [("doubt", each) for each in doubts(verdict, harness)]
    told = []
    for number, (tone, finding) in enumerate(found[:MOST_SHOWN], 1):
        text, consequence, after = said_once(finding, harness)
        probes = probes_for(finding, harness)
        told.append({
            "number": number, "tone": tone,
            "word": FAULT_WORD[finding.fault] + ("?" if tone == "doubt" else ""),
            "mark": bare_mark(finding, "mark" if tone == "bad" else tone),
            "where": where_sentence(finding, harness, by_name),
            "text": text, "consequence": consequence, "next": after,
            "from": probes.red if probes else "", "to": probes.black if probes else "",
        })  # fmt: skip
    return told
