"""The object of `loomtest yield --json`."""

from __future__ import annotations

from typing import Any

from loomtest.diagnosis.units.report import CircuitOverUnits, ManyUnits
from loomtest.diagnosis.units.shares import Share
from loomtest.diagnosis.verdict import plain_number
from loomtest.evidence.archive.units import KeptUnits
from loomtest.words.units import outside_units


def units_object(name: str, kept: KeptUnits) -> dict[str, Any]:
    """Plain numbers, SI units, six significant digits."""
    units = kept.units
    right, runs = units.right, units.runs
    return {
        "schema": "loomtest-yield/1",
        "harness": name,
        "since": kept.first_day,
        "until": kept.last_day,
        "rehearsal": kept.rehearsed,
        "runs": len(runs.unit),
        "runs_without_unit": units.tries.nameless,
        "units": len(units.tries.unit),
        "confidence": units.confidence,
        "first": {**_share(right.first, "right"), "not_proven": right.open_first},
        "last": {**_share(right.last, "right"), "not_proven": right.open_last},
        "benches": [{"bench": bench, **_share(share, "right")} for bench, share in units.by_bench],
        "faults": [
            {
                "fault": one.fault,
                "points": list(one.points),
                **_share(one.units, "units"),
                "share_of_faults_so_far": plain_number(one.so_far),
            }
            for one in units.faults
        ],
        "units_measured": len(units.ohms.at),
        "units_sound": int(units.ohms.sound.sum()),
        "circuits": [_circuit(one, units) for one in units.circuits],
        "shifts": [
            {
                "kind": shift.kind,
                "bench": units.benches[shift.bench],
                "wires": None if shift.circuit is None else units.circuits[shift.circuit].wires.split(" + "),
                "ohms": plain_number(shift.ohm),
                "interval_ohms": [plain_number(end) for end in shift.between],
                "probability_by_chance": plain_number(shift.probability),
                "units": shift.units,
            }
            for shift in units.shifts
        ],
    }


def _share(share: Share, name: str) -> dict[str, Any]:
    interval = [plain_number(share.low), plain_number(share.high)]
    value = plain_number(share.value) if share.total else None
    return {name: share.count, "of": share.total, "share": value, "interval": interval}


def _circuit(one: CircuitOverUnits, units: ManyUnits) -> dict[str, Any]:
    usual, chart = one.usual, one.chart
    told: dict[str, Any] = {
        "circuit": one.circuit,
        "wires": one.wires.split(" + "),
        "limit_ohms": None if one.limit_ohm is None else plain_number(one.limit_ohm),
        "usual": None,
        "chart": None,
    }
    if usual is not None:
        told["usual"] = {
            "units": usual.count,
            "mean_ohms": plain_number(usual.mean),
            "mean_interval_ohms": [plain_number(end) for end in usual.mean_between],
            "spread_ohms": plain_number(usual.spread),
            "spread_interval_ohms": [plain_number(end) for end in usual.spread_between],
            "tolerance_ohms": [plain_number(end) for end in usual.limits],
            "tolerance_share": usual.share,
        }
    if chart is not None:
        told["chart"] = {
            "mean_ohms": plain_number(chart.mean),
            "limits_ohms": [plain_number(chart.lower), plain_number(chart.upper)],
            "mean_move_ohms": plain_number(chart.mean_move),
            "most_move_ohms": plain_number(chart.most_move),
            "outside": outside_units(one, units),
        }
    return told
