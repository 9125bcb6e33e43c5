"""The chain: each kept run names the one of its harness before it. Order is that of the ledger; clocks are
only looked at to say where two of them differ."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from loomtest.errors import ArchiveError
from loomtest.evidence.archive import bag as archive_bag
from loomtest.evidence.archive.database.rows import moment_of
from loomtest.evidence.archive.folder import Archive, Entry

CLOCKS_DIFFER_S = 60.0
_DAY_S = 86400.0


class Chain:
    """The entries of a ledger, and what their bags say of themselves as far as it has been asked for.

    `whole`: every bag will be passed through `problems`, in the order of the ledger, so that no other needs
    to be read for its neighbours' sake.
    """

    def __init__(self, archive: Archive, entries: Sequence[Entry], *, whole: bool) -> None:
        self._archive = archive
        self._entries = entries
        self._whole = whole
        self._harness: dict[int, str] = {}
        self._last: dict[str, Entry] = {}
        self._lost: set[str] = set()
        self._clock = 0.0

    def problems(self, entry: Entry, info: Mapping[str, str]) -> list[str]:
        """What is wrong with the place of a bag; `info` is empty for one that cannot be read."""
        wrong = []
        if info.get("External-Identifier") != entry.name:
            wrong.append(f"was kept under another name: {info.get('External-Identifier', 'unknown')}")
        if not entry.foreign:
            wrong += self._place(entry, info)
        self._passed(entry, info.get(archive_bag.HARNESS, ""))
        return wrong

    def missing(self, entry: Entry) -> None:
        """A bag that is not there, or cannot be read."""
        self._passed(entry, "")

    def clock(self, entry: Entry, info: Mapping[str, str]) -> list[str]:
        """Says where the clock of a bench was behind that of the run that was kept before."""
        moment = moment_of(info.get(archive_bag.KEPT, ""))[0] * _DAY_S
        if entry.foreign or not moment:
            return []
        before, self._clock = self._clock, moment
        behind = before - moment
        if behind <= CLOCKS_DIFFER_S:
            return []
        return [f"kept by a clock {length_of(behind)} behind that of the run before"]

    def _place(self, entry: Entry, info: Mapping[str, str]) -> list[str]:
        wrong = []
        if info.get(archive_bag.SEQUENCE) != str(entry.sequence):
            number = info.get(archive_bag.SEQUENCE)
            wrong.append(f"stands in place {entry.sequence}, and was kept as number {number}")
        before, lost = self._before(entry, info.get(archive_bag.HARNESS, ""))
        previous = info.get(archive_bag.PREVIOUS, "")
        expected = before.digest if before is not None else archive_bag.FIRST
        # A bag before it that is missing has no harness to be known by; its own line says that it is missing.
        if previous != expected and previous not in lost:
            named = f"the bag before it is {before.folder}" if before else "there is no bag before it"
            wrong.append(f"is out of its place in the chain: {named}, and it names another")
        return wrong

    def _before(self, entry: Entry, harness: str) -> tuple[Entry | None, set[str]]:
        """The last bag of the harness before an entry, and the digests of those that cannot be read."""
        if self._whole:
            return self._last.get(harness), self._lost
        lost = set()
        for other in reversed(self._entries[: entry.sequence - 1]):
            own = self._harness_of(other)
            if not own:
                lost.add(other.digest)
            elif own == harness and not other.foreign:
                return other, lost
        return None, lost

    def _harness_of(self, entry: Entry) -> str:
        if entry.sequence not in self._harness:
            try:
                info = archive_bag.read_info(self._archive.folder / entry.folder)
            except ArchiveError:
                info = {}
            self._harness[entry.sequence] = info.get(archive_bag.HARNESS, "")
        return self._harness[entry.sequence]

    def _passed(self, entry: Entry, harness: str) -> None:
        self._harness[entry.sequence] = harness
        if not harness:
            self._lost.add(entry.digest)
        elif not entry.foreign:
            self._last[harness] = entry


def length_of(seconds: float) -> str:
    """A length of time as a person says it: `12 min`, `3 h`, `2 days`."""
    unit, length = next(
        ((unit, length) for unit, length in (("days", _DAY_S), ("h", 3600.0)) if seconds >= 2 * length),
        ("min", 60.0),
    )
    return f"{seconds / length:.0f} {unit}"
