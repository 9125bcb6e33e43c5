"""A random loom and its readings as the files of the contract, for what runs the command line."""

from __future__ import annotations

import csv
import math
from pathlib import Path

from loomtest.harness.model import Harness
from loomtest.readings.model import Quantity, Readings

_WIRE_COLUMNS = ("wire", "from", "to", "kind", "colour", "size", "length", "ohms_min", "ohms_max")
_WIRE_END = ("amps", "circuit", "note")
_READING_COLUMNS = ("from", "to", "value", "quantity", "uncertainty", "bonded_from", "bonded")
_QUANTITY = {
    Quantity.RESISTANCE: "resistance",
    Quantity.RESISTANCE_4W: "resistance_4w",
    Quantity.VOLTAGE_DROP: "voltage_drop",
    Quantity.CONTINUITY: "continuity",
    Quantity.INSULATION: "insulation",
    Quantity.DIODE: "diode",
}


def write_harness(harness: Harness, folder: Path) -> Path:
    """`wires.csv` and `harness.toml` in `folder`, which is made; returns it."""
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "wires.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(_WIRE_COLUMNS + _WIRE_END)
        for w in harness.wires:
            numbers = (w.size_mm2, w.length_m, w.ohms_min, w.ohms_max, w.amps)
            size, length, low, high, amps = ("" if n is None else repr(n) for n in numbers)
            writer.writerow(
                [w.name, w.start, w.end, w.kind, w.colour, size, length, low, high, amps, w.circuit, w.note]
            )
    lines = [f'name = "{harness.name}"', 'wires = "wires.csv"']
    lines.append(f"unreachable = [{_strings(sorted(harness.unreachable))}]")
    lines.append(f"worked_on = [{_strings(sorted(harness.worked_on))}]")
    lines += ["[limits]", f'isolation = "{harness.limits.isolation}"']
    if harness.limits.bad_joint_written:
        lines.append(f"bad_joint_milliohms = {harness.limits.bad_joint_milliohms}")
    lines.append("[cavities]")
    lines += [f"{name} = [{_strings(own)}]" for name, own in harness.cavities.items()]
    (folder / "harness.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


def write_readings(readings: Readings, path: Path) -> Path:
    """The readings as a CSV of the contract."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(_READING_COLUMNS)
        for n in range(len(readings)):
            tied = readings.bonded.get(n, ((), ()))
            u = readings.uncertainty[n]
            writer.writerow(
                [
                    readings.points[readings.start[n]],
                    readings.points[readings.end[n]],
                    _value(readings, n),
                    _QUANTITY[Quantity(int(readings.quantity[n]))],
                    "" if math.isnan(u) else repr(float(u)),
                    *(" ".join(readings.points[p] for p in side) for side in tied),
                ]
            )
    return path


def _value(readings: Readings, n: int) -> str:
    value, above = float(readings.value[n]), float(readings.above_ohm[n])
    if readings.quantity[n] == Quantity.CONTINUITY:
        return "yes" if value else "no"
    if math.isinf(value):
        return "OL" if math.isnan(above) else f">{above:g}"
    return repr(value) + (" V" if readings.quantity[n] == Quantity.DIODE else "")


def _strings(names: object) -> str:
    return ", ".join(f'"{name}"' for name in names)
