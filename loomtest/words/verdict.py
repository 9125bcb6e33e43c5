"""The verdict that people get: what `diagnosis` found, in the order of danger and in sentences."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from loomtest.diagnosis.judge import judge as diagnosed
from loomtest.diagnosis.verdict import Finding, Suspect, Verdict, WireRow
from loomtest.harness.model import Harness, Wire
from loomtest.readings.model import Instrument, Readings
from loomtest.words.danger import ranked
from loomtest.words.doubted import told
from loomtest.words.findings import finding_text
from loomtest.words.marked import LOW_VOLTAGE
from loomtest.words.place import open_there
from loomtest.words.places import Places
from loomtest.words.remarks import remark_text
from loomtest.words.service import consequence_text
from loomtest.words.spoken import spoken
from loomtest.words.todo import todo_text


def judge(harness: Harness, readings: Readings, instrument: Instrument | None = None) -> Verdict:
    """What the readings say about the harness, the most dangerous finding first.

    The instrument is the one given, else the run's own, else a generic 3½-digit handheld meter, which the
    verdict's notes then say. Never raises for what readings say of each other.
    """
    return spoken(harness, worded(harness, diagnosed(harness, readings, instrument)))


def worded(harness: Harness, verdict: Verdict) -> Verdict:
    """The verdict with its findings, decided and doubtful, in the order of danger and in sentences."""
    by_name = {wire.name: wire for wire in harness.wires}
    findings, undecided = (
        tuple(_worded(harness, finding, by_name) for finding in ranked(each, verdict, harness))
        for each in (verdict.findings, verdict.undecided)
    )
    return replace(
        verdict,
        findings=findings,
        undecided=undecided,
        wires=tuple(_worded_row(harness, row, by_name) for row in verdict.wires),
        doubted=tuple(map(told, verdict.doubted)),
        notes=(*verdict.notes, *map(remark_text, verdict.remarks), *(LOW_VOLTAGE if verdict.marked else ())),
    )


def _worded(harness: Harness, finding: Finding, by_name: Mapping[str, Wire]) -> Finding:
    if finding.why is None:
        return finding
    places = Places(harness, by_name)
    text = finding_text(finding.why, finding, places)
    consequence = consequence_text(finding, places)
    after = todo_text(finding.todo, finding, places) if finding.todo else ""
    if finding.place is not None:
        after = open_there(finding.points, finding.place)
    return replace(finding, text=text, consequence=consequence, next=after)


def _worded_row(harness: Harness, row: WireRow, by_name: Mapping[str, Wire]) -> WireRow:
    if row.todo is None:
        return row
    about = Finding("high-resistance", (row.start, row.end), (Suspect(row.wire),))
    return replace(row, next=todo_text(row.todo, about, Places(harness, by_name)))
