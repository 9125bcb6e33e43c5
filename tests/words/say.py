"""What the room for words makes of facts that a test has in hand."""

from __future__ import annotations

from loomtest.diagnosis.joints.report import JointReport
from loomtest.diagnosis.verdict import Finding, Suspect, WireRow
from loomtest.harness.model import Harness
from loomtest.words.findings import finding_text
from loomtest.words.places import Places
from loomtest.words.remarks import remark_text
from loomtest.words.service import consequence_text
from loomtest.words.todo import todo_text


def text(harness: Harness, finding: Finding) -> str:
    assert finding.why is not None
    return finding_text(finding.why, finding, Places(harness))


def consequence(harness: Harness, finding: Finding) -> str:
    return consequence_text(finding, Places(harness))


def after(harness: Harness, about: Finding | WireRow) -> str:
    assert about.todo is not None
    if isinstance(about, WireRow):
        finding = Finding("high-resistance", (about.start, about.end), (Suspect(about.wire),))
        return todo_text(about.todo, finding, Places(harness))
    return todo_text(about.todo, about, Places(harness))


def notes(report: JointReport) -> list[str]:
    return [remark_text(remark) for remark in report.remarks]
