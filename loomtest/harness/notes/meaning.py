"""What a statement can mean: wires between mentions, a doubt with its reason, or a remark."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.names import Names


class Ask(StrEnum):
    """Ask a line was not read."""

    WRITER_UNSURE = "writer unsure"
    SEVERAL_MEANINGS = "several meanings"
    ONE_END = "one end"
    LIST_TO_LIST = "list to list"
    COLOURS = "colours"
    WHICH_OF_THEM = "which of them"
    UNKNOWN_WORDS = "unknown words"
    DITTO = "ditto"
    SAME_ENDS = "same ends"
    TOO_LONG = "too long"
    CAVITY = "cavity"
    CAVITY_LACKS = "cavity lacks"
    NAME_TWICE = "name twice"
    GLUED = "glued"
    PUT_RIGHT = "put right"


class UnsureError(Exception):
    """A line that has no one meaning: `why`, and the words it is about."""

    def __init__(self, why: Ask, about: str = "") -> None:
        self.why, self.about = why, about
        super().__init__(why)


class RemarkError(Exception):
    """Words that say nothing of a wire."""


@dataclass(frozen=True, slots=True)
class Joint:
    """Two mentions that a wire joins, and what was said of it."""

    start: Mention
    end: Mention
    said: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    left: tuple[str, ...] = ()  # words of the line that were taken for neither an end nor a remark


@dataclass
class Surroundings:
    """What the page gives to a statement: names, the heading's device, the row's pins, colour letters."""

    names: Names
    letters: Mapping[str, str] = field(default_factory=dict)
    device: Mention | None = None
    other: Mention | None = None
    pins: tuple[Mention, ...] = ()
    star: bool = False  # a plug with wires on both its halves
    columns: str = "first"  # which columns of names in this block's rows are ends: see block.Ends
    gauge: bool = False  # a bare number is a gauge here
    fuse_row: bool = False
    hub: Mention | None = None  # the heading's joint or ground, at which each line below it ends
    subject: Mention | None = None  # what the sentence before spoke of
    topic: Mention | None = None  # the device whose terminals the paragraph goes through
    topic_end: Mention | None = (
        None  # the other end of the statement before: `regulator D to dynamo D, F to F`
    )
    topic_indent: int | None = None  # how far the line is set in whose head gave the topic
    last: Joint | None = None  # the wire that was read last in this paragraph
    here: Joint | None = None  # the same, where it stands in this line
    meant: str = ""  # the way to take what can be taken in several: see doubt.WAYS
