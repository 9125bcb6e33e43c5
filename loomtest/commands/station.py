"""`loomtest station`: one line a unit: read its number, scan, judge, keep, show right or wrong."""

from __future__ import annotations

import sys
from contextlib import suppress
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from loomtest.commands.app import app
from loomtest.commands.keep import ARCHIVE_HELP, INDEX_HELP

if TYPE_CHECKING:
    from loomtest.bench.scanner.driver import Scanner
    from loomtest.bench.scanner.sockets import Sockets
    from loomtest.evidence.archive.keep import KeptRun
    from loomtest.evidence.station.line import UnitLine
    from loomtest.harness.model import Harness

RUNS = "station-runs"


@app.command(
    epilog="Example: loomtest station tractor --scanner /dev/ttyUSB0 --archive evidence --operator Kim\n"
    "Example: loomtest station tractor --scanner rehearse:tractor --archive evidence"
)
def station(
    harness: Annotated[str, typer.Argument(help="The kind of loom that is tested.")],
    scanner: Annotated[str, typer.Option(help="The pin-scanner's port, or rehearse:FOLDER.")],
    archive: Annotated[str | None, typer.Option(help=ARCHIVE_HELP)] = None,
    index: Annotated[str | None, typer.Option(help=INDEX_HELP)] = None,
    operator: Annotated[str, typer.Option(help="Who tests; kept with every unit.")] = "",
    bench: Annotated[
        str | None, typer.Option(help="This bench's name (default: LOOMTEST_BENCH, else the computer's).")
    ] = None,
    job: Annotated[str, typer.Option(help="The job's number, kept with every unit.")] = "",
    customer: Annotated[str, typer.Option(help="For whom, kept with every unit.")] = "",
    stage: Annotated[str, typer.Option(help="A word for these runs.")] = "line",
    runs: Annotated[
        str | None,
        typer.Option(help=f"Where scans lie until they are kept (default: {RUNS} in the loom's folder)."),
    ] = None,
) -> None:
    """Test one unit after the other: scan its label, and see RIGHT or WRONG from three metres.

    A barcode reader that types the number and Enter will do. Each unit is scanned, judged and kept; no pages
    are drawn of a right one (loomtest report --bag does that later). A number that was kept before is asked
    about. What the power interrupts is finished at the next start. q ends.
    """
    from loomtest.bench.connect import is_rehearsal, open_scanner
    from loomtest.bench.scanner.driver import CAUTIONS
    from loomtest.bench.scanner.run import now, ready
    from loomtest.evidence.archive.folder import Archive, default_archive, default_bench
    from loomtest.evidence.page.page import write_report
    from loomtest.evidence.station.line import LineSettings, UnitLine
    from loomtest.evidence.station.shown import SCREEN_FILE, write_ready
    from loomtest.harness.load import load_harness
    from loomtest.words import station as words
    from loomtest.words.verdict import judge

    expected = load_harness(harness)
    home = Path(harness) if Path(harness).is_dir() else Path(harness).parent
    place = Path(runs) if runs is not None else home / RUNS
    line = UnitLine(
        LineSettings(
            harness=expected,
            archive=Archive(Path(archive) if archive is not None else default_archive(), index),
            runs=place,
            judge=judge,
            report=write_report,
            clock=now,
            stage=stage,
            operator=operator,
            bench=bench if bench is not None else default_bench(),
            job=job,
            customer=customer,
            rehearsal=is_rehearsal(scanner),
        )
    )
    for caution in CAUTIONS:
        _say(caution)
    with suppress(ImportError):  # here, so that the first unit does not wait for them
        import_module("pyarrow.csv")
    import_module("scipy.sparse.csgraph")

    _settle(line)
    with open_scanner(scanner) as board:
        sockets = _sockets(board, expected, home)
        ready(board, sockets)
        write_ready(place / SCREEN_FILE, expected)
        _say(words.NO_PAGE.format(page=place / SCREEN_FILE))
        _units(line, board, sockets)
    line.close()


def _units(line: UnitLine, board: Scanner, sockets: Sockets) -> None:
    """Unit after unit, until somebody types q or the input ends."""
    from loomtest.commands.terminal.large import forget_typed
    from loomtest.evidence.station.line import unit_of
    from loomtest.words import station as words

    while True:
        text = _asked(words.NEXT_UNIT)
        if text is None or text.strip() == "q":
            return
        if not text.strip():
            continue
        unit = unit_of(text)
        if unit is None:
            _say(words.NO_UNIT)
        elif _wanted(line, unit):
            _say(words.SCANNING)
            _one(line, unit, board, sockets)
            forget_typed()  # a label read twice, or while another unit was plugged in, is no unit


def _wanted(line: UnitLine, unit: str) -> bool:
    """A number that was kept before is asked about."""
    from loomtest.evidence.station.line import unit_of
    from loomtest.words import station as words

    before = line.kept_before(unit)
    if before is None:
        return True
    answer = _asked(words.duplicate(unit, before.started or before.kept, before.verdict)) or ""
    return answer.strip().lower() in ("y", "yes") or unit_of(answer) == unit


def _one(line: UnitLine, unit: str, board: Scanner, sockets: Sockets) -> None:
    """Scan, keep and show one unit; what fails is told, and the next unit is asked for."""
    from loomtest.commands.terminal.large import show_large, sound
    from loomtest.errors import LoomtestError
    from loomtest.words import station as words

    try:
        folder = line.scan(unit, board, sockets)
    except LoomtestError as error:
        show_large("NOT DONE", "doubt", [words.not_scanned(unit, str(error))])
        sound("doubt")
        return
    try:
        kept = line.keep(folder)
    except (LoomtestError, OSError) as error:
        show_large("NOT KEPT", "bad", [words.not_kept(unit, str(error))])
        sound("bad")
        return
    _show(line, unit, kept)
    for earlier in line.waiting():  # of a time when the archive could not be written
        try:
            line.keep(earlier)
        except (LoomtestError, OSError) as error:
            _say(words.not_kept(earlier.name, str(error)))


def _show(line: UnitLine, unit: str, kept: KeptRun) -> None:
    from loomtest.commands.terminal.large import show_large, sound
    from loomtest.evidence.station.shown import SCREEN_FILE, write_screen
    from loomtest.words import station as words
    from loomtest.words.conditions import REHEARSAL
    from loomtest.words.labels import OUTCOME_TONE

    verdict, harness = kept.verdict, line.settings.harness
    tone = OUTCOME_TONE[verdict.verdict]
    about = [f"Unit {unit}, kept as {kept.folder.name}.", *([REHEARSAL] if verdict.rehearsal else [])]
    show_large(
        words.WORD[verdict.verdict], tone, [*about, *words.unit_lines(verdict, harness), words.NOT_SAFE]
    )
    sound(tone)
    write_screen(line.settings.runs / SCREEN_FILE, unit, harness, verdict)


def _settle(line: UnitLine) -> None:
    """Say what an earlier start left, and finish it."""
    from loomtest.words import station as words

    for one in line.settle():
        if one.again:
            _say(words.kept_already(one.unit))
        elif one.kept is not None:
            _say(words.kept_now(one.unit, one.kept.verdict.verdict))
        else:
            _say(words.begun(one.unit))


def _sockets(board: Scanner, harness: Harness, home: Path) -> Sockets:
    from loomtest.bench.scanner.sockets import SOCKETS_FILE, proposed, read_sockets

    table = home / SOCKETS_FILE
    pins = board.identity.pins
    return read_sockets(table, harness, pins) if table.is_file() else proposed(harness, pins)


def _asked(question: str) -> str | None:
    """A line that a person or a barcode reader types; None where the input has ended."""
    sys.stdout.write(question if sys.stdout.isatty() else question + "\n")
    sys.stdout.flush()
    text = sys.stdin.readline()
    return text if text else None


def _say(text: str) -> None:
    from textwrap import fill

    typer.echo(fill(text, 79, break_long_words=False, break_on_hyphens=False))
