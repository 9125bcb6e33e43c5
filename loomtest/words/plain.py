"""A verdict in plain sentences, 80 columns wide: what `loomtest judge` prints."""

from __future__ import annotations

from collections.abc import Sequence

from loomtest.diagnosis.verdict import Finding, Suspect, Untested, Verdict, WireRow
from loomtest.harness.model import Harness
from loomtest.words.cautions import restraint_sentence
from loomtest.words.conditions import REHEARSAL, conditions, job_words
from loomtest.words.doubted import sentence_of
from loomtest.words.labels import FAULT_SIGN, FAULT_WORD, OUTCOME_TONE
from loomtest.words.lines import WIDTH, Line, all_of, folded, sentence, wrapped
from loomtest.words.numbers import counted, ohms, ohms_within

MOST_FINDINGS = 40  # printed in full; the rest are counted, and stand in --json
MOST_UNTESTED = 8
MOST_DOUBTED = 8
MOST_NAMED = 16

NOT_A_LICENCE = "This says what was measured on the bench. It does not say that the vehicle is safe."


def verdict_lines(verdict: Verdict, harness: Harness) -> list[Line]:
    """The whole verdict: answer first, faults by danger, what was not measured, then the joints."""
    lines = [Line(verdict.harness, "head")]
    told = job_words(verdict.job)
    if told:
        lines += wrapped(", ".join(told), tone="soft")
    if verdict.rehearsal:
        lines += wrapped(REHEARSAL, tone="doubt")
    lines += wrapped(headline(verdict, harness), tone=OUTCOME_TONE[verdict.verdict])
    lines += wrapped(*conditions(verdict))
    found = verdict.findings
    doubtful = doubts(verdict, harness)
    lines += _findings(found, 1, "bad")
    if doubtful:
        lines += [Line(""), Line("Doubtful: the readings do not decide it", "head")]
        lines += _findings(doubtful, len(found) + 1, "doubt")
    lines += _doubted(verdict)
    lines += [Line(""), Line("What was measured", "head")]
    lines += wrapped(*coverage_sentences(verdict), indent=2)
    lines += _untested(verdict.untested)
    lines += [Line(""), Line("Joints", "head")]
    lines += wrapped(joints_sentence(verdict), indent=2)
    if verdict.notes:
        lines += [Line(""), Line("Worth knowing", "head"), *wrapped(*map(sentence, verdict.notes), indent=2)]
    return [*lines, Line(""), *wrapped(NOT_A_LICENCE, tone="soft")]


def _doubted(verdict: Verdict) -> list[Line]:
    """Readings that the loom as found does not give."""
    if not verdict.doubted:
        return []
    lines = [Line(""), Line("Readings that do not fit", "head")]
    lines += wrapped(*(sentence_of(doubt) for doubt in verdict.doubted[:MOST_DOUBTED]), indent=2)
    if verdict.doubted_count > MOST_DOUBTED:
        lines.append(Line(f"  And {verdict.doubted_count - MOST_DOUBTED:,} more (--json lists them)."))
    return lines


def headline(verdict: Verdict, harness: Harness) -> str:
    """The answer in a sentence or two."""
    faults, doubtful = len(verdict.findings), _doubtful(verdict)
    if verdict.verdict == "fail":
        also = f", and {counted(doubtful, 'doubtful place')}" if doubtful else ""
        return f"Not right yet: {counted(faults, 'fault')} found{also}."
    if verdict.verdict == "not-proven":
        return "Not proven: no fault found, but " + all_of(_open_questions(verdict)) + "."
    said = "Everything that was checked is right: every wire goes where it should"
    left = verdict.coverage.isolation_pairs_unchecked
    were = "pair of circuits was" if left == 1 else "pairs of circuits were"
    said += f" ({left:,} {were} not checked for shorts)." if left else ", and no circuits are shorted."
    limit = verdict.joints_judged_at_ohms
    return said + (f" No joint is more than {ohms(limit)} too high." if limit is not None else "")


def doubts(verdict: Verdict, harness: Harness) -> list[Finding]:
    """What is doubtful, most dangerous first: undecided findings, then wires neither passed nor failed."""
    return [*verdict.undecided, *map(_doubt, _neither(verdict))]


def _doubtful(verdict: Verdict) -> int:
    return len(verdict.undecided) + len(_neither(verdict))


def _neither(verdict: Verdict) -> list[WireRow]:
    """Wires neither passed nor failed, and in no undecided finding."""
    spoken = {suspect.wire for finding in verdict.undecided for suspect in finding.suspects}
    rows = [row for row in verdict.wires if row.verdict == "undecided" and row.wire not in spoken]
    told: set[str] = set()
    kept = []
    for row in rows:
        if row.wire not in told:
            told.update((row.wire, *row.group))  # a group is judged as one: it is said once
            kept.append(row)
    return kept


def _doubt(row: WireRow) -> Finding:
    wires = "Wires " + ", ".join((row.wire, *row.group)) + " together" if row.group else "Wire " + row.wire
    if row.ohms is None:
        text = f"{wires}, {row.start} to {row.end}: the readings do not tell its resistance"
    else:
        most = f", limit {ohms(row.limit_ohms)}" if row.limit_ohms is not None else ""
        text = f"{wires}, {row.start} to {row.end}: {ohms_within(row.ohms, row.uncertainty_ohms)}{most}"
    suspect = Suspect(row.wire, None, row.ohms, row.interval_ohms, row.bad_probability)
    return Finding("high-resistance", (row.start, row.end), (suspect,), text=text, next=row.next)


def _open_questions(verdict: Verdict) -> list[str]:
    cover, told = verdict.coverage, []
    doubtful = _doubtful(verdict)
    if doubtful:
        told.append(f"{counted(doubtful, 'place is', 'places are')} still doubtful")
    if verdict.doubted_count:
        told.append(f"{counted(verdict.doubted_count, 'reading does', 'readings do')} not fit the others")
    if cover.wires_tested < cover.wires:
        told.append(f"{counted(cover.wires - cover.wires_tested, 'wire was', 'wires were')} not measured")
    if cover.isolation_pairs_tested < cover.isolation_pairs:
        missing = cover.isolation_pairs - cover.isolation_pairs_tested
        of_pairs = counted(missing, "pair of circuits was", "pairs of circuits were")
        told.append(f"{of_pairs} not checked for shorts")
    elif verdict.isolation == "none":
        told.append("no circuits were checked for shorts (isolation = none)")
    elif any(item.what == "isolation" for item in verdict.untested):
        told.append("some circuits could not be checked for shorts")
    if cover.parts_tested < cover.parts:
        told.append(f"{counted(cover.parts - cover.parts_tested, 'part was', 'parts were')} not measured")
    if cover.unreachable_nets:
        told.append(f"{counted(cover.unreachable_nets, 'circuit has', 'circuits have')} no place for a probe")
    return told or ["some questions are open"]


def coverage_sentences(verdict: Verdict) -> list[str]:
    """What was measured of what there is, and what was not."""
    cover = verdict.coverage
    told = [f"Wires: {cover.wires_tested:,} of {cover.wires:,} measured."]
    if verdict.isolation == "none":
        told.append("Pairs of circuits checked for shorts: none (isolation = none).")
    else:
        told.append(
            f"Pairs of circuits checked for shorts ({verdict.isolation}): "
            f"{cover.isolation_pairs_tested:,} of {cover.isolation_pairs:,}."
        )
        aside = cover.isolation_pairs_unchecked - cover.isolation_pairs + cover.isolation_pairs_tested
        if aside > 0:
            told.append(f"{counted(aside, 'more pair was', 'more pairs were')} not checked.")
    if cover.parts:
        told.append(f"Parts left plugged in: {cover.parts_tested:,} of {cover.parts:,} measured.")
    if cover.unreachable_nets:
        told.append(f"Circuits no probe can reach: {cover.unreachable_nets:,}.")
    return [*told, *restraint_sentence(cover.restraint)]


def joints_sentence(verdict: Verdict) -> str:
    """The joints' answer in plain words, with the limit they were judged at and what was resolved."""
    limit, seen = verdict.joints_judged_at_ohms, verdict.joints_resolved_ohms
    if limit is None:
        return "Not judged: no reading here tells their resistance."
    at = f"(limit: {ohms(limit)} above healthy)"
    if verdict.joints == "pass":
        text = f"No poor joints {at}."
    elif verdict.joints == "fail":
        bad = sum(finding.fault == "high-resistance" for finding in verdict.findings)
        found = counted(bad, "poor joint")
        text = f"{found[:1].upper()}{found[1:]}" + ("" if bad else " on correctly placed wires") + f" {at}."
    else:
        doubtful = sum(row.verdict in ("undecided", "untested") for row in verdict.wires)
        text = f"{counted(doubtful, 'wire is', 'wires are')} still doubtful {at}."
    if seen is not None:
        text += f" Readings this good catch anything {ohms(seen)} or more too high."
    return text


def untested_sentences(items: Sequence[Untested]) -> list[str]:
    """What nobody probed, one sentence for each point."""
    of: dict[tuple[str, str], list[str]] = {}
    for item in items:
        of.setdefault((item.points[0], item.what), []).append(item.points[1])
    told = []
    for (point, what), others in of.items():
        more = f" and {len(others) - MOST_NAMED:,} more" if len(others) > MOST_NAMED else ""
        named = f"{', '.join(others[:MOST_NAMED])}{more}"
        if what == "continuity":
            told.append(f"{point} to {named} was not measured.")
        elif len(others) == 1:
            told.append(f"{point} to {named} was not checked for a short.")
        else:
            told.append(f"{point} was not checked for shorts to {named}.")
    return told


def _untested(items: Sequence[Untested]) -> list[Line]:
    told = untested_sentences(items)
    lines = wrapped(*told[:MOST_UNTESTED], indent=2)
    if len(told) > MOST_UNTESTED:
        lines.append(Line("  And more (--json lists them all)."))
    return lines


def said(finding: Finding) -> tuple[str, str, str]:
    """Text, consequence and next of a finding, each as whole sentences."""
    text, consequence, after = map(sentence, (finding.text, finding.consequence, finding.next))
    return text, consequence, after


def brief(finding: Finding) -> str:
    """A finding in a few words: its mark, its kind and where it is."""
    return f"{FAULT_SIGN[finding.fault]:<5}{FAULT_WORD[finding.fault]}: {' - '.join(finding.points)}"


def _findings(findings: Sequence[Finding], first: int, tone: str) -> list[Line]:
    lines: list[Line] = []
    for number, finding in enumerate(findings[:MOST_FINDINGS], first):
        label = f"{number:>2} {FAULT_SIGN[finding.fault]} {FAULT_WORD[finding.fault]}"
        text, consequence, after = said(finding)
        parts = [text or " and ".join(finding.points), consequence, f"Next: {after}" if after else ""]
        lines.append(Line(""))
        body = [line for part in parts for line in folded(part, WIDTH - 6)]
        lines.append(Line(label, tone))
        lines += [Line("      " + text) for text in body]
    if len(findings) > MOST_FINDINGS:
        lines += [
            Line(""),
            Line(f"and {len(findings) - MOST_FINDINGS:,} more faults (--json lists them)", tone),
        ]
    return lines
