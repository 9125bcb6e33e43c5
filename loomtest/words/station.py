"""What a station says: one word for three metres, and below it what a person at the bench needs."""

from __future__ import annotations

from loomtest.diagnosis.verdict import Outcome, Verdict
from loomtest.harness.model import Harness
from loomtest.words.numbers import counted
from loomtest.words.plain import headline, said

WORD: dict[Outcome, str] = {"pass": "RIGHT", "fail": "WRONG", "not-proven": "NOT SURE"}
SIGN: dict[Outcome, str] = {"pass": "✓", "fail": "✗", "not-proven": "?"}
READY = "READY"
READY_FOR = "Plug in a unit, and scan its label."
MOST_FAULTS = 3
NOT_SAFE = "This says what was measured. It does not say that the vehicle is safe."
NEXT_UNIT = "Next unit (scan its label, or type its number and press Enter; q ends): "
NO_UNIT = "That is no unit's number: up to 60 letters and figures. Scan the label again."
SCANNING = "Scanning. Leave the plugs alone."
NO_PAGE = "A second screen: open {page} in a browser; it shows each unit by itself."


def unit_lines(verdict: Verdict, harness: Harness) -> list[str]:
    """What was found, the most dangerous first, each with its next step; of a right unit what was checked."""
    if verdict.verdict == "pass":
        return [headline(verdict, harness)]
    lines = [headline(verdict, harness)]
    found = (*verdict.findings, *verdict.undecided)
    for number, finding in enumerate(found[:MOST_FAULTS], 1):
        text, _, after = said(finding)
        lines += [f"{number}. {text}", *([f"   Next: {after}"] if after else [])]
    if len(found) > MOST_FAULTS:
        lines.append(f"And {counted(len(found) - MOST_FAULTS, 'more')}: see the report.")
    return lines


def duplicate(unit: str, when: str, outcome: str) -> str:
    """Asked before a unit is scanned that was kept before."""
    word = WORD.get(outcome, "cannot be read")  # type: ignore[call-overload]
    date = when[:16].replace("T", " ")
    asked = "Scan it again? Its label once more, or y, is yes; Enter is no: "
    return f"Unit {unit} was kept on {date}: {word}. {asked}"


def begun(unit: str) -> str:
    """A scan that never finished, told at the start."""
    return f"Unit {unit} was not scanned to its end when the station stopped. Scan it again."


def kept_now(unit: str, outcome: Outcome) -> str:
    """A scan that was finished and not kept, told at the start."""
    return f"Unit {unit} was scanned and not kept when the station stopped. It is kept now: {WORD[outcome]}."


def kept_already(unit: str) -> str:
    """A scan whose bag stood in the archive already."""
    return f"Unit {unit} was kept just before the station stopped."


def not_kept(unit: str, why: str) -> str:
    """The archive could not be written."""
    return f"Unit {unit} is NOT KEPT yet: {why}. Its scan is safe here, and is kept as soon as that works."


def not_scanned(unit: str, why: str) -> str:
    """The scan ended early."""
    return f"Unit {unit} was not scanned: {why}"
