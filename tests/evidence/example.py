"""A verdict made by hand on the invented tractor loom, for pictures and pages."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from loomtest.diagnosis.verdict import (
    Alternative,
    Coverage,
    Finding,
    NetRow,
    Suspect,
    Untested,
    Verdict,
    WireRow,
)
from loomtest.harness.copper import expectation_of
from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness
from loomtest.words.verdict import worded

RUNS = Path(__file__).parents[2] / "sample_runs"
TRACTOR = RUNS / "orchard_tractor"
LAUNCH = RUNS / "fishing_launch"

FINDINGS = (
    Finding(
        "crossed",
        ("X2:3", "X2:4"),
        (Suspect("W14", "X2:3", probability=0.5), Suspect("W16", "X2:4", probability=0.5)),
        {"X2:3": "X2:4", "X2:4": "X2:3"},
        (
            Alternative(("X2:3", "X2:4"), {"X2:3": "X2:4", "X2:4": "X2:3"}, 0.9),
            Alternative(("X1:8", "X1:9"), {"X1:8": "X1:9", "X1:9": "X1:8"}, 0.1),
        ),
        0.998,
        "The wires in X2 cavities 3 and 4 are swapped.",
        next="Check X2, swap the two terminals, and measure both circuits again.",
    ),
    Finding(
        "open",
        ("X1:2", "X4:2"),
        (Suspect("W4", None, None, None, 1.0),),
        text="The charge lamp's wire is open.",
    ),
    Finding(
        "high-resistance",
        ("X3:4", "GND3"),
        (Suspect("W20", "GND3", 0.39, (0.38, 0.4), 0.98),),
        probability=0.999,
        text="The black 2.5 mm² wire from X3 cavity 4 to GND3 (rear axle housing) has 0.39 Ω, not 8 mΩ.",
        consequence="At 9.7 A, 3.7 V are lost and 36 W heat the joint.",
        next="Clean the stud to bright metal, fit the ring again, and measure X3:4 to GND3.",
    ),
    Finding(
        "short",
        ("X1:3", "X1:12"),
        (Suspect("W5"), Suspect("W22")),
        probability=0.99,
        text="Starter (X1 cavity 3) and engine ground (X1 cavity 12) are joined by 0.22 Ω.",
        next="Look along the loom where both run side by side.",
    ),
)
DOUBT = Finding(
    "high-resistance",
    ("X2:5", "GND2"),
    (Suspect("W19", None, 0.0182, (0.017, 0.0194), 0.6),),
    probability=0.6,
    text="The front ground may be above its limit: 18 mΩ where 18.6 mΩ is the most.",
    next="Measure X2:5 to GND2 five times more.",
)


def tractor() -> Harness:
    """The expected loom."""
    return load_harness(TRACTOR)


def verdict(harness: Harness, findings: tuple[Finding, ...] = FINDINGS) -> Verdict:
    """A failed loom with four faults, a doubt and some pairs that nobody measured."""
    bad = {s.wire for f in findings for s in f.suspects}
    expected = expectation_of(harness)
    rows = []
    for index, wire in enumerate(harness.wires):
        if not wire.conducts:
            continue
        copper, limit = float(expected.expected_ohm[index]), float(expected.limit_ohm[index])
        ohms: float | None = copper * 1.04 if wire.kind == "wire" else 0.0062
        state = "fail" if wire.name in bad else "pass"
        ohms = {"W4": float("inf"), "W20": 0.39}.get(wire.name, ohms)
        interval = (ohms * 0.94, ohms * 1.06) if wire.name != "W4" and ohms else None
        bad_probability = 0.999 if wire.name in bad else 0.001
        rows.append(
            WireRow(
                wire.name, wire.start, wire.end, copper if copper == copper else None, limit, ohms,
                None if wire.name == "W4" else 0.0006, interval, (), bad_probability, state,
            )
        )  # fmt: skip
    row = next(i for i, row in enumerate(rows) if row.wire == "W19")
    rows[row] = replace(rows[row], verdict="undecided", ohms=0.0182, interval_ohms=(0.017, 0.0194))
    nets = tuple(
        NetRow(
            net.name,
            tuple(harness.points[p] for p in net.points),
            "fail" if any(harness.wires[w].name in bad for w in net.conductors) else "pass",
        )
        for net in harness.nets
    )
    found = Verdict(
        harness.name, "fail", "fail", "fail", 0.02, 0.004, "full", findings, (DOUBT,), tuple(rows), nets,
        Coverage(23, 23, 210, 208, 1, 1, 0), (Untested(("X1:5", "X2:6"), "isolation"),),
        ("Readings from a bench meter, four-wire ohms.",),
    )  # fmt: skip
    return worded(harness, found)
