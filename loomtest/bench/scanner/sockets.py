"""The socket table: which scanner pin ends at which point of the harness, through which lead set.

    pin,point,lead_ohms,lead_set
    1,X1:1,0,X1 lead set
    2,X1:2,0,X1 lead set

It stands as `sockets.csv` in the harness folder. `lead_ohms` is what is subtracted for one pin: 0 where force
and sense wires are joined at the terminal of the lead set, else the resistance of the single wire from board
to terminal.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from loomtest.bench.scanner.answers import PinRow
from loomtest.errors import InputError, Problem, nearest
from loomtest.harness.model import Harness, connector_of
from loomtest.harness.points import natural

SOCKETS_FILE = "sockets.csv"
TOUCHED_BELOW_OHM = 1000.0  # a probe pressed on a terminal; fingers are far above
STEADY_ROWS = 3


@dataclass(frozen=True, slots=True)
class Socket:
    """One scanner pin (from 1) and the point it reaches; `lead_ohm` is subtracted once for each end."""

    pin: int
    point: str
    lead_ohm: float = 0.0
    lead_set: str = ""


@dataclass(frozen=True)
class Sockets:
    """A whole table, one pin a point and one point a pin. `part`: of a scan in parts, which one; else 0."""

    rows: tuple[Socket, ...]
    part: int = 0
    by_pin: Mapping[int, Socket] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "by_pin", {socket.pin: socket for socket in self.rows})

    @property
    def points(self) -> frozenset[str]:
        """The points that the scanner reaches."""
        return frozenset(socket.point for socket in self.rows)

    def pin_of(self, point: str) -> int | None:
        """The pin at a point."""
        return next((socket.pin for socket in self.rows if socket.point == point), None)

    def text(self) -> str:
        """The table as CSV."""
        out = io.StringIO()
        table = csv.writer(out, lineterminator="\n")
        table.writerow(("pin", "point", "lead_ohms", "lead_set"))
        for s in self.rows:
            table.writerow((s.pin, s.point, f"{s.lead_ohm:.5g}", s.lead_set))
        return out.getvalue()


def proposed(harness: Harness, pins: int) -> Sockets:
    """Pins in the order of connectors and cavities: what to build lead sets by, where no table stands yet.

    Connectors by name (X2 before X10), each with its cavities in the order of `[cavities]` where that names
    them, else by name; single terminals come last. The order of the wire list plays no part.

    Raises InputError when the board has too few pins for the reachable points.
    """
    wanted = in_bench_order(harness)
    if len(wanted) > pins:
        file = str(harness.source or harness.name)
        expected = f"at most {pins}, the scanner's pins: scan in parts with loomtest log --scanner"
        raise InputError([Problem(file, None, "", f"{len(wanted)} reachable points", expected)])
    return Sockets(
        tuple(
            Socket(n, point, 0.0, f"{connector_of(point)} lead set" if connector_of(point) else "ring leads")
            for n, point in enumerate(wanted, 1)
        )
    )


def in_bench_order(harness: Harness) -> list[str]:
    """The reachable points: connectors by name, each with its cavities in their order, single points last."""
    wanted = [p for p in harness.points if p not in harness.unreachable]
    return sorted(wanted, key=lambda point: _place_of(harness, point))


def _place_of(harness: Harness, point: str) -> tuple[object, ...]:
    connector = connector_of(point)
    declared = harness.cavities.get(connector, ())
    cavity = point.rpartition(":")[2]
    place = declared.index(cavity) if cavity in declared else len(declared)
    return (not connector, natural(connector), place, natural(point))


def read_sockets(path: Path, harness: Harness, pins: int) -> Sockets:
    """A socket table checked against harness and board. Raises InputError with every mistake in it."""
    problems: list[Problem] = []
    rows: list[Socket] = []
    known = [*harness.points]
    pin_lines: dict[int, int] = {}
    point_lines: dict[str, int] = {}

    def wrong(line: int, column: str, found: str, expected: str) -> None:
        problems.append(Problem(str(path), line, column, found, expected))

    with path.open(encoding="utf-8-sig", newline="") as stream:
        table = csv.DictReader(stream)
        if not {"pin", "point"} <= set(table.fieldnames or ()):
            raise InputError(
                [Problem(str(path), 1, "", f"the columns {table.fieldnames}", "pin and point at least")]
            )
        for texts in table:
            line = table.line_num
            pin, point = (texts.get("pin") or "").strip(), (texts.get("point") or "").strip()
            if not pin and not point:
                continue
            lead, before = _lead(texts.get("lead_ohms") or "0"), len(problems)
            if not (pin.isascii() and pin.isdecimal() and 1 <= int(pin) <= pins):
                wrong(line, "pin", repr(pin), f"a number from 1 to {pins}")
            elif pin_lines.setdefault(int(pin), line) != line:
                wrong(line, "pin", f"pin {pin} again", f"each pin once (first in line {pin_lines[int(pin)]})")
            if point not in harness.code_of:
                wrong(line, "point", repr(point), "one of " + ", ".join(nearest(point, known) or known[:5]))
            elif point in harness.untouchable:
                wrong(line, "point", point, "no pin of a restraint system: a scanner can fire it")
            elif point_lines.setdefault(point, line) != line:
                wrong(
                    line, "point", f"{point} again", f"each point once (first in line {point_lines[point]})"
                )
            if math.isnan(lead):
                wrong(line, "lead_ohms", repr(texts["lead_ohms"]), "a number of zero or more")
            if len(problems) == before:
                rows.append(Socket(int(pin), point, lead, (texts.get("lead_set") or "").strip()))
    if not rows and not problems:
        wrong(1, "", "no rows", "a pin and a point in each")
    if problems:
        raise InputError(problems)
    return Sockets(tuple(rows))


def _lead(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        return math.nan
    return value if math.isfinite(value) and value >= 0.0 else math.nan


def touched(rows: Iterable[PinRow | None]) -> Iterator[int | None]:
    """Touch to find: from rows of the probe's pin, the pin whose terminal is held, once for each touch.

    `None` in `rows` passes through, so that a caller can look for the keyboard. A touch counts when the same
    single pin answers STEADY_ROWS times; the next one only after the probe was lifted.
    """
    steady, last, told = 0, None, False
    for row in rows:
        if row is None:
            yield None
            continue
        joined = [n for n, value in enumerate(row.values, 1) if value.ohms < TOUCHED_BELOW_OHM]
        now = joined[0] if len(joined) == 1 else None
        steady = steady + 1 if now is not None and now == last else 1
        if not joined:
            told = False
        last = now
        if now is not None and steady >= STEADY_ROWS and not told:
            told = True
            yield now
        else:
            yield None
