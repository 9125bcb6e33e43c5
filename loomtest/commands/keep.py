"""`loomtest keep`: a run goes into the evidence archive, for good."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from loomtest.commands.app import app
from loomtest.commands.terminal.verbs import JSON_HELP, QUIET_HELP
from loomtest.commands.unit_asked import ask_about_unit, told_about_unit

if TYPE_CHECKING:
    from loomtest.evidence.archive.folder import Archive, Entry
    from loomtest.evidence.archive.keep import KeptRun
    from loomtest.evidence.archive.redraw import Redraw
    from loomtest.evidence.archive.timestamp import Stamp, Stamper

ARCHIVE_HELP = "The archive folder (default: LOOMTEST_ARCHIVE, else loomtest-archive in your home folder)."

NOT_INDEXED = "The run is kept. It goes into the index by itself with the next keep, history or verify."
INDEX_HELP = "The index, where it is not beside the bags: postgresql://USER@HOST/DATABASE (or archive.toml)."
BAG_HELP = "a part of its name, its job, unit or stage, or several of them."
NEWEST_HELP = "With --bag: of several that answer, the one kept last."


@app.command(
    epilog="Example: loomtest keep tractor/before --archive evidence\n"
    "Example: loomtest keep first.csv --harness launch --stage before\n"
    "Example: loomtest keep tractor/final --before tractor/before --archive evidence"
)
def keep(
    run: Annotated[
        str | None, typer.Argument(help="A run folder; or, with --harness, a readings file.")
    ] = None,
    harness: Annotated[
        str | None, typer.Option(help="The harness of a readings file, or of a run without a copy of it.")
    ] = None,
    instrument: Annotated[
        str | None, typer.Option(help="With --harness: the meter, an instrument file or a name.")
    ] = None,
    stage: Annotated[
        str, typer.Option(help="With --harness: what the readings are of, such as before or after.")
    ] = "",
    key: Annotated[str | None, typer.Option(help="Sign with this private key (made by --new-key).")] = None,
    new_key: Annotated[
        str | None, typer.Option(help="Make a signing key: this file, and the public half beside it.")
    ] = None,
    from_zip: Annotated[
        str | None, typer.Option(help="Take in a kept run from a zip file (made by verify --to-zip).")
    ] = None,
    time_stamp: Annotated[
        str | None,
        typer.Option(help="Have a time-stamp server (RFC 3161) stamp all that is kept; also without RUN."),
    ] = None,
    rehearsal: Annotated[
        bool,
        typer.Option("--rehearsal", help="Keep a run of a simulated meter or scanner too, marked as that."),
    ] = False,
    before: Annotated[
        str | None, typer.Option(help="Keep this run before the work too, and draw the customer's page.")
    ] = None,
    shop: Annotated[
        str | None, typer.Option(help="With --before: your heading (default: shop.toml beside the run).")
    ] = None,
    without_pages: Annotated[
        bool,
        typer.Option("--without-pages", help="Draw no report of a run that is right: report --bag does."),
    ] = False,
    archive: Annotated[str | None, typer.Option(help=ARCHIVE_HELP)] = None,
    index: Annotated[str | None, typer.Option(help=INDEX_HELP)] = None,
    as_json: Annotated[bool, typer.Option("--json", help=JSON_HELP)] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help=QUIET_HELP)] = False,
) -> None:
    """Keep a run with its verdict, report and pictures as a BagIt bag that is never changed again.

    The run itself stays as it is. Anyone can check a bag years later without this program, inside its
    folder: sha256sum -c manifest-sha256.txt

    The time-stamp server is told one digest and nothing else. Where it is away, the run is kept all the
    same; --time-stamp alone asks again later.

    The JSON object: bag (its folder), tag_manifest_sha256, verdict; with --new-key: key, private, public;
    with --time-stamp: time_stamp (file, runs, time; null where the server was away).
    """
    given = sum(each is not None for each in (run, new_key, from_zip))
    if given != 1 and not (given == 0 and time_stamp is not None):
        raise typer.BadParameter("give one of RUN, --new-key FILE and --from-zip FILE", param_hint="RUN")
    if shop is not None and before is None:
        raise typer.BadParameter("only with --before: the heading stands on that page", param_hint="--shop")
    if harness is None and (instrument is not None or stage):
        raise typer.BadParameter("only with --harness: a run folder holds them itself", param_hint="--stage")
    from loomtest.commands.terminal.progress import Progress
    from loomtest.commands.terminal.screen import show, show_json
    from loomtest.evidence.archive.folder import archive_at
    from loomtest.words.lines import Line

    place = archive_at(archive, index)
    told: dict[str, object]
    if time_stamp is not None and new_key is not None:
        raise typer.BadParameter("a new key needs no time-stamp", param_hint="--time-stamp")
    stamper = _stamper(time_stamp)  # before anything is kept: an address that is none is refused
    if given == 0 and stamper is not None:
        with Progress(f"asking {time_stamp}", quiet):
            told, text = _stamp_told(stamper.stamp(place))
    elif new_key is not None:
        told, text = _make_key(Path(new_key))
    elif from_zip is not None:
        from loomtest.evidence.archive.zip import import_bag

        with Progress(f"taking in {from_zip}", quiet):
            taken = import_bag(place, Path(from_zip), todays_redraw())
        told = {**_object(place, taken.entry), "unproven": list(taken.why)}
        text = [f"taken in as {place.folder / taken.entry.folder}"]
        if taken.why:
            text.append("It does not follow from its own readings: " + "; ".join(taken.why))
            text.append("It is kept under that mark, and every later verify says so.")
        _add_stamp(stamper, place, told, text)
    else:
        assert run is not None
        if not (as_json or quiet):
            ask_about_unit(Path(run), place, rehearsal)
        with Progress(f"keeping {run}", quiet):
            how = _Kept(key=key, rehearsal=rehearsal, without_pages=without_pages, before=before, shop=shop)
            kept = _keep(Path(run), place, how, (harness, instrument, stage))
        told, text = _kept_told(Path(run), place, kept)
        _add_stamp(stamper, place, told, text)
    if as_json:
        show_json(told)
    else:
        show(Line(line) for line in text)


def _kept_told(run: Path, place: Archive, kept: KeptRun) -> tuple[dict[str, object], list[str]]:
    told: dict[str, object] = {**_object(place, kept.entry), "verdict": kept.verdict.verdict}
    text = [f"kept as {kept.folder}", f"verdict: {kept.verdict.verdict}"]
    text += [f"digest of its tag manifest: {kept.entry.digest}"]
    from loomtest.evidence.archive.anchor import chain_code

    code = chain_code(place.ledger(), kept.entry.sequence)
    told["code"] = code
    text += ["", f"code for your job book: {code}", f"(later: loomtest verify --digest {code})"]
    text += _as_picture(code)
    from loomtest.evidence.archive.names import kept_before

    earlier = kept_before(place, kept.entry)
    if kept.not_indexed:
        told["not_indexed"] = kept.not_indexed
        text += [f"not in the index yet: {kept.not_indexed}", NOT_INDEXED]
    if again := told_about_unit(run, place, kept):
        told["same_unit"] = again
        text += [again]
    if earlier is not None:
        text += [f"the same readings are kept already, as {earlier.folder}: both stay"]
    return told, text


def _as_picture(code: str) -> list[str]:
    """The code as a QR picture for a phone, where a person looks at a terminal."""
    import io
    import sys

    if not sys.stdout.isatty():
        return []
    import segno

    drawn = io.StringIO()
    segno.make(code, micro=False).terminal(out=drawn, compact=True)
    return ["", *drawn.getvalue().splitlines()]


def _stamper(url: str | None) -> Stamper | None:
    if url is None:
        return None
    from loomtest.evidence.archive.timestamp import Stamper

    return Stamper(url)


def _stamp_told(stamp: Stamp) -> tuple[dict[str, object], list[str]]:
    file = stamp.path.as_posix()
    text = f"time-stamp of {stamp.time} over all {stamp.runs} kept runs: {file}"
    return {"time_stamp": {"file": file, "runs": stamp.runs, "time": stamp.time}}, [text]


def _add_stamp(stamper: Stamper | None, place: Archive, told: dict[str, object], text: list[str]) -> None:
    """Stamp what was kept a moment ago; a server that is away takes nothing back."""
    if stamper is None:
        return
    from loomtest.errors import ArchiveError

    try:
        more, lines = _stamp_told(stamper.stamp(place))
    except ArchiveError as error:
        more, lines = {"time_stamp": None, "not_stamped": str(error)}, [f"NOT STAMPED: {error}"]
        lines.append(f"The run is kept. Later: loomtest keep --time-stamp {stamper.url}")
    told.update(more)
    text += ["", *lines]


def todays_redraw() -> Redraw:
    """How this version judges readings and draws their page."""
    from loomtest.evidence.archive.redraw import Redraw
    from loomtest.evidence.page.page import write_report
    from loomtest.words.verdict import judge

    return Redraw(judge, write_report)


def _make_key(path: Path) -> tuple[dict[str, object], list[str]]:
    from loomtest.evidence.archive.sign import new_key

    name = new_key(path)
    text = [
        f"key {name}",
        f"private: {path} (keep it to yourself: whoever has it signs as you)",
        f"public:  {path}.pub (give it to whoever is to check your bags)",
    ]
    return {"key": name, "private": str(path), "public": f"{path}.pub"}, text


def _object(archive: Archive, entry: Entry) -> dict[str, object]:
    return {"bag": (archive.folder / entry.folder).as_posix(), "tag_manifest_sha256": entry.digest}


@dataclass(frozen=True, kw_only=True)
class _Kept:
    """What was asked for beside the run."""

    key: str | None
    rehearsal: bool
    without_pages: bool
    before: str | None
    shop: str | None


def _keep(run: Path, archive: Archive, how: _Kept, typed: tuple[str | None, str | None, str]) -> KeptRun:
    import uuid
    from datetime import datetime
    from tempfile import TemporaryDirectory

    from loomtest.commands.reported import heading_of
    from loomtest.evidence.archive.folder import default_bench
    from loomtest.evidence.archive.keep import Keeping, keep_run
    from loomtest.evidence.archive.sign import load_key
    from loomtest.evidence.page.page import write_report
    from loomtest.evidence.page.shop import NO_SHOP
    from loomtest.words.verdict import judge

    keeping = Keeping(
        judge=judge,
        report=write_report,
        now=datetime.now().astimezone(),
        identifier=uuid.uuid4().hex[:8],
        key=load_key(Path(how.key)) if how.key is not None else None,
        rehearsal=how.rehearsal,
        bench=default_bench(),
        before=Path(how.before) if how.before is not None else None,
        shop=heading_of(how.shop, run.parent) if how.before is not None else NO_SHOP,
        pages="when wrong" if how.without_pages else "always",
    )
    harness, instrument, stage = typed
    if harness is None:
        return keep_run(run, archive, keeping)
    with TemporaryDirectory() as aside:
        place = Path(aside) / "run"
        _typed_run(run, place, (harness, instrument, stage), how.rehearsal)
        return keep_run(place, archive, keeping)


def _typed_run(run: Path, place: Path, typed: tuple[str, str | None, str], rehearsal: bool) -> None:
    """A run folder at `place` of a readings file, or of a run that lacks a copy of its harness."""
    from datetime import datetime

    from loomtest.errors import InputError, Problem
    from loomtest.harness.load import load_harness
    from loomtest.readings.instrument import load_instrument
    from loomtest.readings.load import load_readings
    from loomtest.readings.newrun import About, run_of_file, with_harness
    from loomtest.readings.runfile import HARNESS_FOLDER

    harness, instrument, stage = typed
    expected = load_harness(harness)
    load_readings(run, expected)  # whatever is wrong is told of the person's own file, not of a copy
    if run.is_dir():
        if (run / HARNESS_FOLDER).is_dir():
            found = "--harness for a run that holds its own copy"
            raise InputError([Problem(str(run), None, "--harness", found, "the run alone")])
        with_harness(run, expected, place)
        return
    meter = load_instrument(instrument) if instrument is not None else None
    # Nobody wrote down when the readings were taken: the file's own time is the nearest to it.
    started = datetime.fromtimestamp(run.stat().st_mtime).astimezone()
    notes = f"readings typed into {run.name}"
    about = About(stage=stage, instrument=meter, notes=notes, rehearsal=rehearsal)
    run_of_file(place, run, expected, about, started)
