"""Verifying an archive: every byte of every bag, the chain from bag to bag, and the index against the bags;
with `Redraw` the verdicts, pages and pictures again."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass

from loomtest.errors import ArchiveError
from loomtest.evidence.archive import bag as archive_bag
from loomtest.evidence.archive.folder import INDEX, LEDGER, Archive, Entry
from loomtest.evidence.archive.index import Index, Kept
from loomtest.evidence.archive.redraw import Redraw, Redrawn, redrawn
from loomtest.evidence.archive.sign import SIGNATURE_FILE, key_name, signed_by


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
class _Chain:
    """What the entries before a bag say about it."""

    earlier: tuple[Entry, ...]
    harness_of: Mapping[int, str]


def verify_archive(
    archive: Archive, redraw: Redraw | None = None, keys: tuple[bytes, ...] = ()
) -> Iterator[Checked]:
    """Check the whole archive, bag by bag in the order of keeping, then the index and what does not belong.

    `redraw` None leaves verdicts, pages and pictures alone. With `keys`, a bag signed by none of them, or by
    nobody, is wrong.
    Raises ArchiveError when there is no archive or its ledger cannot be read.
    """
    index = Index(archive)
    if not archive.folder.is_dir():
        raise ArchiveError(f"{archive.folder} is no archive: nothing has been kept there")
    if not archive.exists() and not archive.holds_bags():
        raise ArchiveError(f"{archive.folder} is no archive: it has no {LEDGER} and no bags")
    entries, indexed, strangers, leftovers = _standing(archive)
    if not archive.exists():
        yield Checked(LEDGER, ("is missing: it names every bag that was kept",))
    harness_of: dict[int, str] = {}
    sound: list[Entry] = []  # a damaged bag is told by itself, and no measure for the index
    for entry in entries:
        info = _info(archive, entry)
        harness_of[entry.sequence] = info.get(archive_bag.HARNESS, "")
        known = indexed.get(entry.sequence)
        chain = _Chain(entries[: entry.sequence - 1], harness_of)
        checked = _check(archive, entry, (info, chain, known), redraw, keys)
        sound += [] if checked.wrong else [entry]
        yield checked
    differing = index.differing(sound)
    if differing:
        named = ", ".join(differing[:5]) + (f" and {len(differing) - 5} more" if differing[5:] else "")
        yield Checked(INDEX, (f"does not follow from the bags: {named}; it was made anew",))
    for name in strangers:
        yield Checked(name, (f"was not kept by this program: {LEDGER} does not name it",))
    missing = len(indexed) - len(entries)
    if missing > 0:
        names = ", ".join(kept.folder for kept in list(indexed.values())[len(entries) :][:5])
        yield Checked(LEDGER, (f"has lost its last lines: the index knows {names} as well",))
    for name in leftovers:
        yield Checked(f".new/{name}", (), ("left by a keep that was stopped; nothing of it was kept",))


def _standing(archive: Archive) -> tuple[tuple[Entry, ...], dict[int, Kept], list[str], list[str]]:
    """The ledger, the index as it is, strangers and leftovers, all of one moment."""
    try:
        with archive.locked():
            return _standing_now(archive)
    except ArchiveError:
        if archive.exists():
            return _standing_now(archive)  # an archive on a read-only disk can still be verified
        raise


def _standing_now(archive: Archive) -> tuple[tuple[Entry, ...], dict[int, Kept], list[str], list[str]]:
    entries = archive.entries()
    indexed: dict[int, Kept] = {}
    with suppress(ArchiveError):  # derived: its loss is no fault of the evidence
        indexed = {kept.sequence: kept for kept in Index(archive).kept()}
    return entries, indexed, archive.strangers(entries), archive.leftovers()


def _info(archive: Archive, entry: Entry) -> dict[str, str]:
    try:
        return archive_bag.read_info(archive.folder / entry.folder)
    except ArchiveError:
        return {}


def _check(
    archive: Archive,
    entry: Entry,
    known: tuple[Mapping[str, str], _Chain, Kept | None],
    redraw: Redraw | None,
    keys: tuple[bytes, ...],
) -> Checked:
    info, chain, indexed = known
    bag = archive.folder / entry.folder
    if not bag.is_dir():
        return Checked(entry.folder, ("is missing",))
    wrong = archive_bag.bag_problems(bag)
    manifest = bag / archive_bag.TAG_MANIFEST
    if manifest.is_file() and archive_bag.digest_of(manifest) != entry.digest:
        wrong.append(f"is not the bag that was kept: its tag manifest is not the one that {LEDGER} names")
    if indexed is not None and (indexed.folder, indexed.digest) != (entry.folder, entry.digest):
        wrong.append(f"{LEDGER} was changed: the index knows {indexed.folder} in this place")
    wrong += _chain_problems(entry, info, chain)
    signature_wrong, said = _signature(archive, entry, info, keys)
    wrong += signature_wrong
    if entry.unproven:
        wrong.append("was taken in although it does not follow from its readings")
    again = redrawn(bag, redraw) if redraw is not None and not wrong else Redrawn()
    return Checked(entry.folder, (*wrong, *again.wrong), (*said, *again.said), again.unchecked)


def _chain_problems(entry: Entry, info: Mapping[str, str], chain: _Chain) -> list[str]:
    wrong = []
    if info.get("External-Identifier") != entry.name:
        wrong.append(f"was kept under another name: {info.get('External-Identifier', 'unknown')}")
    if entry.foreign:
        return wrong
    if info.get(archive_bag.SEQUENCE) != str(entry.sequence):
        wrong.append(
            f"stands in place {entry.sequence}, and was kept as number {info.get(archive_bag.SEQUENCE)}"
        )
    harness = info.get(archive_bag.HARNESS, "")
    previous = info.get(archive_bag.PREVIOUS, "")
    before = [e for e in chain.earlier if not e.foreign and chain.harness_of[e.sequence] == harness]
    expected = before[-1].digest if before else archive_bag.FIRST
    # A bag before it that is missing has no harness to be known by; its own line says that it is missing.
    lost = {e.digest for e in chain.earlier if not chain.harness_of[e.sequence]}
    if previous != expected and previous not in lost:
        named = f"the bag before it is {before[-1].folder}" if before else "there is no bag before it"
        wrong.append(f"is out of its place in the chain: {named}, and it names another")
    return wrong


def _signature(
    archive: Archive, entry: Entry, info: Mapping[str, str], keys: tuple[bytes, ...]
) -> tuple[list[str], list[str]]:
    """(what is wrong, what is worth saying) about the bag's signature."""
    bag, promised = archive.folder / entry.folder, info.get(archive_bag.KEY, "")
    if not promised and not (bag / SIGNATURE_FILE).exists():
        return (["is not signed"] if keys else []), []
    try:
        public = signed_by(bag)
    except ArchiveError as error:
        return [str(error)], []
    if public is None:
        return [f"{SIGNATURE_FILE} is missing: the bag was signed by {promised}"], []
    if key_name(public) != promised:
        return [f"is signed by {key_name(public)}; it was closed for {promised or 'no key'}"], []
    if keys and public not in keys:
        return [f"is signed by {promised}, which is none of the keys given"], []
    return [], [f"signed by {promised}"]
