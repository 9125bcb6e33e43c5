"""Everything that can go wrong, as one tree.

    LoomtestError
    ├── InputError        a file or an argument cannot be used: carries every problem found in it
    │   └── ColumnsUnknown    a wire list whose columns do not say where a wire begins and ends
    ├── RunFolderError    a run folder is taken by another program, full, torn or gone
    ├── InstrumentError   a meter or scanner does not answer, or answers nonsense
    └── ArchiveError      an evidence archive cannot be read or written
        ├── IndexAwayError     the index's database cannot be reached, or refuses; the runs are not touched
        └── IndexDamagedError  the index cannot be used as it is; it is made anew from the runs

The command line turns any of them into one message on standard error and exit status 2.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong, or odd, in what was read.

    `line` and `column` count from 1 as an editor does (the header row is line 1); `column` is the name
    of the CSV column or TOML key, or "" where there is none. `expected` says what would be right.
    """

    file: str
    line: int | None
    column: str
    found: str
    expected: str
    severity: str = "error"  # or "warning"

    def __str__(self) -> str:
        place = self.file + (f", line {self.line}" if self.line is not None else "")
        place += f", {self.column}" if self.column else ""
        return f"{place}: found {self.found}; expected {self.expected}"


class LoomtestError(Exception):
    """Root of the tree; its text is a sentence for a person."""


class InputError(LoomtestError):
    """Input that cannot be used; `problems` holds every mistake found, in file order."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class ColumnsUnknown(InputError):
    """A wire list in somebody's own words: which columns hold the ends, the person can say (`source`)."""

    def __init__(self, problems: Sequence[Problem], source: Path) -> None:
        super().__init__(problems)
        self.source = source


class RunFolderError(LoomtestError):
    """A run folder that cannot be recorded into, or whose record is damaged."""


class InstrumentError(LoomtestError):
    """An instrument that does not answer, or answers what cannot be used."""


class ArchiveError(LoomtestError):
    """An evidence archive that cannot be read or written."""


class IndexAwayError(ArchiveError):
    """A database that cannot be reached, or refuses; `read_only` where it only refuses to be written."""

    def __init__(self, text: str, *, read_only: bool = False) -> None:
        self.read_only = read_only
        super().__init__(text)


class IndexDamagedError(ArchiveError):
    """An index that cannot be used as it is: derived from the runs, it is made anew."""


def nearest(name: str, known: Sequence[str], count: int = 3) -> list[str]:
    """The known names most like `name`, best first, ignoring case; empty when none is close."""
    by_folded: dict[str, str] = {}
    for candidate in known:
        by_folded.setdefault(candidate.casefold(), candidate)
    close = get_close_matches(name.casefold(), list(by_folded), n=count, cutoff=0.5)
    return [by_folded[folded] for folded in close]
