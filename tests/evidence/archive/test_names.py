"""Kept runs answer to parts of their name, to job, unit and stage; of several, all are listed."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomtest.errors import ArchiveError
from loomtest.evidence.archive.bag import digest_of
from loomtest.evidence.archive.folder import Archive
from loomtest.evidence.archive.names import bag_meant, bag_of_readings
from loomtest.readings.model import Job
from loomtest.readings.run import About, Reading, create_run
from tests.evidence.archive import kept


@pytest.fixture
def archive(tmp_path: Path) -> Archive:
    """Two finals of two units under one job, and a run before."""
    harness = kept.loom(tmp_path / "loom")
    archive = Archive(tmp_path / "archive")
    runs = (("before", "77-A"), ("final", "77-A"), ("final", "77-B"))
    for number, (stage, unit) in enumerate(runs):
        about = About(stage, job=Job("1042", unit, "the harbour"))
        with create_run(tmp_path / f"run{number}", harness, about, clock=lambda: kept.BEGIN) as writer:
            writer.record(Reading("X1:1", "X2:1", 0.1 + number))
        kept.keep(archive, tmp_path / f"run{number}", f"id{number}", number)
    return archive


@pytest.mark.parametrize(
    ("text", "newest", "sequence"),
    [
        ("before", False, 1),
        ("77-a before", False, 1),
        ("77-A final", False, 2),
        ("1042 77-B", False, 3),
        ("77-b", False, 3),
        ("final", True, 3),
        ("1042", True, 3),
        ("id1", False, 2),
    ],
)
def test_a_kept_run_answers_to_job_unit_and_stage(
    archive: Archive, text: str, newest: bool, sequence: int
) -> None:
    assert bag_meant(archive, text, newest).sequence == sequence


def test_of_several_all_are_listed_with_what_tells_them_apart(archive: Archive) -> None:
    with pytest.raises(ArchiveError) as told:
        bag_meant(archive, "final")
    text = str(told.value)
    assert "2 runs that answer to final" in text and "--newest" in text
    assert "unit 77-A" in text and "unit 77-B" in text and "before" not in text
    with pytest.raises(ArchiveError, match="no run that answers to spring"):
        bag_meant(archive, "spring")
    with pytest.raises(ArchiveError, match="no run that answers to 77-A spring"):
        bag_meant(archive, "77-A spring", newest=True)


def test_a_run_is_found_by_its_readings(archive: Archive, tmp_path: Path) -> None:
    found = bag_of_readings(archive, digest_of(tmp_path / "run1" / "readings.csv"))
    assert found is not None and found.sequence == 2
    assert bag_of_readings(archive, "0" * 64) is None
