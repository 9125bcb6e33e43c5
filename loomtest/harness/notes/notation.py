"""A wire of the notes, and our own one-line notation for it: what is written down is read back the same.

wire.words              # "light_switch:2 grey, 1.5 mm² to SP1, for horn  # crimped twice"
read_notation(words)    # the same wire
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from loomtest.harness.colours import colour_parts, colour_words
from loomtest.harness.measures import read_amps, read_length, read_size
from loomtest.harness.points import read_point

KINDS = ("fuse", "lamp", "coil", "diode", "resistor")
_POINT = r"[^\s,;#\"():]+(?::[^\s,;#\"():]+)?"
_LINE = re.compile(
    rf"(?:(?P<wire>\w[\w'.-]*): )?(?P<start>{_POINT})(?: (?P<about>[^#]+?))? to (?P<end>{_POINT})"
    r"(?:, for (?P<circuit>[^#\n]+?))?(?:  \# (?P<note>.+))?",
)
_READERS: dict[str, Callable[[str], float]] = {"size": read_size, "length": read_length, "amps": read_amps}


@dataclass(frozen=True, slots=True)
class NotedWire:
    """A wire as the notes have it; the texts are cells of a wire list, `size` and `length` with units."""

    line: int
    start: str
    end: str
    wire: str = ""
    colour: str = ""
    size: str = ""
    length: str = ""
    amps: str = ""
    kind: str = ""
    circuit: str = ""
    note: str = ""

    @property
    def words(self) -> str:
        """The wire in one line of our own notation; `read_notation` gives the same wire."""
        size = self.size if self.size.startswith("AWG") or not self.size else f"{self.size} mm²"
        about = ", ".join(filter(None, (self.colour, size, self.length, self.amps, self.kind)))
        said = " ".join(filter(None, (self.start, about, "to", self.end)))
        said += f", for {self.circuit}" if self.circuit else ""
        said += f"  # {self.note}" if self.note else ""
        return f"{self.wire}: {said}" if self.wire else said


def read_notation(line: str, number: int = 0) -> NotedWire | None:
    """The wire that a line of our own notation says; None for any other line."""
    match = _LINE.fullmatch(line.strip())
    if match is None:
        return None
    told: dict[str, Any] = {key: match[key] or "" for key in ("wire", "circuit", "note")}
    for item in (match["about"] or "").split(", ") if match["about"] else []:
        sort, value = _attribute(item.strip())
        if not sort or sort in told:
            return None
        told[sort] = value
    try:
        start, end = read_point(match["start"]), read_point(match["end"])
    except ValueError:
        return None
    if start != match["start"] or end != match["end"] or start == end:
        return None
    return replace(NotedWire(number, start, end), **told)


def wires_of(answer: str, number: int = 0) -> list[NotedWire]:
    """The wires that an answer says, which are joined by `; `; [] for one that says no wire."""
    return [wire for item in answer.split("; ") if (wire := read_notation(item, number)) is not None]


def _attribute(text: str) -> tuple[str, str]:
    """What sort of thing is said of a wire, and its cell: (`colour`, `red`), (`size`, `1.5`); "" if none."""
    if text in KINDS:
        return "kind", text
    for sort, reader, shape in (
        ("size", read_size, r"AWG \S+|[\d.]+ mm²"),
        ("length", read_length, r"[\d.]+ (?:mm|cm|m|in|ft)(?: [\d.]+ in)?"),
        ("amps", read_amps, r"[\d.]+ m?A"),
    ):
        if re.fullmatch(shape, text):
            value = text.removesuffix(" mm²")
            try:
                reader(value)
            except ValueError:
                return "", ""
            return sort, value
    try:
        if len(text) > 1 and colour_parts(text) and colour_words(text).replace("-", "/") == text:
            return "colour", text
    except ValueError:
        pass
    return "", ""


def sound(sort: str, value: str) -> bool:
    """Whether a size, length or current is one that a wire list takes; False for anything else."""
    try:
        _READERS[sort](value)
    except (KeyError, ValueError):
        return False
    return True
