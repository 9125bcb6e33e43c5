"""What verbs that ask an archive have in common: which loom, and from which day to which."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from loomtest.errors import InputError, Problem


def harness_name(given: str) -> str:
    """The name of the harness that lies at this path, else the name itself. Raises InputError."""
    from loomtest.harness.load import is_there, load_harness

    if not is_there(Path(given)):
        return given

    return load_harness(given).name


def day_of(given: str | None, option: str) -> str | None:
    """A day as YYYY-MM-DD. Raises InputError for anything else."""
    if given is None:
        return None
    try:
        if re.fullmatch(r"\d{4}-\d{2}-\d{2}", given) is None:
            raise ValueError
        return date.fromisoformat(given).isoformat()
    except ValueError:
        raise InputError([Problem(option, None, "", f'"{given}"', "a day written as 2026-05-01")]) from None


def one_of_these(given: str | None, known: Sequence[str], option: str) -> str | None:
    """One of the known words. Raises InputError for anything else."""
    if given is None or given in known:
        return given
    raise InputError([Problem(option, None, "", f'"{given}"', f"one of {', '.join(known)}")])
