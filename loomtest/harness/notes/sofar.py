"""What was read of a page so far, and the block that the next line belongs to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from loomtest.harness.notes.meaning import Ask, Joint, Surroundings
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.notation import NotedWire
from loomtest.harness.notes.restarts import PinnedRow
from loomtest.harness.notes.result import Kind, LookAt, NotedLine
from loomtest.harness.notes.roles import Page
from loomtest.harness.notes.scan import Token


@dataclass(frozen=True, slots=True)
class Doubt:
    """A statement of a line that has no one meaning: the how manyth, its words, why, and what it is about."""

    place: int
    tokens: tuple[Token, ...]
    why: Ask
    about: str = ""


@dataclass
class LineFound:
    """What a line makes, before the page is finished."""

    kind: Kind = Kind.WIRES
    joints: list[Joint] = field(default_factory=list)
    empty: list[str] = field(default_factory=list)
    changes: list[tuple[str, str]] = field(default_factory=list)
    look: list[LookAt] = field(default_factory=list)
    pins: tuple[Mention, ...] = ()  # the cavities that a row begins with
    doubts: list[Doubt] = field(default_factory=list)  # of parts that the rest does not hang on


@dataclass
class ReadSoFar:
    """What was read so far."""

    page: Page
    answers: Mapping[str, str]
    scene: Surroundings
    lines: list[NotedLine] = field(default_factory=list)
    joints: list[tuple[int, Joint]] = field(default_factory=list)  # (index into lines, joint)
    exact: list[tuple[int, NotedWire]] = field(default_factory=list)
    above: list[Token] = field(default_factory=list)
    columns: list[tuple[str, int, int]] = field(default_factory=list)
    cells: list[list[Token]] = field(default_factory=list)  # of the table's row above
    apart: bool = False  # a blank line stood since the table's last row
    row: list[list[Token]] | None = None  # the cells of this line, where it is a table's row
    heading: int = 0  # the line of the heading above
    pinned: list[PinnedRow] = field(default_factory=list)
    tabled: set[int] = field(default_factory=set)  # the lines that were read as rows of a table with columns
    soft: bool = False
    indent: int | None = None  # where the first line of the block begins
    hub: Mention | None = None  # the joint or ground at which the lines of the block end
    begun: bool = False  # a row of the block was read
    last: int = 0  # the cavity of the block's last row
    style: str = ""  # how the block's cavities are written: number, letter or word
    changing: bool = False
    near: list[Mention] = field(default_factory=list)  # the longer names of the block so far
    only: int | None = None  # of the statements of a line, the one whose readings are wanted
    parting: bool = False  # whether each statement's own words of doubt are looked at
    joined: int = 0  # rows of this block with a sign between their ends
    look: list[LookAt] = field(default_factory=list)
    empty: list[str] = field(default_factory=list)
