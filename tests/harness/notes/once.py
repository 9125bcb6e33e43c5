"""The first reading alone: what tests of the grammar's constructs read with."""

from __future__ import annotations

from collections.abc import Mapping

from loomtest.harness.notes.reader import finished, first_reading
from loomtest.harness.notes.result import Notes


def read_once(text: str, answers: Mapping[str, str] | None = None) -> Notes:
    """A page as the grammar has it, before the second reading is held against it."""
    return finished(first_reading(text, answers or {}))
