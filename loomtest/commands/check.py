"""`loomtest check`: reads the harness and reports every mistake at once."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated

import typer

from loomtest.commands.app import app
from loomtest.commands.terminal.text import WIDTH, counted, listed, paragraph, shown, wrapped
from loomtest.commands.terminal.verbs import HARNESS_HELP, JSON_HELP, QUIET_HELP
from loomtest.harness.outward import json_text
from loomtest.words.numbers import ohms

if TYPE_CHECKING:
    from loomtest.errors import Problem
    from loomtest.harness.model import Harness, Wire
    from loomtest.harness.survey import Survey

MOST_NETS = 400
MOST_WARNINGS = 40


@app.command(
    epilog="Example: loomtest check orchard_tractor\nExample: loomtest check helm_new --against helm"
)
def check(
    harness: Annotated[str, typer.Argument(help=HARNESS_HELP)],
    against: Annotated[
        str | None,
        typer.Option(help="An older harness: also list the wires added, removed and changed since."),
    ] = None,
    configuration: Annotated[
        str | None,
        typer.Option(help="One configuration or module of a harness file in KBL (default: all)."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help=JSON_HELP)] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help=QUIET_HELP)] = False,
) -> None:
    """Read the harness and report every mistake at once.

    Shows what the wire list says, circuit by circuit, before anything is measured: read it against the loom.

    The JSON object, "schema": "loomtest-check/1": harness; counts (wires, parts, points, connectors, nets,
    splices, grounds, loops); nets (net, points, wires, loops); parts (part, kind, from, to, ohms_min,
    ohms_max); wires (wire, from, to, colour, size_mm2, length_m, expected_ohms, limit_ohms; null where not
    known); without_size_or_length, splices, grounds, empty_cavities, unreachable (names); warnings (file,
    line, column, found, expected). With --against also changes: against (name), added and removed (wire,
    from, to, colour), changed (wire, fields: column, was, is), same (how many).
    """
    from loomtest.commands.terminal.progress import Progress
    from loomtest.harness.exchange.folder import with_configuration
    from loomtest.harness.load import load_harness
    from loomtest.harness.survey import survey

    harness = with_configuration(harness, configuration)
    with Progress(f"reading {harness}", quiet):
        loaded = load_harness(harness)
        seen = survey(loaded)
        older = None if against is None else load_harness(against)
    if as_json:
        from loomtest.commands.check_object import as_object, changes_object

        found = as_object(loaded, seen)
        if older is not None:
            found["changes"] = changes_object(older, loaded)
        typer.echo(json_text(found))
        return
    lines = _lines(loaded, seen)
    if older is not None:
        lines += ["", *_change_lines(older, loaded)]
    typer.echo("\n".join(lines))


def _lines(harness: Harness, seen: Survey) -> list[str]:
    counts = [
        counted(len(seen.wires), "wire"),
        counted(len(seen.parts), "part"),
        counted(len(seen.nets), "circuit"),
        counted(len(harness.points), "point"),
        counted(len(seen.connectors), "connector"),
        counted(len(seen.splices), "splice"),
        counted(len(seen.grounds), "ground"),
    ]
    if seen.loops:
        counts.append(counted(seen.loops, "second way round", "second ways round"))
    lines = [shown(harness.name), wrapped(listed(counts))]
    lines += ["", "What is joined, and the resistance a healthy wire may have", *_nets(harness, seen)]
    parts = [wire for wire, part in zip(harness.wires, harness.parts, strict=True) if part]
    if parts:
        lines += ["", "Parts that stay plugged in", *_aligned([_part_cells(wire) for wire in parts], 2)]
    if harness.restraint:
        from loomtest.words.cautions import never_measured

        lines += ["", wrapped(never_measured(harness.restraint).split(" "))]
    for title, names in (
        ("Empty cavities", seen.empty_cavities),
        ("No probe reaches", [p for p in seen.unreachable if p not in harness.untouchable]),
        ("No probe may touch", [p for p in seen.unreachable if p in harness.untouchable]),
    ):
        if names:
            lines += ["", wrapped([title + ":", *listed(names)], hanging=2)]
    if seen.without_size_or_length:
        lines += ["", _unknown_copper(harness, seen)]
    if harness.warnings:
        lines += ["", "Look at these again", *_warnings(harness.warnings)]
    return lines


def _nets(harness: Harness, seen: Survey) -> list[str]:
    from loomtest.harness.copper import expectation_of

    expectation = expectation_of(harness)
    special = dict.fromkeys(seen.splices, "splice") | dict.fromkeys(seen.grounds, "ground")
    heads: list[str] = []
    rows: list[list[str]] = []
    owner: list[int] = []
    for order, index in enumerate(seen.nets[:MOST_NETS]):
        net = harness.nets[index]
        names = [harness.points[code] for code in net.points]
        points = [shown(name) + (f" ({special[name]})" if name in special else "") for name in names]
        title = [shown(net.name) + ":"] if net.name != names[0] else []
        heads.append(wrapped([*title, *points], 2, 6))
        for wire in net.conductors:
            limit = float(expectation.limit_ohm[wire])
            rows.append(_wire_cells(harness.wires[wire], float(expectation.expected_ohm[wire]), limit))
            owner.append(order)
    lines: list[str] = []
    told = -1
    for order, row in zip(owner, _aligned(rows, 6), strict=True):
        if order != told:
            lines.append(heads[order])
            told = order
        lines.append(row)
    if len(seen.nets) > MOST_NETS:
        lines.append(f"  and {len(seen.nets) - MOST_NETS} more (--json lists them all)")
    return lines


def _wire_cells(wire: Wire, expected: float, limit: float) -> list[str]:
    colour = shown(wire.colour) if wire.kind == "wire" else wire.kind
    size = "" if wire.size_mm2 is None else f"{wire.size_mm2:.3g} mm²"
    length = "" if wire.length_m is None else f"{wire.length_m:.3g} m"
    if limit != limit:
        span = ""
    elif expected != expected:
        span = f"limit {ohms(limit)}"
    else:
        span = f"{ohms(expected)}, limit {ohms(limit)}"
    return [shown(wire.name), f"{shown(wire.start)} – {shown(wire.end)}", colour, size, length, span]


def _part_cells(wire: Wire) -> list[str]:
    from loomtest.harness.copper import part_ohms

    arrow = "→" if wire.kind == "diode" else "–"
    lowest, highest = part_ohms(wire)
    span = "" if wire.kind == "diode" else f"{ohms(lowest)} to {ohms(highest)}"
    return [shown(wire.name), f"{shown(wire.start)} {arrow} {shown(wire.end)}", wire.kind, span]


def _aligned(rows: list[list[str]], indent: int) -> list[str]:
    """Columns under each other where they fit into the line; a row that does not is wrapped."""
    if not rows:
        return []
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    kept = [column for column, width in enumerate(widths) if width]
    if indent + sum(widths[column] for column in kept) + 2 * (len(kept) - 1) > WIDTH:
        return [wrapped([cell for cell in row if cell], indent, indent + 4) for row in rows]
    return [
        " " * indent + "  ".join(row[column].ljust(widths[column]) for column in kept).rstrip()
        for row in rows
    ]


def _unknown_copper(harness: Harness, seen: Survey) -> str:
    names = seen.without_size_or_length
    if len(names) == len(seen.wires):
        who = ["No wire has both size and length."]
    else:
        who = [f"{len(names)} of {counted(len(seen.wires), 'wire')} without size or length:"]
        who += listed(names if len(names) <= 60 else [*names[:59], f"and {len(names) - 59} more"])
        who[-1] += "."
    limit = ohms(harness.limits.continuity_ohms)
    return wrapped([*who, *f"What such a wire has is judged against {limit} only.".split(" ")], hanging=2)


def _warnings(warnings: tuple[Problem, ...]) -> list[str]:
    lines = [paragraph(shown(str(warning)), 2, 6) for warning in warnings[:MOST_WARNINGS]]
    if len(warnings) > MOST_WARNINGS:
        lines.append(f"  and {len(warnings) - MOST_WARNINGS} more (--json lists them all)")
    return lines


def _change_lines(older: Harness, harness: Harness) -> list[str]:
    from loomtest.harness.difference import difference

    found = difference(older, harness)
    source = older.source if older.name == harness.name and older.source else older.name
    lines = [f"Against {shown(str(source))}: {counted(found.same, 'row')} the same"]
    for word, wires in (("Added", found.added), ("Removed", found.removed)):
        if wires:
            cells = [[*_wire_cells(wire, math.nan, math.nan), shown(wire.circuit)] for wire in wires]
            lines += [f"  {word}", *_aligned(cells, 6)]
    if found.changed:
        lines.append("  Changed")
        for change in found.changed:
            head = [shown(change.wire.name)] + (
                [f"({shown(change.wire.circuit)})"] if change.wire.circuit else []
            )
            fields = [f"{column} {_value(now)}, was {_value(was)};" for column, was, now in change.fields]
            fields[-1] = fields[-1].rstrip(";")
            lines.append(wrapped([*head, *" ".join(fields).split(" ")], 6, 10))
    if not (found.added or found.removed or found.changed):
        lines.append("  Nothing was added, removed or changed.")
    return lines


def _value(value: str | float | None) -> str:
    if value is None or value == "":
        return "nothing"
    return shown(value) if isinstance(value, str) else f"{value:.6g}"
