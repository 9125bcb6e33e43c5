"""Verifying an archive: every byte of every bag, the chain from bag to bag, and the index against the bags;
with `Redraw` the verdicts, pages and pictures again."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime

from loomtest.errors import ArchiveError, IndexAwayError, IndexDamagedError
from loomtest.evidence.archive.bag_check import BagAnswer, BagTask, check_bag
from loomtest.evidence.archive.chain import Chain
from loomtest.evidence.archive.crew import worked
from loomtest.evidence.archive.database.upkeep import differing, good_states, mark_good
from loomtest.evidence.archive.folder import INDEX, LEDGER, Archive, Entry
from loomtest.evidence.archive.index import ANYTHING, Index
from loomtest.evidence.archive.redraw import Redraw, Redrawn

_AT_ONCE = 200  # bags between two looks into the index
_CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Checked:
    """One line of the verification: a bag (or something else in the archive), and what is wrong with it.

    `said` is what is worth knowing and not wrong: who signed it, the verdict, a changed tool version;
    `unchecked` what should have been compared and could not be.
    """

    name: str
    wrong: tuple[str, ...]
    said: tuple[str, ...] = ()
    unchecked: tuple[str, ...] = ()

    @property
    def good(self) -> bool:
        """True where nothing is wrong and nothing that was asked for is unchecked."""
        return not self.wrong and not self.unchecked


@dataclass(frozen=True, slots=True)
class Scope:
    """Which bags are read: those kept from a date on (`since`, YYYY-MM-DD, by their names, which the ledger
    holds), of these so many by chance (`sample`), or those whose files are no longer as they were when they
    were last found good (`changed`). Ledger, index, and what does not belong are always looked at."""

    since: str = ""
    sample: int | None = None
    changed: bool = False


EVERYTHING = Scope()


@dataclass(frozen=True, slots=True)
class _Standing:
    """Ledger, index, strangers and leftovers of one moment. `indexed`: folder and digest by the place in the
    ledger; `away`: why the index could not be asked."""

    entries: tuple[Entry, ...]
    indexed: Mapping[int, tuple[str, str]]
    strangers: list[str]
    leftovers: list[str]
    away: str


def verify_archive(
    archive: Archive, redraw: Redraw | None = None, keys: tuple[bytes, ...] = (), scope: Scope = EVERYTHING
) -> Iterator[Checked]:
    """Check the archive, bag by bag in the order of keeping, then the index and what does not belong.

    `redraw` None leaves verdicts, pages and pictures alone. With `keys`, a bag signed by none of them, or by
    nobody, is wrong. A scope ends with a line of its own: how many bags were read.
    Raises ArchiveError when there is no archive or its ledger cannot be read.
    """
    index = Index(archive)
    if not archive.folder.is_dir():
        raise ArchiveError(f"{archive.folder} is no archive: nothing has been kept there")
    if not archive.exists() and not archive.holds_bags():
        raise ArchiveError(f"{archive.folder} is no archive: it has no {LEDGER} and no bags")
    standing = _standing(archive, index)
    wrong = False
    if not archive.exists():
        wrong = True
        yield Checked(LEDGER, ("is missing: it names every bag that was kept",))
    bags = _Bags(archive, index, standing, scope)
    for one in bags.checks(redraw, keys):
        wrong = wrong or bool(one.wrong)
        yield one
    if bags.differing or bags.damaged:
        with suppress(ArchiveError):  # on a read-only disk it stays as it is, and that is said
            index.make_anew()
    for one in _besides(standing, bags.differing, str(index.database.address)):
        wrong = wrong or bool(one.wrong)
        yield one
    if scope != EVERYTHING:
        yield bags.summary(wrong)
    if not wrong and not standing.away:  # an index is made of what is in order
        with suppress(ArchiveError):  # on a read-only disk it stays as it is
            index.catch_up()


def _standing(archive: Archive, index: Index) -> _Standing:
    try:
        with archive.locked():
            return _standing_now(archive, index)
    except ArchiveError:
        if archive.exists():
            return _standing_now(archive, index)  # an archive on a read-only disk can still be verified
        raise


def _standing_now(archive: Archive, index: Index) -> _Standing:
    entries = archive.entries()
    indexed: dict[int, tuple[str, str]] = {}
    away = ""
    try:
        columns = index.columns(ANYTHING, ("sequence", "folder", "digest"))
        indexed = {number: (folder, digest) for number, folder, digest in zip(*columns.values(), strict=True)}
    except IndexAwayError as error:
        away = str(error)
    except ArchiveError:
        pass  # derived: its loss is no fault of the evidence
    return _Standing(entries, indexed, archive.strangers(entries), archive.leftovers(), away)


class _Bags:
    """The bags of a verification. `differing`: those of which the index says something else."""

    def __init__(self, archive: Archive, index: Index, standing: _Standing, scope: Scope) -> None:
        self.archive = archive
        self.database = index.database
        self.standing = standing
        self.scope = scope
        self.chosen = _chosen(standing.entries, scope)
        self.states: Mapping[int, tuple[str, str]] = {}
        if scope.changed and not standing.away:
            with suppress(ArchiveError):
                self.states = good_states(self.database)
        self.unread: list[Entry] = []
        self.damaged = not standing.away and index.database.damaged()
        self.differing: list[str] = ["all of it"] if self.damaged and standing.indexed else []

    def checks(self, redraw: Redraw | None, keys: tuple[bytes, ...]) -> Iterator[Checked]:
        """Each chosen bag, in the order of keeping."""
        none = ("", "")
        tasks = [
            BagTask(self.archive.folder / e.folder, e, keys, redraw, self.states.get(e.sequence, none)[0])
            for e in self.chosen
        ]
        chain = Chain(self.archive, self.standing.entries, whole=self.scope == EVERYTHING)
        sound: list[BagAnswer] = []  # a damaged bag is told by itself, and no measure for the index
        # Drawing a page takes seconds, reading a bag milliseconds.
        for answer in worked(check_bag, tasks, self.archive.processes, slow=redraw is not None):
            if answer.unread:
                self.unread.append(answer.entry)
                continue
            checked = self._held_against(answer, chain)
            sound += [] if checked.wrong else [answer]
            if len(sound) == _AT_ONCE:
                self._compare(sound)
                sound = []
            yield checked
        self._compare(sound)

    def _held_against(self, answer: BagAnswer, chain: Chain) -> Checked:
        entry = answer.entry
        wrong = list(answer.wrong)
        if not answer.info and wrong == ["is missing"]:
            chain.missing(entry)
            return Checked(entry.folder, answer.wrong)
        known = self.standing.indexed.get(entry.sequence)
        if known is not None and known != (entry.folder, entry.digest):
            wrong.append(f"{LEDGER} was changed: the index knows {known[0]} in this place")
        wrong += chain.problems(entry, answer.info)
        said = (*answer.said, *chain.clock(entry, answer.info))
        again = answer.again or Redrawn()
        return Checked(entry.folder, (*wrong, *again.wrong), (*said, *again.said), again.unchecked)

    def _compare(self, sound: Sequence[BagAnswer]) -> None:
        """Hold the index against bags that are as they were kept, and note that they were."""
        if self.standing.away or self.damaged:
            return
        try:
            rows = [answer.rows for answer in sound if answer.rows is not None]
            self.differing += differing(self.database, rows)
        except IndexDamagedError:
            self.differing += ["all of it"] if self.standing.indexed else []
            return
        except IndexAwayError:
            return
        states = {answer.entry.sequence: answer.state for answer in sound if answer.state}
        with suppress(ArchiveError):  # only a help for the next time
            mark_good(self.database, states, datetime.now(UTC).date().isoformat())

    def summary(self, wrong: bool) -> Checked:
        """How many bags were read, and what that is worth."""
        read = len(self.chosen) - len(self.unread)
        said = []
        if self.unread:
            oldest = min(self.states[entry.sequence][1] for entry in self.unread)
            said.append(
                f"{len(self.unread)} have the names, sizes and times that they had when they were last read "
                f"and good, on {oldest} or later"
            )
        if self.scope.sample is not None and read and not wrong:
            most = 1.0 - (1.0 - _CONFIDENCE) ** (1.0 / read)
            said.append(f"with 95 % confidence fewer than {max(1, round(1000 * most))} in 1000 are wrong")
        return Checked(f"{read} of {len(self.standing.entries)} runs were read", (), tuple(said))


def _chosen(entries: tuple[Entry, ...], scope: Scope) -> tuple[Entry, ...]:
    begin = scope.since.replace("-", "")
    chosen = [entry for entry in entries if entry.name[: len(begin)] >= begin] if begin else list(entries)
    if scope.sample is not None and scope.sample < len(chosen):
        # Nobody who changed a bag can know which are looked at.
        chosen = sorted(random.SystemRandom().sample(chosen, scope.sample), key=lambda e: e.sequence)
    return tuple(chosen)


def _besides(standing: _Standing, differing: list[str], address: str) -> Iterator[Checked]:
    """What is to be said of the index and of what does not belong."""
    if differing:
        named = ", ".join(differing[:5]) + (f" and {len(differing) - 5} more" if differing[5:] else "")
        yield Checked(INDEX, (f"does not follow from the bags: {named}; it was made anew",))
    if standing.away:
        yield Checked(address, (), (), (standing.away,))
    for name in standing.strangers:
        yield Checked(name, (f"was not kept by this program: {LEDGER} does not name it",))
    missing = len(standing.indexed) - len(standing.entries)
    if missing > 0:
        names = ", ".join(folder for folder, _ in list(standing.indexed.values())[-missing:][:5])
        yield Checked(LEDGER, (f"has lost its last lines: the index knows {names} as well",))
    for name in standing.leftovers:
        yield Checked(f".new/{name}", (), ("left by a keep that was stopped; nothing of it was kept",))
