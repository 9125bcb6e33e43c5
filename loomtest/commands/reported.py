"""What `loomtest report` writes: a report, the page for a customer, or the pages of a kept run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from loomtest.commands.terminal.progress import Progress
    from loomtest.errors import Problem
    from loomtest.evidence.page.customer import Seal
    from loomtest.evidence.page.shop import Shop


@dataclass(frozen=True, kw_only=True)
class Written:
    """Files, what the answer is in a sentence, the verdict as an object, and what is odd in the input."""

    paths: Sequence[Path]
    said: str
    verdict: dict[str, Any]
    warnings: Sequence[Problem]


def report_of_readings(
    harness: str, readings: Sequence[str], instrument: str | None, out: Path, progress: Progress
) -> Written:
    """The report of readings that are named on the command line."""
    from loomtest.commands.judged import judged
    from loomtest.evidence.page.page import write_report
    from loomtest.words.plain import headline

    done = judged(harness, readings, instrument, progress)
    progress.say("drawing the report")
    paths = write_report(done.harness, done.readings, done.verdict, out, done.instrument)
    said = headline(done.verdict, done.harness)
    return Written(paths=paths, said=said, verdict=done.verdict.to_json(), warnings=done.readings.warnings)


def page_of_two(
    harness: str,
    runs: tuple[str, str],
    instrument: str | None,
    given: tuple[Path, str | None, str | None],
    progress: Progress,
) -> Written:
    """The page for a customer; `given`: the folder to write into, the shop's heading, the archive."""
    from loomtest.commands.two_runs import two_runs
    from loomtest.evidence.page.customer import Delivered, write_customer
    from loomtest.words.plain import headline

    out, shop, archive = given
    heading = heading_of(shop, Path(harness))
    both = two_runs(harness, runs, instrument, progress, together=True)
    progress.say("drawing the page")
    made = Delivered(
        harness=both.harness,
        before=both.before,
        after=both.after,
        shop=heading,
        seal=_seal(Path(runs[1]), archive),
    )
    path = write_customer(made, out)
    verdict = both.after.verdict
    return Written(
        paths=[path],
        said=headline(verdict, both.harness),
        verdict=verdict.to_json(),
        warnings=[*both.warnings, *heading.warnings()],
    )


def heading_of(shop: str | None, loom: Path) -> Shop:
    """The shop's heading that was named, else the one that stands beside the loom."""
    from loomtest.evidence.page.shop import find_shop, load_shop

    return load_shop(Path(shop)) if shop is not None else find_shop(loom)


def _seal(run: Path, archive: str | None) -> Seal | None:
    """The kept run with the same readings; None where it was not kept. Raises ArchiveError."""
    from loomtest.evidence.archive.bag import digest_of
    from loomtest.evidence.archive.folder import Archive, default_archive
    from loomtest.evidence.archive.names import bag_of_readings
    from loomtest.evidence.page.customer import Seal
    from loomtest.readings.runfile import READINGS_FILE

    place = Archive(archive) if archive is not None else Archive(default_archive())
    file = run / READINGS_FILE if run.is_dir() else run
    if not file.is_file() or not place.exists():
        return None
    entry = bag_of_readings(place, digest_of(file))
    return Seal(bag=entry.name, digest=entry.digest) if entry is not None else None


def pages_of_bag(
    bag: str, newest: bool, archive: str | None, given: tuple[Path, str | None], progress: Progress
) -> Written:
    """The pages of a kept run, drawn now; `given`: the folder to write into, the shop's heading."""
    from loomtest.evidence.archive.folder import Archive, default_archive
    from loomtest.evidence.archive.handed import delivered_by
    from loomtest.evidence.archive.names import bag_meant
    from loomtest.evidence.archive.redraw import judged
    from loomtest.evidence.page.customer import Seal, write_customer
    from loomtest.evidence.page.page import write_report
    from loomtest.evidence.page.shop import load_shop
    from loomtest.words.plain import headline
    from loomtest.words.verdict import judge

    out, shop = given
    place = Archive(archive) if archive is not None else Archive(default_archive())
    entry = bag_meant(place, bag, newest)
    folder = place.folder / entry.folder
    harness, readings, verdict = judged(folder, judge)
    progress.say("drawing the pages")
    paths = write_report(harness, readings, verdict, out)
    heading = load_shop(Path(shop)) if shop is not None else None
    seal = Seal(bag=entry.name, digest=entry.digest)
    delivered = delivered_by(folder / "data", harness, judge, seal, heading)
    if delivered is not None:
        paths.append(write_customer(delivered, out))
    said = headline(verdict, harness)
    return Written(paths=paths, said=said, verdict=verdict.to_json(), warnings=readings.warnings)
