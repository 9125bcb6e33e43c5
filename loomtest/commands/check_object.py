"""`loomtest check --json`: what a harness holds, as plain values."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from loomtest.harness.model import Harness, Wire
    from loomtest.harness.survey import Survey


def as_object(harness: Harness, seen: Survey) -> dict[str, Any]:
    """The object `loomtest-check/1`, as the command's help describes it."""
    return {
        "schema": "loomtest-check/1",
        "harness": harness.name,
        "counts": {
            "wires": len(seen.wires),
            "parts": len(seen.parts),
            "points": len(harness.points),
            "connectors": len(seen.connectors),
            "nets": len(seen.nets),
            "splices": len(seen.splices),
            "grounds": len(seen.grounds),
            "loops": seen.loops,
        },
        "nets": [
            {
                "net": net.name,
                "points": [harness.points[code] for code in net.points],
                "wires": [harness.wires[index].name for index in net.conductors],
                "loops": len(net.conductors) - len(net.points) + 1,
            }
            for net in (harness.nets[index] for index in seen.nets)
        ],
        "parts": _parts(harness),
        "wires": _wires(harness),
        "without_size_or_length": list(seen.without_size_or_length),
        "splices": list(seen.splices),
        "grounds": list(seen.grounds),
        "empty_cavities": list(seen.empty_cavities),
        "unreachable": list(seen.unreachable),
        "warnings": [
            {"file": w.file, "line": w.line, "column": w.column, "found": w.found, "expected": w.expected}
            for w in harness.warnings
        ],
    }


def _parts(harness: Harness) -> list[dict[str, Any]]:
    from loomtest.harness.copper import part_ohms

    return [
        {
            "part": wire.name,
            "kind": wire.kind,
            "from": wire.start,
            "to": wire.end,
            "ohms_min": part_ohms(wire)[0],
            "ohms_max": part_ohms(wire)[1],
        }
        for wire in harness.wires
        if wire.kind != "wire"
    ]


def _wires(harness: Harness) -> list[dict[str, Any]]:
    from loomtest.harness.copper import expectation_of

    expectation = expectation_of(harness)
    columns = (harness.wires, expectation.expected_ohm.tolist(), expectation.limit_ohm.tolist())
    return [
        {
            "wire": wire.name,
            "from": wire.start,
            "to": wire.end,
            "colour": wire.colour,
            "size_mm2": _number(wire.size_mm2),
            "length_m": _number(wire.length_m),
            "expected_ohms": _number(expected),
            "limit_ohms": _number(limit),
        }
        for wire, expected, limit in zip(*columns, strict=True)
        if wire.kind == "wire"
    ]


def changes_object(older: Harness, harness: Harness) -> dict[str, Any]:
    """The object `changes` described in the command's help."""
    from loomtest.harness.difference import difference

    found = difference(older, harness)

    def rows(wires: tuple[Wire, ...]) -> list[dict[str, str]]:
        return [
            {"wire": wire.name, "from": wire.start, "to": wire.end, "colour": wire.colour} for wire in wires
        ]

    return {
        "against": older.name,
        "added": rows(found.added),
        "removed": rows(found.removed),
        "changed": [
            {
                "wire": change.wire.name,
                "fields": [{"column": column, "was": was, "is": now} for column, was, now in change.fields],
            }
            for change in found.changed
        ],
        "same": found.same,
    }


def _number(value: float | None) -> float | None:
    return None if value is None or value != value else float(f"{value:.6g}")
