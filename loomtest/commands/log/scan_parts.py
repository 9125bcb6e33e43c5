"""A scan in parts: the person plugs lead sets in, part by part, and all of it is one run."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from collections.abc import Callable

    from loomtest.bench.scanner.driver import Scanner
    from loomtest.bench.scanner.leadsets import ScanInParts, ScanPart
    from loomtest.harness.model import Harness


def in_parts(
    scanner: Scanner, harness: Harness, home: Path, say: Callable[[str], None]
) -> ScanInParts | None:
    """The parts where the board has too few pins for the loom and no socket table stands; else None. New lead
    sets are written down. Raises InputError."""
    from loomtest.bench.scanner.leadsets import (
        LEAD_SETS_FILE,
        lead_sets_text,
        proposed_lead_sets,
        read_lead_sets,
        scan_in_parts,
    )
    from loomtest.bench.scanner.sockets import SOCKETS_FILE, in_bench_order
    from loomtest.words.scan_parts import never_text, parts_text, remembered_text

    points, pins = in_bench_order(harness), scanner.identity.pins
    if len(points) <= pins or (home / SOCKETS_FILE).is_file():
        return None
    file = home / LEAD_SETS_FILE
    if not file.is_file():
        file.write_text(lead_sets_text(proposed_lead_sets(harness, pins)), "utf-8", newline="\n")
    made = scan_in_parts(read_lead_sets(file, harness, pins), pins)
    say(parts_text(len(points), pins, len(made.parts), made.plan.changes, made.plan.bound))
    say(remembered_text(str(file)))
    if made.never:
        say(never_text(made.never))
    return made


def plugged_in(
    scanner: Scanner, part: ScanPart, total: int, say: Callable[[str], None], *, first: bool
) -> bool:
    """Asks for the lead sets of a part, all of them for the `first` of a sitting; False where the person
    stops or the input ends."""
    from loomtest.bench.rehearsal.board import RehearsalPort
    from loomtest.words.scan_parts import ASK, STOPPED, part_text

    every = tuple(dict.fromkeys(socket.lead_set for socket in part.sockets.rows))
    plug_in, take_off = (every, ()) if first else (part.plug_in, part.take_off)
    say(part_text(part.number, total, plug_in, take_off, part.sockets.rows))
    typer.echo(ASK)
    typed = sys.stdin.readline()
    if not typed or typed.strip().casefold() in ("s", "stop"):
        say(STOPPED)
        return False
    if isinstance(scanner.port, RehearsalPort):
        scanner.port.plug_in(part.sockets)
    return True
