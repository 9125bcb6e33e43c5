"""A verdict that says itself: short at a prompt, in sentences when printed, a small table in a notebook."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from html import escape
from typing import Any

from loomtest.diagnosis.verdict import Verdict
from loomtest.harness.model import Harness
from loomtest.words.labels import FAULT_WORD
from loomtest.words.plain import doubts, headline, verdict_lines


@dataclass(frozen=True, repr=False)
class SpokenVerdict(Verdict):
    """The verdict that `loomtest.judge` gives, with the loom it is about.

    >>> harness = loomtest.load_harness("orchard_tractor")
    >>> verdict = loomtest.judge(harness, loomtest.load_readings("orchard_tractor/1_before", harness))
    >>> verdict.verdict, verdict.wiring, verdict.joints
    ('fail', 'fail', 'fail')

    `findings` are the faults, the most dangerous first, each with the wires that can be to blame:

    >>> [(finding.fault, finding.points) for finding in verdict.findings][:2]
    [('short', ('X1:3', 'X1:12')), ('high-resistance', ('X3:4', 'GND3'))]
    >>> verdict.findings[1].suspects[0].wire
    'W20'

    `wires` holds the estimate of every wire with its two joints, `coverage` what was measured of what there
    is, `untested` the pairs that nobody probed:

    >>> [(row.wire, round(row.ohms, 2)) for row in verdict.wires if row.wire == "W20"]
    [('W20', 0.39)]
    >>> verdict.coverage.wires_tested, verdict.coverage.wires
    (23, 23)
    >>> verdict.untested[0].points
    ('X4:2', 'X1:3')

    `to_json` gives all of it as the object that `loomtest judge --json` prints.
    """

    loom: Harness | None = field(default=None, compare=False, kw_only=True)

    def __repr__(self) -> str:
        return f"<{self.harness}: {self._answer()}>"

    def __str__(self) -> str:
        if self.loom is None:
            return self._answer()
        return "\n".join(line.text for line in verdict_lines(self, self.loom))

    def _repr_html_(self) -> str:
        found = [*self.findings, *(doubts(self, self.loom) if self.loom is not None else ())]
        rows = [
            f"<tr><td>{escape(FAULT_WORD[finding.fault])}</td><td>{escape(finding.text)}</td>"
            f"<td>{escape(finding.next)}</td></tr>"
            for finding in found
        ]
        head = "<tr><th>fault</th><th>where</th><th>what to do</th></tr>"
        table = f"<table>{head}{''.join(rows)}</table>" if rows else ""
        return f"<p><b>{escape(self.harness)}</b>: {escape(self._answer())}</p>{table}"

    def _answer(self) -> str:
        return headline(self, self.loom) if self.loom is not None else self.verdict

    def to_json(self) -> dict[str, Any]:
        """The object of the contract; the loom itself is not part of it."""
        return Verdict(**{each.name: getattr(self, each.name) for each in fields(Verdict)}).to_json()


def spoken(harness: Harness, verdict: Verdict) -> SpokenVerdict:
    """The verdict, and the loom that its sentences name places of."""
    return SpokenVerdict(**{each.name: getattr(verdict, each.name) for each in fields(Verdict)}, loom=harness)
