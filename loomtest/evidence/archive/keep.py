"""Keeping a run: its folder as recorded, the verdict, the page and the pictures go into one bag."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import datetime
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from loomtest.diagnosis.verdict import Verdict
from loomtest.errors import ArchiveError, InputError, LoomtestError, Problem
from loomtest.evidence.archive import bag as archive_bag
from loomtest.evidence.archive.folder import Archive, Entry, Ledger
from loomtest.evidence.archive.handed import BEFORE_PLACE, RUN_PLACE, delivered_by, keep_heading, readings_in
from loomtest.evidence.archive.index import Index, Kept
from loomtest.evidence.archive.sign import key_name, sign_bag
from loomtest.evidence.page.customer import Seal, write_customer
from loomtest.evidence.page.opening import opening_page
from loomtest.evidence.page.shop import NO_SHOP, Shop
from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness
from loomtest.harness.outward import json_text
from loomtest.readings import runfile
from loomtest.readings.load import load_readings
from loomtest.readings.model import NO_JOB, Readings
from loomtest.readings.packed import pack
from loomtest.readings.together import check_goes_on

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

VERDICT_FILE = "verdict.json"
REPORT_PLACE = "report"
_NO_STAGE = "run"
_PACKED_ABOVE_BYTES = 20_000  # of a run kept without pages: hundreds a day are to stay small
_LOOKED_AT = 1000  # bags whose description is read to find the one before: some hundredths of a second

Judge = Callable[[Harness, Readings], Verdict]
Report = Callable[[Harness, Readings, Verdict, Path], object]


@dataclass(frozen=True, slots=True)
class Keeping:
    """How a run is judged and shown when it is kept, at what time, under which identifier.

    `identifier` makes the bag's name unique; `key` signs the bag. `rehearsal`: a run of a simulated meter
    may be kept, under that mark. `bench`: the name of the bench or of its computer. `before`: the run folder
    before the work, kept too, for the customer's page under the heading `shop`. `pages`: when page and
    pictures are drawn.
    """

    judge: Judge
    report: Report
    now: datetime
    identifier: str
    key: Ed25519PrivateKey | None = None
    rehearsal: bool = False
    bench: str = ""
    before: Path | None = None
    shop: Shop = NO_SHOP
    pages: Literal["always", "when wrong", "never"] = "always"


@dataclass(frozen=True, slots=True)
class KeptRun:
    """What was kept, where. `not_indexed`: why the run is not in the index yet, "" where it is; it goes in by
    itself with the next keep, history or verify that reaches the index."""

    entry: Entry
    folder: Path
    verdict: Verdict
    not_indexed: str = ""


def keep_run(run: Path, archive: Archive, keeping: Keeping) -> KeptRun:
    """Keep a run folder; nothing in it is changed.

    Raises InputError for a run that cannot be judged, RunFolderError for one that is still being recorded,
    ArchiveError when the archive cannot be written.
    """
    Index(archive)  # an address that cannot be is told before anything is done
    if not run.exists():
        raise InputError([Problem(str(run), None, "", "no such file or folder", "a run folder")])
    with not_being_recorded(run):
        harness = harness_of(run)
        told = runfile.read_run_file(run) if (run / runfile.RUN_FILE).is_file() else None
        started, stage = (told.started, told.stage) if told else ("", "")
        job, rehearsal = (told.job, told.rehearsal) if told else (NO_JOB, False)
        _check_rehearsal(run, rehearsal, keeping)
        if keeping.before is not None:
            check_goes_on(keeping.before, run)
            if (keeping.before / runfile.RUN_FILE).is_file():
                first = runfile.read_run_file(keeping.before)
                _check_rehearsal(keeping.before, first.rehearsal, keeping)
        name = bag_name(harness.name, stage, keeping)
        with archive.workplace(name) as aside:
            verdict = _copy_and_judge(run, aside, keeping, name)
            info = {
                "External-Identifier": name,
                "Bagging-Date": keeping.now.date().isoformat(),
                archive_bag.HARNESS: harness.name,
                archive_bag.STAGE: stage,
                archive_bag.JOB: job.number,
                archive_bag.UNIT: job.unit,
                archive_bag.CUSTOMER: job.customer,
                archive_bag.BENCH: keeping.bench,
                **({archive_bag.REHEARSAL: "true"} if rehearsal else {}),
                archive_bag.OPERATOR: told.operator if told else "",
                archive_bag.STARTED: started,
                archive_bag.KEPT: keeping.now.isoformat(timespec="seconds"),
                archive_bag.TOOL: version("loomtest"),
                archive_bag.KEY: _key_name(keeping.key),
            }
            taken = aside / RUN_PLACE / runfile.READINGS_FILE
            if not (aside / REPORT_PLACE).exists() and taken.stat().st_size > _PACKED_ABOVE_BYTES:
                info[archive_bag.READINGS] = pack(taken)
            entry = _place(archive, aside, harness.name, info, (keeping.key, _opening(harness, verdict)))
    return KeptRun(entry, archive.folder / entry.folder, verdict, _indexed(archive))


def _indexed(archive: Archive) -> str:
    """Bring the index up to the ledger; why that cannot be done now, "" when it was done."""
    try:
        Index(archive).catch_up()
    except LoomtestError as error:
        return str(error)
    return ""


def _check_rehearsal(run: Path, rehearsal: bool, keeping: Keeping) -> None:
    if rehearsal and not keeping.rehearsal:
        found = "a rehearsal: its meter was a simulated one"
        expected = "a run measured on a real loom, or --rehearsal to keep it marked as a rehearsal"
        raise InputError([Problem(str(run), None, "rehearsal", found, expected)])


def bag_name(harness: str, stage: str, keeping: Keeping) -> str:
    """`20260501-140300-orchard-tractor-before-1a2b3c4d`: by time, then in words, then unique."""
    words = [_slug(harness, 40), _slug(stage or _NO_STAGE, 20)]
    parts = [keeping.now.strftime("%Y%m%d-%H%M%S"), *words, _slug(keeping.identifier, 36)]
    return "-".join(part for part in parts if part)


@contextmanager
def not_being_recorded(run: Path) -> Iterator[None]:
    """Holds a run folder's lock, where there is one, so that nobody records into it meanwhile."""
    if not (run / runfile.LOCK_FILE).exists():
        yield  # nothing is made in a folder that may be on a read-only disk
        return
    from loomtest.readings.run import held_run

    with held_run(run):
        yield


def harness_of(run: Path) -> Harness:
    """The harness that a run folder holds a copy of. Raises InputError."""
    folder = run / runfile.HARNESS_FOLDER
    if not folder.is_dir():
        expected = (
            f"a run folder with a copy of its harness in {runfile.HARNESS_FOLDER}/, or --harness HARNESS"
        )
        raise InputError([Problem(str(run), None, "", "no harness", expected)])
    harness = load_harness(folder)
    name = runfile.read_run_file(run).harness_name if (run / runfile.RUN_FILE).is_file() else ""
    # A harness without a name of its own is called after its folder, and the copy's folder is another.
    return replace(harness, name=name or harness.name)


def _opening(harness: Harness, verdict: Verdict) -> Callable[[Path, Mapping[str, str]], str]:
    """Makes the page at the top of the bag."""
    return lambda bag, info: opening_page(bag, info, harness, verdict)


def _copy_and_judge(run: Path, aside: Path, keeping: Keeping, name: str) -> Verdict:
    try:
        _copy_run(run, aside / RUN_PLACE)
        if keeping.before is not None:
            with not_being_recorded(keeping.before):
                _copy_run(keeping.before, aside / BEFORE_PLACE)
            keep_heading(keeping.shop, aside)
        return _judge_copy(aside, keeping, name)
    except InputError:
        load_readings(run, harness_of(run))  # whatever is wrong is told of the person's own file
        raise
    except OSError as error:
        raise ArchiveError(
            f"{run} cannot be kept in {aside.parent.parent}: {error.strerror or error}"
        ) from error


def _judge_copy(aside: Path, keeping: Keeping, name: str) -> Verdict:
    """Judge and show the copy: what stands in the bag is what was judged."""
    harness = harness_of(aside / RUN_PLACE)
    readings = readings_in(aside, harness)
    verdict = keeping.judge(harness, readings)
    wanted = {"always": True, "never": False, "when wrong": verdict.verdict != "pass"}
    if wanted[keeping.pages]:
        keeping.report(harness, readings, verdict, aside / REPORT_PLACE)
        (aside / REPORT_PLACE / VERDICT_FILE).unlink(missing_ok=True)
    delivered = delivered_by(aside, harness, keeping.judge, Seal(bag=name))
    if delivered is not None:
        write_customer(delivered, aside / REPORT_PLACE)
    shown = (aside / REPORT_PLACE).exists()
    text = json_text(verdict.to_json(), 2 if shown else None) + "\n"
    (aside / VERDICT_FILE).write_text(text, "utf-8", newline="\n")
    return verdict


def _copy_run(run: Path, place: Path) -> None:
    for path in sorted(run.rglob("*")):
        name = path.relative_to(run)
        if path.is_symlink():
            raise InputError([Problem(str(path), None, "", "a link", "files of the run's own")])
        if path.is_dir() or name.as_posix() == runfile.LOCK_FILE:
            continue
        if not name.as_posix().isprintable():
            raise InputError(
                [Problem(str(path), None, "", "a name with unprintable letters", "a plain name")]
            )
        (place / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, place / name)


def _place(
    archive: Archive,
    aside: Path,
    harness: str,
    info: dict[str, str],
    closing: tuple[Ed25519PrivateKey | None, Callable[[Path, Mapping[str, str]], str]],
) -> Entry:
    """Close the bag with the digest of the one before it, and put it into the archive.

    The order of keeping is that of the ledger, whose lock is held meanwhile; no clock is asked.
    """
    archive_bag.sync_tree(aside)
    known: tuple[int, Kept | None] | None = None
    with suppress(ArchiveError):  # the bags themselves tell it too, with more patience
        known = Index(archive).last_of(harness)
    with archive.locked():
        ledger = archive.ledger()
        last = _last_of(archive, ledger, harness, known)
        info[archive_bag.PREVIOUS] = last.digest if last else archive_bag.FIRST
        info[archive_bag.SEQUENCE] = str(len(ledger) + 1)
        key, opening = closing
        digest = archive_bag.close_bag(aside, info, opening)
        if key is not None:
            sign_bag(aside, key)
        return archive.place(aside, digest)


def _last_of(
    archive: Archive, ledger: Ledger, harness: str, known: tuple[int, Kept | None] | None
) -> Entry | None:
    """The newest run of a harness that was kept in this archive (not one from elsewhere): by the newest bags,
    then by what the index knew a moment ago, if that is what the ledger says."""
    for looked, entry in enumerate(ledger.newest_first()):
        if looked >= _LOOKED_AT and known is not None and entry.sequence <= known[0]:
            if known[1] is None:
                return None
            found = ledger.entry(known[1].sequence)
            if (found.folder, found.digest) == (known[1].folder, known[1].digest):
                return found
            known = None
        try:
            info = archive_bag.read_info(archive.folder / entry.folder)
        except ArchiveError:
            continue
        if not entry.foreign and info.get(archive_bag.HARNESS) == harness:
            return entry
    return None


def _key_name(key: Ed25519PrivateKey | None) -> str:
    return key_name(key.public_key().public_bytes_raw()) if key else ""


def _slug(text: str, longest: int) -> str:
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:longest].strip("-")
