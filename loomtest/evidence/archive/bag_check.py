"""One bag checked for itself: every byte, its signature, what follows from its readings. What it says of the
bags before it is held against the chain by whoever asked (`chain.py`)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from loomtest.errors import ArchiveError
from loomtest.evidence.archive import bag as archive_bag
from loomtest.evidence.archive.database.rows import READINGS_PATH, BagRows, rows_of_bag
from loomtest.evidence.archive.folder import LEDGER, Entry
from loomtest.evidence.archive.sign import SIGNATURE_FILE, key_name, signed_by

if TYPE_CHECKING:  # what judges and draws is not loaded by processes that only read
    from loomtest.evidence.archive.redraw import Redraw, Redrawn


@dataclass(frozen=True, slots=True)
class BagTask:
    """A bag to check. With `keys`, it must be signed by one of them. `state`: of its files when they were
    last found good; where they still have it, they are not read."""

    bag: Path
    entry: Entry
    keys: tuple[bytes, ...] = ()
    redraw: Redraw | None = None
    state: str = ""


@dataclass(frozen=True, slots=True)
class BagAnswer:
    """What was found. `rows`: what of the bag belongs into an index, None where it was not read or is not
    sound; `state`: of its files before they were read."""

    entry: Entry
    wrong: tuple[str, ...] = ()
    said: tuple[str, ...] = ()
    unread: bool = False
    info: Mapping[str, str] = field(default_factory=dict)
    again: Redrawn | None = None
    rows: BagRows | None = None
    state: str = ""


def check_bag(task: BagTask) -> BagAnswer:
    """Check one bag."""
    bag, entry = task.bag, task.entry
    if not bag.is_dir():
        return BagAnswer(entry, ("is missing",))
    state = _state(bag)
    if task.state and state == task.state:
        return BagAnswer(entry, unread=True)
    read = archive_bag.read_whole(bag)
    wrong = list(read.problems)
    manifest = read.sha256.get(archive_bag.TAG_MANIFEST)
    if manifest is not None and manifest != entry.digest:
        wrong.append(f"is not the bag that was kept: its tag manifest is not the one that {LEDGER} names")
    wrong_signature, said = _signature(bag, read.info, task.keys)
    wrong += wrong_signature
    if entry.unproven:
        wrong.append("was taken in although it does not follow from its readings")
    if wrong:
        return BagAnswer(entry, tuple(wrong), tuple(said), info=read.info)
    again = None
    if task.redraw is not None:
        from loomtest.evidence.archive.redraw import redrawn

        again = redrawn(bag, task.redraw)
    rows = rows_of_bag(entry, read.info, read.verdict, read.sha256.get(READINGS_PATH, ""))
    return BagAnswer(entry, (), tuple(said), info=read.info, again=again, rows=rows, state=state)


def _state(bag: Path) -> str:
    try:
        return archive_bag.state_of_files(bag)
    except OSError:
        return ""


def _signature(bag: Path, info: Mapping[str, str], keys: tuple[bytes, ...]) -> tuple[list[str], list[str]]:
    """(what is wrong, what is worth saying) about the bag's signature."""
    promised = info.get(archive_bag.KEY, "")
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
