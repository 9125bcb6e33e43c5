"""A change in plain sentences, 80 columns wide: what `loomtest compare` prints."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from loomtest.diagnosis.change.change import Change
from loomtest.diagnosis.change.pairs import PairChange, PairChanges
from loomtest.diagnosis.verdict import Finding
from loomtest.harness.model import Harness
from loomtest.words.labels import FAULT_SIGN, FAULT_WORD
from loomtest.words.lines import Line, folded
from loomtest.words.numbers import counted, ohms

MOST_PAIRS = 30
FOR_THE_CUSTOMER = "For the customer, on one page: loomtest report HARNESS --before RUN --after RUN"
OUTCOME = {"pass": "right in all that was checked", "fail": "not right", "not-proven": "not proven"}


def change_lines(change: Change, harness: Harness, written: Sequence[Path] = ()) -> list[Line]:
    """The whole change: answer first, then the faults, then the circuits."""
    lines = [Line(harness.name, "head")]
    tone = {"pass": "good", "fail": "bad", "not-proven": "doubt"}[change.after]
    lines.append(Line(f"Before: {OUTCOME[change.before]}. After: {OUTCOME[change.after]}.", tone))
    for word, findings, its_tone in (
        ("New", change.new, "bad"),
        ("Still there", change.remaining, "bad"),
        ("Not proven gone: doubtful, or not measured again", change.not_shown_gone, "doubt"),
        ("Gone", change.gone, "good"),
    ):
        lines += _faults(word, findings, its_tone)
    lines += _pairs(change.pairs)
    if written:
        lines += [Line(""), Line("Plots", "head"), *(Line(f"  {path.as_posix()}") for path in written)]
    return lines


def _faults(word: str, findings: Sequence[Finding], tone: str) -> list[Line]:
    if not findings:
        return []
    lines = [Line(""), Line(f"{word}: {counted(len(findings), 'fault')}", tone)]
    for finding in findings[:MOST_PAIRS]:
        points = " - ".join(finding.points)
        text = f"{FAULT_SIGN[finding.fault]:<4} {FAULT_WORD[finding.fault]:<15} {points}"
        first, *more = folded(text, 76)
        lines += [Line("  " + first), *(Line(" " * 23 + rest) for rest in more)]
    if len(findings) > MOST_PAIRS:
        lines.append(Line(f"  and {len(findings) - MOST_PAIRS:,} more (--json lists them)"))
    return lines


def _pairs(pairs: PairChanges) -> list[Line]:
    told = ", ".join(f"{pairs.count(word):,} {word}" for word in ("better", "worse", "same", "cannot tell"))
    lines = [Line(""), Line(f"{counted(len(pairs), 'pair')} measured in both runs: {told}", "head")]
    moved = pairs.of("better", "worse")
    moved.sort(key=lambda pair: (pair.change != "worse", not pair.joined))
    if not moved:
        return lines
    wide = max(len(f"{pair.start} - {pair.end}") for pair in moved[:MOST_PAIRS])
    lines.append(Line(f"  {'':<{wide}}  {'before':>10}  {'after':>10}", "soft"))
    for pair in moved[:MOST_PAIRS]:
        name = f"{pair.start} - {pair.end}"
        values = f"{ohms(pair.before_ohms):>10}  {ohms(pair.after_ohms):>10}"
        lines.append(Line(f"  {name:<{wide}}  {values}  {_change(pair)}"))
    if len(moved) > MOST_PAIRS:
        lines.append(Line(f"  and {len(moved) - MOST_PAIRS:,} more (--json lists them)"))
    return lines


def _change(pair: PairChange) -> str:
    if pair.change_ohms is None or pair.uncertainty_ohms is None:
        return pair.change
    way = "more" if pair.change_ohms > 0 else "less"
    return f"{pair.change}: {ohms(abs(pair.change_ohms))} {way}, ± {ohms(1.96 * pair.uncertainty_ohms)}"
