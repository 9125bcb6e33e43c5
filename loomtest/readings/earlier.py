"""Readings taken before a connector change, on the harness as it was then."""

from __future__ import annotations

from pathlib import Path

from loomtest.errors import InputError
from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness
from loomtest.harness.origin import former_points, harness_before
from loomtest.readings.load import load_readings
from loomtest.readings.model import Readings


def load_earlier(path: str | Path, harness: Harness) -> tuple[Harness, Readings]:
    """Readings with the harness that they were taken on: `harness`, or the one before its connector change.

    A run folder knows its harness (its digest, and the copy in it). Another file is of the old harness when
    it names points that only that one has. Raises InputError as `load_readings` does.
    """
    if not former_points(harness):
        return harness, load_readings(path, harness)
    older = _of_run(Path(path), harness)
    if older is not None:
        return older, load_readings(path, older)
    try:
        return harness, load_readings(path, harness)
    except InputError:
        older = harness_before(harness)
        if older is None:
            raise
        try:
            return older, load_readings(path, older)
        except InputError:
            pass
        raise


def _of_run(path: Path, harness: Harness) -> Harness | None:
    """The harness copied into a run folder, where that is not `harness` itself but the one it came from."""
    from loomtest.readings.runfile import HARNESS_FOLDER, harness_digest, open_run

    if not path.is_dir() or not (path / HARNESS_FOLDER).is_dir():
        return None
    if open_run(path).run.harness_digest == harness_digest(harness):
        return None
    copy = load_harness(path / HARNESS_FOLDER)
    old = {before for points in former_points(harness).values() for before in points}
    return copy if old <= copy.code_of.keys() and former_points(copy) != former_points(harness) else None
