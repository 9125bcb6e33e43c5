"""What the bench page says that no other face says."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from loomtest.words.lines import all_of

if TYPE_CHECKING:
    from loomtest.errors import Problem
    from loomtest.harness.model import Harness

SECONDS_A_TOUCH = 13.0  # until the sitting has a pace of its own (common practice)
RUN_HAS_ENDED = "This run has ended. Start a new one to measure more."
REHEARSAL = "Rehearsal: the meter and the loom are simulated. Nothing here was measured."
SHORT_CAUTIONS = (
    "Battery disconnected, negative first. Loom off the vehicle, or every control unit unplugged.",
    "Airbags, belt tensioners and their wiring: never put a meter on them. It can fire them.",
    "Orange cables and anything above 60 V d.c. or 30 V a.c.: not with this tool.",
    "No open fuel and no vapour near. Never bridge a fuse or fit a larger one.",
    "The vehicle's own manual and local rules come first. Check lights and brakes before the road.",
)
LEADS_TOO_LATE = "The leads are measured before the first reading of a run."
TOUCH_AGAIN = "Touch both points again and enter what the meter shows."
FIRST_CAUTION = "Battery off? Control units unplugged? Never on airbags or belt tensioners."
AFTER_CRASH = "Last time the page ended without being closed. Every reading that was recorded is there."
NOTHING_YET = "Nothing has been measured yet."

TITLE = "loomtest bench"
CLOSED = "The bench page is closed. Start it again with: loomtest bench"
WHO_SEES_LOOPBACK = "Only this computer can open this page. Nothing is sent to the network."
WHO_SEES_PHONE = (
    "The page is open to your own network at {address}, but only for screens that entered a pairing code. "
    "There is no encryption: someone else on the same network who listens in could read what you measure. "
    "They cannot enter anything without a code. Start with --tls to encrypt it."
)
WHO_SEES_TLS = (
    "The page is open to your own network at {address}, encrypted, and only for screens that entered a "
    "pairing code. Your phone warns once, because the certificate was made on this computer. Its fingerprint "
    "must be: {fingerprint}"
)


def resumed(count: int) -> str:
    """Said when a run that stopped goes on."""
    if not count:
        return ""
    return f"Going on with this run: {_counted(count, 'reading')} so far, all safe."


def already_recorded(row: int, value: str) -> str:
    """A value that came twice, as after a lost connection."""
    return f"{value} was recorded already, in line {row}."


def meant_for_another(start: str, end: str, value: str) -> str:
    """A command for a prompt that no longer stands."""
    what = f"{value} for " if value else ""
    return f"Not recorded: {what}{start} and {end}. Another screen was faster; look at the points again."


def recorded(start: str, end: str, text: str) -> str:
    """A reading that is on disk."""
    return f"Recorded. {start} to {end}: {text}"


def taken_back(start: str, end: str, value: str) -> str:
    """A reading that was withdrawn."""
    return f"Taken back: {value} from {start} to {end}. It stays in the record, crossed out."


def note_set(text: str) -> str:
    """A note for the next reading."""
    return f"Note for the next reading: {text}" if text.strip() else "No note."


def left(count: int, seconds_each: float) -> str:
    """How much there is still to measure."""
    if count <= 0:
        return "The plan is done; settling what is still in doubt."
    minutes = max(1, round(count * seconds_each / 60.0))
    return f"{count:,} to go, about {_counted(minutes, 'minute')}"


def _counted(count: int, one: str) -> str:
    return f"{count:,} {one}" if count == 1 else f"{count:,} {one}s"


NOT_MEASURED = "Not measured yet."
NO_SUCH_LOOM = "No such loom"
NO_SUCH_LOOM_TEXT = "There is no loom of that name in this folder. It may have been renamed or moved."
CODE_WRONG = "That code is wrong, too old or used. The first screen shows a new one under Other screens."
CODES_LOCKED = "Too many wrong codes. Wait a minute, then try again."


def wires(count: int) -> str:
    """How large a loom is."""
    return _counted(count, "wire")


def when(iso: str) -> str:
    """A time of a record, shorter."""
    return iso.replace("T", " ")[:16]


def problem(found: Problem) -> str:
    """What is odd in a file, without the way to it."""
    return str(replace(found, file=Path(found.file).name))


def missing(harness: Harness) -> list[str]:
    """What the wire list leaves open, and what that costs."""
    wires = [wire for wire in harness.wires if wire.conducts]
    bare = sum(wire.size_mm2 is None or wire.length_m is None for wire in wires)
    plain = sum(not wire.colour for wire in wires)
    told = []
    if bare:
        told.append(
            f"{_counted(bare, 'wire')} without size or length: poor joints show only from about a quarter of "
            "an ohm."
        )
    if plain:
        told.append(f"{_counted(plain, 'wire')} without a colour: the prompts cannot say what to look for.")
    return told


RUN_BEGAN = "A new run has begun."
REHEARSED_METER = "a simulated meter, to try it (a rehearsal)"
METERS = (
    {"name": "handheld-3half", "text": "handheld, reads 0.1 Ω (3½ digits)"},
    {"name": "handheld-4half", "text": "handheld, reads 0.01 Ω (4½ digits)"},
    {"name": "handheld-picofarads", "text": "handheld, reads 0.01 Ω and single picofarads"},
    {"name": "milliohm-meter", "text": "milliohm meter, four leads"},
    {"name": "bench-four-wire", "text": "bench meter, four leads"},
)


def port(device: str, description: str) -> str:
    """A meter's port in the list."""
    return f"from a meter on {device}" + (f" ({description})" if description and description != "n/a" else "")


NOT_KEPT_YET = "The archive keeps a copy of the run with its verdict and report. It is never changed again."


def kept(folder: str, digest: str) -> str:
    """A run that went into the archive."""
    return f"Kept in {folder}. Its digest: {digest}"


NEW_LOOM = "A new loom"
ONE_LOOM_ONLY = (
    "This page was started on one loom's folder. To begin another loom, start it on a folder that holds "
    "several: loomtest bench looms"
)
THE_NOTES = "the notes"
THE_LIST = "row of the list"
THE_NAME = "name"
TOO_LARGE = "That is more than 20 MB. A wire list is much smaller: is it the right file?"
NOT_UNDERSTOOD = "The page sent something that cannot be read. Load it again."


def disk_says(what: str) -> str:
    """The disk is full, or the folder cannot be written."""
    return f"Not saved: {what}."


def shown_name(name: str) -> str:
    """A file's name, as far as it is fit to show."""
    return "".join(letter if letter.isprintable() else "?" for letter in name)[:60]


DEMO_FOUND = "A wire is broken. In a moment it is fixed, and measured again."
DEMO_MENDED = "The broken wire is fixed. Everything is measured again."
DEMO_DONE = "The fault is gone. Next: the two runs side by side."


def in_a_row(points: tuple[str, ...]) -> str:
    """The points that follow with the same clip; "" where none does."""
    if not points:
        return ""
    return f"Then {all_of(points)}: you may type all values in one line, 0.3 0.3 ol."
