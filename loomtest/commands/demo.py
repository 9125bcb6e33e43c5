"""`loomtest demo`: the whole job on invented looms that come along."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from loomtest.commands.app import app
from loomtest.commands.terminal.verbs import QUIET_HELP

if TYPE_CHECKING:
    from loomtest.diagnosis.change.change import Side
    from loomtest.errors import LoomtestError
    from loomtest.harness.model import Harness
    from loomtest.words.lines import Line

TRACTOR = ("1_before", "2_after", "3_final")
LAUNCH = ("1_first.csv", "2_second.csv")
NEEDED_MB = 5  # 3.5 MB are written
STORIES = {
    "1_before": "as it came apart, with a new front lamp connector",
    "2_after": "mended",
    "3_final": "the rear ground's ring replaced",
    "1_first.csv": "after a new stern plug",
    "2_second.csv": "mended",
}


@app.command(epilog="Example: loomtest demo\nExample: loomtest demo --out try-it")
def demo(
    out: Annotated[
        str | None, typer.Option(help="The folder to write into (default: a new loomtest-demo here).")
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help=QUIET_HELP)] = False,
) -> None:
    """Do the whole job on an invented tractor loom and a small boat's: judge, compare, report, keep.

    It writes every file out, so you can repeat each step by hand.
    """
    place = _new_folder(out)
    try:
        _whole_job(place, quiet)
    except BrokenPipeError:  # who read along has read enough
        raise
    except OSError as error:
        raise _no_room(place, error) from error


def _whole_job(place: Path, quiet: bool) -> None:
    from loomtest.commands.terminal.progress import Progress
    from loomtest.commands.terminal.screen import show
    from loomtest.harness.load import load_harness
    from loomtest.words.lines import Line

    _copy_samples(place)
    folder = place / "orchard_tractor"
    harness = load_harness(folder)
    show([Line(f"{harness.name}: an invented loom, measured three times", "head")])
    with Progress("judging", quiet):
        sides = _judge_all(harness, folder, TRACTOR, None)
    for name, side in zip(TRACTOR, sides, strict=True):
        show(_told(name, side, harness))
        with Progress("writing the report", quiet):
            _report(harness, side, place / "reports" / name)
    with Progress("drawing before and after", quiet):
        compared = _compared(harness, sides[0], sides[-1], place / "before-and-after")
    show(compared)
    with Progress("keeping the evidence", quiet):
        kept = _kept(folder, place / "evidence")
    show(kept)
    _boat(place)
    final = place / "reports" / TRACTOR[0] / "report.html"
    show(
        [
            Line(""),
            Line("Open in a browser", "head"),
            Line(f"  {final.as_posix()}"),
            Line("All files, to try every command on"),
            Line(f"  {place.as_posix()}"),
        ]
    )


def _boat(place: Path) -> None:
    from loomtest.commands.terminal.screen import show
    from loomtest.harness.load import load_harness
    from loomtest.words.lines import Line

    folder = place / "fishing_launch"
    harness = load_harness(folder)
    show([Line(""), Line(f"{harness.name}: invented too, by hand with an ordinary meter", "head")])
    sides = _judge_all(harness, folder, LAUNCH, folder / "meter.toml")
    for name, side in zip(LAUNCH, sides, strict=True):
        show(_told(name, side, harness))


def _judge_all(harness: Harness, folder: Path, names: tuple[str, ...], meter: Path | None) -> list[Side]:
    from loomtest.diagnosis.change.change import Side
    from loomtest.readings.instrument import load_instrument
    from loomtest.readings.load import load_readings
    from loomtest.words.verdict import judge

    instrument = load_instrument(str(meter)) if meter else None
    sides = []
    for name in names:
        readings = load_readings(folder / name, harness)
        sides.append(Side(readings, judge(harness, readings, instrument), instrument))
    return sides


def _told(name: str, side: Side, harness: Harness) -> list[Line]:
    from loomtest.words.labels import OUTCOME_TONE
    from loomtest.words.lines import Line, folded
    from loomtest.words.plain import brief, doubts, headline

    verdict = side.verdict
    lines = [Line(""), Line(f"{name.removesuffix('.csv')}: {STORIES[name]}")]
    lines += [
        Line("  " + text, OUTCOME_TONE[verdict.verdict]) for text in folded(headline(verdict, harness), 76)
    ]
    lines += [Line("    " + brief(finding), "bad") for finding in verdict.findings]
    return lines + [Line("    " + brief(doubt), "doubt") for doubt in doubts(verdict, harness)]


def _report(harness: Harness, side: Side, out: Path) -> None:
    from loomtest.evidence.page.page import write_report

    write_report(harness, side.readings, side.verdict, out, side.instrument)


def _compared(harness: Harness, first: Side, last: Side, out: Path) -> list[Line]:
    from loomtest.diagnosis.change.change import change_between
    from loomtest.evidence.plots.plots import write_plots
    from loomtest.words.lines import Line
    from loomtest.words.numbers import counted

    change = change_between(harness, first, last)
    plots = write_plots(harness, change, first, last, out)
    left = len(change.remaining) + len(change.new) + len(change.not_shown_gone)
    gone = counted(len(change.gone), "fault")
    return [
        Line(""),
        Line(f"From the first run to the last: {gone} gone, {left or 'none'} left"),
        Line(f"  {plots[0].as_posix()}"),
    ]


def _kept(folder: Path, evidence: Path) -> list[Line]:
    import uuid
    from datetime import datetime

    from loomtest.evidence.archive.folder import Archive
    from loomtest.evidence.archive.keep import Keeping, keep_run
    from loomtest.evidence.page.page import write_report
    from loomtest.words.lines import Line
    from loomtest.words.verdict import judge

    for name in TRACTOR:
        now = datetime.now().astimezone()
        keeping = Keeping(judge, write_report, now, uuid.uuid4().hex[:8], rehearsal=True)
        keep_run(folder / name, Archive(evidence), keeping)
    return [
        Line("Kept as evidence, with checksums that anyone can check"),
        Line(f"  {evidence.as_posix()}"),
    ]


def _new_folder(out: str | None) -> Path:
    """The folder to write into: what was asked for if it is new or empty, else a new name here."""
    from loomtest.errors import InputError, Problem

    if out is None:
        names = ["loomtest-demo", *(f"loomtest-demo-{number}" for number in range(2, 10_000))]
        return next(Path(name) for name in names if not Path(name).exists())
    place = Path(out)
    if place.exists() and (not place.is_dir() or any(place.iterdir())):
        found = "a folder with something in it" if place.is_dir() else "a file"
        raise InputError([Problem(out, None, "--out", found, "a new name, or an empty folder")])
    return place


def _copy_samples(place: Path) -> None:
    import shutil
    from importlib.resources import as_file, files

    with as_file(files("loomtest.data")) as data:
        shutil.copytree(data / "demo", place, dirs_exist_ok=True)


def _no_room(place: Path, error: OSError) -> LoomtestError:
    """What is said where the folder cannot be written: a disk that is full above all."""
    import shutil

    from loomtest.errors import InputError, Problem

    why = error.strerror or str(error)
    if isinstance(error, shutil.Error):  # one entry a file that was not copied: their reasons are alike
        why = str(error.args[0][0][2]).partition("] ")[2].partition(": ")[0] or "files that cannot be copied"
    expected = f"a folder to write into, with {NEEDED_MB} MB free; what is there so far can be deleted"
    return InputError([Problem(str(place), None, "--out", why.lower(), expected)])
