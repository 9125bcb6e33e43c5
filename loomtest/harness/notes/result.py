"""What reading a page of notes gives: its lines, its wires, and what to look at. Facts, no sentences."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from loomtest.harness.notes.meaning import Ask
from loomtest.harness.notes.notation import NotedWire


class Kind(StrEnum):
    """What a line was read as."""

    WIRES = "wires"
    REMARK = "remark"
    HEADING = "heading"
    TABLE = "table"
    KEY = "key"
    COMMENT = "comment"
    RULE = "rule"
    EMPTY = "empty"
    CHANGE = "change"
    AGAIN = "again"
    UNREAD = "unread"


class ToLookAt(StrEnum):
    """What a person should look at, though it was read."""

    TAKEN_FOR = "taken for"  # a short name: what it was taken for
    SPELLED = "spelled"  # a spelling, and the first one of the page
    SIZE = "size"  # millimetres, or a size in doubt
    ALL_SIZE = "all size"  # the size said of all wires, and how many have none of their own
    COLOUR = "colour"  # letters without a key
    TWICE = "twice"  # joined in another line too
    ONE_GROUND = "one ground"
    MAY_BE_ONE = "may be one"  # a short name, and a longer one that ends in it


def answer_key(text: str) -> str:
    """What an answer is kept under: the line's words, however it is indented or spaced."""
    return " ".join(text.split())


@dataclass(frozen=True, slots=True)
class NotedLine:
    """A line that is not blank. `wires` are those it makes; `device` a heading's; `empty` cavities without a
    wire; `why` and `about` say why it stands unread, `readings` how it can be meant (in our notation, wires
    joined by `; `). Where only a `part` of a line is in doubt, the line stands twice: read, and unread with
    that part."""

    number: int
    text: str
    kind: Kind
    wires: tuple[NotedWire, ...] = ()
    device: str = ""
    empty: tuple[str, ...] = ()
    changes: tuple[tuple[str, str], ...] = ()
    why: Ask | None = None
    about: str = ""
    readings: tuple[str, ...] = ()
    part: str = ""

    @property
    def asked(self) -> str:
        """What an answer is about: the line, and behind a stroke the part of it that is in doubt."""
        return answer_key(f"{self.text} ¦ {self.part}" if self.part else self.text)


@dataclass(frozen=True, slots=True)
class LookAt:
    """Something to look at: in which line (0: the page), what, and the words it is about."""

    line: int
    what: ToLookAt
    about: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Notes:
    """A page that was read. `cavities` are those of connectors with a cavity said to be empty."""

    lines: tuple[NotedLine, ...]
    wires: tuple[NotedWire, ...]
    cavities: Mapping[str, tuple[str, ...]]
    changes: tuple[tuple[str, str], ...]
    look_at: tuple[LookAt, ...]

    @property
    def unread(self) -> tuple[NotedLine, ...]:
        """The lines that wait for an answer."""
        return tuple(line for line in self.lines if line.kind is Kind.UNREAD)
