"""Kept runs as a person means them: by a part of the name, and whether a run was kept before."""

from __future__ import annotations

from loomtest.errors import ArchiveError
from loomtest.evidence.archive.folder import Archive, Entry

MOST_NAMED = 8
_READINGS = "  data/run/readings.csv"


def bag_meant(archive: Archive, text: str) -> Entry:
    """The bag of that name, or the only one whose name holds the text. Raises ArchiveError otherwise."""
    entries = archive.entries()
    exact = [entry for entry in entries if text in (entry.name, entry.folder)]
    found = exact or [entry for entry in entries if text in entry.folder]
    if len(found) == 1 or exact:
        return found[0]
    known = found or entries
    names = ", ".join(entry.folder for entry in known[-MOST_NAMED:]) or "nothing"
    said = f"{len(found)} bags whose name holds {text}" if found else f"no bag named {text}"
    raise ArchiveError(f"{archive.folder} holds {said}; expected one of {names}")


def kept_before(archive: Archive, entry: Entry) -> Entry | None:
    """The earliest bag before `entry` with the very same readings; None where there is none."""
    own = _readings_line(archive, entry)
    if not own:
        return None
    return next(
        (
            other
            for other in archive.entries()
            if other.sequence < entry.sequence and _readings_line(archive, other) == own
        ),
        None,
    )


def _readings_line(archive: Archive, entry: Entry) -> str:
    try:
        text = (archive.folder / entry.folder / "manifest-sha256.txt").read_text("utf-8")
    except (OSError, UnicodeDecodeError):  # verify tells of it
        return ""
    return next((line for line in text.splitlines() if line.endswith(_READINGS)), "")
