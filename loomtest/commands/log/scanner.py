"""`loomtest log HARNESS --out RUN --scanner PORT`: a scan of the whole harness into a run folder.

Reached from `loomtest log`; it registers no verb of its own.
"""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from collections.abc import Iterator

    from loomtest.bench.scanner.answers import PinRow
    from loomtest.bench.scanner.driver import Scanner
    from loomtest.bench.scanner.leadsets import ScanInParts
    from loomtest.bench.scanner.sockets import Sockets
    from loomtest.bench.scanner.values import BoardBudget
    from loomtest.harness.model import Harness
    from loomtest.readings.model import Job
    from loomtest.readings.run import RunWriter


@dataclass(frozen=True)
class Wishes:
    """What the person wants of the scan.

    `scans`: so many, averaged. `parallel`: only the parallel test. `flex_s`: seconds of flex watch after it.
    `touch_pin`: fill the socket table by touching, with the probe on this scanner pin.
    """

    stage: str = ""
    operator: str = ""
    temperature_c: float | None = None
    scans: int = 1
    parallel: bool = False
    flex_s: float = 0.0
    touch_pin: int | None = None
    quiet: bool = False
    rehearsal: bool = False
    job: Job | None = None


def _say(text: str) -> None:
    """One paragraph, wrapped for a terminal of 80 columns."""
    from textwrap import fill

    from loomtest.harness.outward import visible

    typer.echo(fill(visible(text), 79, break_long_words=False, break_on_hyphens=False))


def log_scanner(harness_path: str | Path, out: str | Path, port: str, wishes: Wishes | None = None) -> None:
    """Record a scan; goes on with a run folder that stopped. Raises LoomtestError for what cannot be done."""
    from loomtest.bench.connect import open_scanner
    from loomtest.bench.scanner.driver import CAUTIONS
    from loomtest.bench.scanner.run import ready
    from loomtest.commands.log.scan_parts import in_parts
    from loomtest.harness.load import load_harness

    wishes = wishes or Wishes()
    harness = load_harness(harness_path)
    for caution in CAUTIONS:
        _say(caution)
    _say("")
    with open_scanner(port) as scanner:
        who = scanner.identity
        _say(
            f"Pin-scanner with {who.pins} pins, firmware {who.firmware}, "
            + ("calibrated." if who.calibrated else "not calibrated: readings are taken as good to 2 %.")
        )
        home = Path(harness_path) if Path(harness_path).is_dir() else Path(harness_path).parent
        parts = in_parts(scanner, harness, home, _say) if wishes.touch_pin is None else None
        if parts is not None:
            if not _scan_parts(scanner, harness, parts, Path(out), wishes):
                return
        else:
            sockets = _sockets(scanner, harness, home, wishes)
            budget = ready(scanner, sockets)
            _say(f"Self-test passed, no voltage on the loom. {len(sockets.rows)} points are plugged in.")
            _tell_missing(harness, sockets.points)
            with _run_folder(Path(out), harness, (scanner, sockets, budget), wishes) as writer:
                if wishes.parallel:
                    _parallel(scanner, harness, sockets, writer)
                else:
                    _scan(scanner, sockets, budget, writer, wishes)
                if wishes.flex_s > 0:
                    _flex(scanner, harness, sockets, budget, writer, wishes.flex_s)
        mended = scanner.counts
        lost = mended.damaged + mended.silent + mended.resets
        if lost:
            _say(f"{lost} answers were damaged or lost on the line and asked for again.")
    typer.echo(f"Recorded in {out}. Next:")
    typer.echo(f"  loomtest judge {harness_path} {out}")


def _run_folder(
    out: Path,
    harness: Harness,
    ready: tuple[Scanner, Sockets, BoardBudget],
    wishes: Wishes,
) -> RunWriter:
    scanner, sockets, budget = ready
    from loomtest.bench.scanner.run import instrument_of, keep_sockets, now
    from loomtest.readings.model import NO_JOB
    from loomtest.readings.run import About, create_run, resume_run
    from loomtest.readings.runfile import RUN_FILE

    if (out / RUN_FILE).is_file():
        _say(f"Going on with {out}.")
        writer = resume_run(out, clock=now, harness=harness, rehearsal=wishes.rehearsal)
    else:
        about = About(
            wishes.stage,
            wishes.operator,
            instrument_of(scanner, budget),
            temperature_c=wishes.temperature_c,
            isolation=harness.limits.isolation if harness.limits.isolation_written else "full",
            rehearsal=wishes.rehearsal,
            job=wishes.job or NO_JOB,
        )
        writer = create_run(out, harness, about, clock=now)
    keep_sockets(writer, sockets)
    return writer


# ---- sockets ----


def _sockets(scanner: Scanner, harness: Harness, home: Path, wishes: Wishes) -> Sockets:
    from loomtest.bench.scanner.sockets import SOCKETS_FILE, proposed, read_sockets

    table = home / SOCKETS_FILE
    if wishes.touch_pin is not None:
        return _touch(scanner, harness, table, wishes.touch_pin)
    if table.is_file():
        return read_sockets(table, harness, scanner.identity.pins)
    sockets = proposed(harness, scanner.identity.pins)
    _say(
        f"No socket table ({table}): pins are taken in the order of connectors and cavities, "
        + _spans(sockets)
    )
    return sockets


def _spans(sockets: Sockets) -> str:
    """`pins 1 to 8: X1, pins 9 to 12: X2`."""
    sets: dict[str, list[int]] = {}
    for socket in sockets.rows:
        sets.setdefault(socket.lead_set, []).append(socket.pin)
    parts = []
    for name, pins in sets.items():
        which = f"pin {pins[0]}" if len(pins) == 1 else f"pins {pins[0]} to {pins[-1]}"
        parts.append(f"{which}: {name}")
    return ", ".join(parts) + "."


def _touch(scanner: Scanner, harness: Harness, table: Path, probe: int) -> Sockets:
    """Touch to find: point by point, the person holds the probe to the terminal of the lead set."""
    from loomtest.bench.scanner.sockets import Socket, Sockets, touched
    from loomtest.harness.model import connector_of

    if table.exists():
        raise typer.BadParameter(f"{table} is there already: move it away to fill a new one by touching")
    _say(f"Lead sets unplugged from the loom; probe on pin {probe}. Touch each terminal as it is asked for.")
    scanner.check_voltage()
    rows: list[Socket] = []
    hits = (pin for pin in touched(_probe_rows(scanner, probe)) if pin is not None)
    for point in [p for p in harness.points if p not in harness.unreachable]:
        typer.echo(f"Touch the terminal for {point}. ", nl=False)
        for pin in hits:
            taken = next((s.point for s in rows if s.pin == pin), None)
            if taken is None:
                rows.append(Socket(pin, point, 0.0, connector_of(point)))
                _say(f"pin {pin}")
                break
            typer.echo(f"(that is {taken}, already found) ", nl=False)
    sockets = Sockets(tuple(sorted(rows, key=lambda s: s.pin)))
    table.write_text(sockets.text(), "utf-8", newline="\n")
    _say(f"{len(rows)} points found; the table is {table}.")
    return sockets


def _probe_rows(scanner: Scanner, probe: int) -> Iterator[PinRow]:
    while True:
        yield scanner.row(probe)


def _tell_missing(harness: Harness, reached: frozenset[str]) -> None:
    missing = [p for p in harness.points if p not in harness.unreachable and p not in reached]
    if missing:
        shown = ", ".join(missing[:8]) + (f" and {len(missing) - 8} more" if len(missing) > 8 else "")
        _say(f"Without a pin, and so not measured: {shown}.")


# ---- what is recorded ----


def _scan_parts(scanner: Scanner, harness: Harness, parts: ScanInParts, out: Path, wishes: Wishes) -> bool:
    """Part by part into one run; those that it holds already are left out. False where the person stopped."""
    from loomtest.bench.scanner.run import keep_sockets, ready, rows_recorded
    from loomtest.commands.log.scan_parts import plugged_in
    from loomtest.readings.runfile import RUN_FILE

    if wishes.parallel or wishes.flex_s > 0:
        raise typer.BadParameter("found --parallel or --flex; expected neither where a scan is made in parts")
    _tell_missing(harness, parts.points)
    left = [
        part
        for part in parts.parts
        if not (out / RUN_FILE).is_file() or len(rows_recorded(out, part.sockets)) < len(part.sockets.rows)
    ]
    writer: RunWriter | None = None
    with ExitStack() as stack:
        for number, part in enumerate(left):
            if not plugged_in(scanner, part, len(parts.parts), _say, first=number == 0):
                if writer is not None:
                    writer.close("stopped", "between two parts")
                return False
            budget = ready(scanner, part.sockets)
            _say(f"Self-test passed, no voltage on the loom. {len(part.sockets.rows)} points are plugged in.")
            if writer is None:
                writer = stack.enter_context(
                    _run_folder(out, harness, (scanner, part.sockets, budget), wishes)
                )
            keep_sockets(writer, part.sockets)
            _scan(scanner, part.sockets, budget, writer, wishes)
    return True


def _scan(scanner: Scanner, sockets: Sockets, budget: BoardBudget, writer: RunWriter, wishes: Wishes) -> None:
    from loomtest.bench.scanner.run import record_scan, rows_recorded

    done = rows_recorded(writer.folder, sockets)
    if done:
        _say(f"{len(done)} of {len(sockets.rows)} pins stand recorded already.")
    steps = record_scan(scanner, sockets, budget, writer, repeats=wishes.scans, done=done)
    total = len(sockets.rows) - len(done)
    with _Bar(total, wishes.quiet) as bar:
        for step in steps:
            bar.at(step.done, step.point)


class _Bar:
    """Progress on a terminal; silent elsewhere."""

    def __init__(self, total: int, quiet: bool) -> None:
        import sys

        self._total, self._shown = total, sys.stderr.isatty() and not quiet

    def __enter__(self) -> _Bar:
        return self

    def __exit__(self, *_: object) -> None:
        if self._shown:
            typer.echo("\r" + " " * 60 + "\r", nl=False, err=True)

    def at(self, done: int, point: str) -> None:
        """`done` of the total, the last at `point`."""
        if self._shown:
            part = 30 * done // max(self._total, 1)
            bar = "=" * part + " " * (30 - part)
            typer.echo(f"\rscanning [{bar}] {done} of {self._total} pins, {point:<12.12}", nl=False, err=True)


def _parallel(scanner: Scanner, harness: Harness, sockets: Sockets, writer: RunWriter) -> None:
    from loomtest.bench.plan.isolation import scanner_tests
    from loomtest.bench.scanner.parallel import run_parallel
    from loomtest.errors import InstrumentError

    if not scanner.identity.switches:
        raise InstrumentError("this board has no transistor switches: it scans, but cannot test in parallel")
    tests = scanner_tests(harness)
    joined = sum(test.what == "continuity" for test in tests)
    _say(
        f"Parallel test of {len(harness.nets)} circuits: {len(tests)} tests, {joined} for what is joined and "
        f"{len(tests) - joined} for shorts."
    )
    failed = 0
    for result in run_parallel(scanner, harness, sockets):
        for reading in result.readings:
            writer.record_later(reading)
        failed += not result.passed
        for start, end in result.wrong[:4]:
            points = [sockets.by_pin[pin].point for pin in dict.fromkeys((start, end))]
            _say(f"Test {result.number} of {result.total}: wrong at {', '.join(points)}.")
    if failed:
        _say(f"{failed} tests failed: scan without --parallel to see what is wrong and where.")
    else:
        _say("Every circuit is unbroken (below 90 Ω) and none is shorted to another (above 1.2 MΩ).")
        _say("Joints were not measured: scan without --parallel for them.")


def _flex(
    scanner: Scanner,
    harness: Harness,
    sockets: Sockets,
    budget: BoardBudget,
    writer: RunWriter,
    seconds: float,
) -> None:
    from loomtest.bench.scanner.flex import flex_watch
    from loomtest.bench.scanner.parallel import nets_of
    from loomtest.bench.scanner.run import readings_of
    from loomtest.words.numbers import counted, shown_ohms

    _say(f"Flex watch for {seconds:g} s: bend the loom, branch by branch.")
    moved: dict[tuple[int, int], int] = {}
    rounds = 0
    for look in flex_watch(scanner, sockets, nets_of(harness, sockets), budget, seconds=seconds):
        rounds = look.round
        pair = (look.start, look.end)
        if look.moved and pair not in moved:
            names = [sockets.by_pin[pin].point for pin in pair]
            shown = "opened" if look.value.range is None else f"read {shown_ohms(look.value.ohms)}"
            _say(f"\a{names[0]} to {names[1]} {shown} (at rest {shown_ohms(look.rest_ohm)}).")
        if look.moved:
            moved[pair] = moved.get(pair, 0) + 1
            for reading in readings_of(look.start, {look.end: [look.value]}, sockets, budget):
                writer.record(reading)
    _say(f"{rounds} rounds in {seconds:g} s; {counted(len(moved), 'pair')} moved.")
