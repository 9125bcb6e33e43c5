"""Kept runs as a person means them: by a part of the name, and whether a run was kept before."""

from __future__ import annotations

from collections.abc import Sequence

from loomtest.errors import ArchiveError
from loomtest.evidence.archive.bag import JOB, READINGS, STAGE, UNIT, read_info
from loomtest.evidence.archive.folder import Archive, Entry
from loomtest.evidence.archive.index import Index, Wanted

MOST_NAMED = 8
_SAID = (("job", JOB), ("unit", UNIT), ("stage", STAGE))
_READINGS = "  data/run/readings.csv"


def bag_meant(archive: Archive, text: str, newest: bool = False) -> Entry:
    """The kept run that the words mean: each is a part of its name, or its job, unit or stage.

    Of several, `newest` takes the one kept last. Raises ArchiveError, naming those that it could be.
    """
    entries = archive.entries()
    exact = [entry for entry in entries if text in (entry.name, entry.folder)]
    if exact:
        return exact[-1]
    found = [entry for entry in entries if text in entry.folder]
    words = text.split()
    if words and (not found or len(words) > 1 or len(found) > 1):
        found = [entry for entry in entries if all(_answers(archive, entry, word) for word in words)] or found
    if found and (len(found) == 1 or newest):
        return found[-1]
    if not found:
        known = ", ".join(entry.folder for entry in entries[-MOST_NAMED:]) or "nothing"
        raise ArchiveError(f"{archive.folder} holds no run that answers to {text}; expected one of {known}")
    listed = [f"  {_told(archive, entry)}" for entry in found[-MOST_NAMED:]]
    more = [f"  and {len(found) - MOST_NAMED} earlier ones"] if len(found) > MOST_NAMED else []
    raise ArchiveError(
        f"{archive.folder} holds {len(found)} runs that answer to {text}; expected one of them, by more of "
        "its name, its job, unit or stage, or --newest for the last one:\n" + "\n".join([*listed, *more])
    )


def _answers(archive: Archive, entry: Entry, word: str) -> bool:
    """Whether a word is a part of a run's name, or the whole of its job, unit or stage."""
    if word in entry.folder:
        return True
    info = _info(archive, entry)
    return word.casefold() in (info.get(label, "").casefold() for label in (JOB, UNIT, STAGE))


def _told(archive: Archive, entry: Entry) -> str:
    info = _info(archive, entry)
    parts = [f"{word} {info[label]}" for word, label in _SAID if info.get(label)]
    return entry.folder + (f" ({', '.join(parts)})" if parts else "")


def _info(archive: Archive, entry: Entry) -> dict[str, str]:
    try:
        return read_info(archive.folder / entry.folder)
    except ArchiveError:  # verify tells of it
        return {}


def bag_of_readings(archive: Archive, digest: str) -> Entry | None:
    """The newest kept run whose readings file has this SHA-256; None where none was kept."""
    return next(iter(reversed(_with_readings(archive, digest))), None)


def kept_before(archive: Archive, entry: Entry) -> Entry | None:
    """The earliest bag before `entry` with the very same readings; None where there is none."""
    own = _readings_of(archive, entry)
    found = _with_readings(archive, own) if own else []
    return next((other for other in found if other.sequence < entry.sequence), None)


def _with_readings(archive: Archive, digest: str) -> list[Entry]:
    """The kept runs with these readings, in the order of keeping: the index says which to look at, and where
    it cannot be asked, all are."""
    entries: Sequence[Entry] = archive.entries()
    try:
        index = Index(archive)
        index.catch_up()
        numbers = index.columns(Wanted(readings=digest), ("sequence",))["sequence"]
        entries = [entries[number - 1] for number in numbers]
    except ArchiveError:
        pass
    return [entry for entry in entries if _readings_of(archive, entry) == digest]


def _readings_of(archive: Archive, entry: Entry) -> str:
    """The SHA-256 of a kept run's readings file as recorded; "" where it cannot be told."""
    try:
        text = (archive.folder / entry.folder / "manifest-sha256.txt").read_text("utf-8")
    except (OSError, UnicodeDecodeError):  # verify tells of it
        return ""
    line = next((line for line in text.splitlines() if line.endswith(_READINGS)), "")
    return line.partition(" ")[0] or _info(archive, entry).get(READINGS, "")
