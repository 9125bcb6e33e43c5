"""The lines of a page with what each of them is."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.names import Names
from loomtest.harness.notes.scan import Token


class Role(StrEnum):
    """What a line of the page is."""

    BLANK = "blank"
    RULE = "rule"
    COMMENT = "comment"
    HEADING = "heading"
    TABLE = "table"
    KEY = "key"
    CHANGE_HEADING = "change heading"
    LINE = "line"


@dataclass
class PageLine:
    """A line with its role; a heading's device, a table's columns (what, where it begins)."""

    number: int
    text: str
    tokens: list[Token]
    role: Role = Role.LINE
    device: Mention | None = None
    other: Mention | None = None
    columns: list[tuple[str, int, int]] = field(default_factory=list)
    opens: Mention | None = None  # the device that a statement brings up for the rows below it
    under: Mention | None = None  # the device whose terminals this row and those below it begin with
    orphan: str = ""  # the cavity in front of a row of which no connector is known
    right: bool = False  # a later line puts it right, and its tokens say so already
    puts_right: bool = False  # it puts lines above right, and says nothing else
    listed: str = ""  # its number in a list, which is no cavity
    wire: str = ""  # the wire's own number, which stands in front of it
    star: bool = False
    hub: Mention | None = None  # a joint, ground or fuse at which each line below ends
    weak: bool = False  # a heading that may be a title only: it names no connector that the trade knows


@dataclass
class Page:
    """The lines of the notes and what holds on all of them."""

    lines: list[PageLine]
    names: Names
    letters: dict[str, str]
    gauge: bool = False
    unit: str = ""  # of bare lengths: `lengths in cm`
    title: int = 0  # the first line of a page of several, which may say what the page is about
