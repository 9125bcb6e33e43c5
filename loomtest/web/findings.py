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
    """One entry a fault, as the report has it: what, where, the faces it concerns, what to do next."""
    from loomtest.evidence.page.faults import LoomIndex, fault_cards
    from loomtest.words.danger import ranked
    from loomtest.words.plain import doubts
    from loomtest.words.where import probes_for

    harness, verdict = judged.harness, judged.verdict
    index = LoomIndex.of(harness)
    found = ranked(verdict.findings, verdict, harness)[:MOST_SHOWN]
    doubtful = doubts(verdict, harness)[:MOST_SHOWN]
    cards = [*fault_cards(found, index, 1, "bad"), *fault_cards(doubtful, index, len(found) + 1, "doubt")]
    told = []
    for card, finding in zip(cards, [*found, *doubtful], strict=True):
        probes = probes_for(finding, harness)
        told.append({
            "number": card.number, "tone": card.tone, "word": card.word, "mark": card.mark,
            "where": card.where, "text": card.text, "consequence": card.consequence, "next": card.next,
            "probes": card.probes, "faces": list(card.faces),
            "from": probes.red if probes else "", "to": probes.black if probes else "",
        })  # fmt: skip
    return told
