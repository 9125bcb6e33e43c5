"""Notepad text to wires: every line is read, said in our own words, or told as not read. Pure: no files.

    notepad = read_notepad("X1 1 red to X4 3")
    notepad.wires[0].words      # "X1:1 red to X4:3"

A wire is two points with an arrow, a dash, a comma or a tab between them, and around them its colour, size,
length, amperes, part (`fuse`), circuit (`for horn`) and note (in brackets). `X1 to X4:` is a heading: the
lines below it name cavities only. `SP1: X1 3, X4 2` joins each point to the splice. A ditto mark repeats
what stands in its place in the line above.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from loomtest.harness.notes.ditto import written_out
from loomtest.harness.notes.wire import NotedWire, NotReadError, wires_of
from loomtest.harness.notes.words import SINGLE, Token, tokens_of
from loomtest.harness.points import natural

LONGEST_LINE = 400
MOST_LINES = 100_000
_BULLET = re.compile(r"\s*(?:[*•·‣▪☐☑✓]|-(?=\s)|\[[ xX]?\]|\d{1,3}[.)](?=\s))\s*")
_RULE = re.compile(r"[\s\-=_*~#.+|:]*")
_COMMENT = re.compile(r"\s*(?:#|//)")
_WIRE_NAME = re.compile(r"\s*(?:wire\s+)?([Ww]\d{1,4}[a-z]?)\s*[:.)]\s+")
_CIRCUIT_NAME = re.compile(r"\s*([^\W\d_][^\W\d_]*(?: [^\W\d_]+){0,4})\s*:\s+(?=\S)")
_EMPTY = re.compile(
    r"(.*?)[\s\-–—:=]+(?:unused|empty|spare|blank|n/?c|not\s+used|not\s+connected)\s*", re.IGNORECASE
)
_STAR = re.compile(
    r"\s*(?:(?:splice|joint|ground|earth|stud)\s+(?=\w+\s*[:=]))?(\w+(?:\s\d{1,2})?[+-]?)\s*[:=]\s*(\S.*)",
    re.I,
)


@dataclass(frozen=True, slots=True)
class NotedLine:
    """A line that is not blank: `text` as written; `said`, what it was read as; `why`, if it was not read."""

    number: int
    text: str
    said: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True)
class Notepad:
    """All lines, the wires in them, and what a person should look at (`remarks`, sentences)."""

    lines: tuple[NotedLine, ...]
    wires: tuple[NotedWire, ...]
    remarks: tuple[str, ...]

    @property
    def unread(self) -> tuple[NotedLine, ...]:
        """The lines that could not be read, each with its reason."""
        return tuple(line for line in self.lines if line.why)


@dataclass
class _Above:
    """What lines above a line mean for it: the connectors of a heading, and the last wire's words."""

    heading: tuple[str, ...] = ()
    words: tuple[Token, ...] = ()


def read_notepad(text: str) -> Notepad:
    """Every line of `text`, numbered from 1 as an editor does."""
    above = _Above()
    lines: list[NotedLine] = []
    wires: list[NotedWire] = []
    for number, line in enumerate(text.replace("\r\n", "\n").replace("\r", "\n").split("\n"), 1):
        line = line.lstrip("\ufeff")
        if not line.strip():
            continue
        try:
            if number > MOST_LINES:
                raise NotReadError(f"more than {MOST_LINES:,} lines: split the notes")
            if len(line) > LONGEST_LINE:
                raise NotReadError(f"a line of {len(line)} letters; expected one wire a line")
            found, said = _line(number, line, above)
        except NotReadError as error:
            above.words = ()
            lines.append(NotedLine(number, line.strip()[:LONGEST_LINE], why=str(error)))
            continue
        wires += found
        lines.append(NotedLine(number, line.strip(), said))
    return _checked(lines, wires)


def _line(number: int, line: str, above: _Above) -> tuple[list[NotedWire], str]:
    """The wires of a line, and what it was read as."""
    if _COMMENT.match(line) and not re.match(r"\s*#\d", line):
        return [], "a comment"
    if _RULE.fullmatch(line):
        return [], "a line drawn"
    heading = _heading(line, above)
    if heading:
        return [], heading
    bullet = _BULLET.match(line)
    rest = line
    if bullet:  # columns stay, for ditto marks
        number_is_cavity = (
            bullet[0].strip()[0].isdigit() and above.heading and not _begins_with_point(line, bullet.end())
        )
        kept = re.sub(r"[.)]", " ", bullet[0]) if number_is_cavity else " " * bullet.end()
        rest = kept + line[bullet.end() :]
    if nothing := _EMPTY.fullmatch(rest):
        points = [word for word in tokens_of(nothing[1]) if word.sort in ("point", "cavity")]
        if len(points) == 1 and (points[0].sort == "point" or above.heading):
            name = points[0].value if points[0].sort == "point" else f"{above.heading[0]}:{points[0].value}"
            return [], f"{name} stays empty: no wire"
    star = _STAR.fullmatch(rest)
    middle = star[1].replace(" ", "") if star else ""
    if star and SINGLE.fullmatch(middle):
        wires = _star(number, middle, star[2])
        return wires, "; ".join(wire.words for wire in wires)
    labels: dict[str, str] = {}
    if label := _WIRE_NAME.match(rest):
        labels["wire"] = label[1]
    elif (label := _CIRCUIT_NAME.match(rest)) and _is_circuit(label[1]):
        labels["circuit"] = label[1]
    if label and labels:
        rest = " " * label.end() + rest[label.end() :]
    words = tokens_of(rest)
    if any(word.sort == "ditto" for word in words):
        spelled = written_out(words, above.words)
        if isinstance(spelled, str):
            raise NotReadError(spelled)
        words = spelled
    wires = wires_of(number, words, above.heading, labels)
    above.words = tuple(words)
    return wires, "; ".join(wire.words for wire in wires)


def _begins_with_point(line: str, place: int) -> bool:
    return any(word.sort in ("point", "name", "cavity", "ditto") for word in tokens_of(line[place:])[:1])


def _is_circuit(label: str) -> bool:
    return all(token.sort in ("name", "kind") for token in tokens_of(label)) and not SINGLE.fullmatch(label)


def _heading(line: str, above: _Above) -> str:
    """What a heading says; "" for a line that is none."""
    text = line.strip()
    bare = text.strip("=*_ ").strip()
    marked = bare != text
    if bare.endswith(":"):
        bare, marked = bare[:-1].rstrip(), True
    bare = re.sub(r"(?<=\w)-(?=[A-Za-z])", " - ", bare)
    words = [word for word in tokens_of(bare) if word.sort not in ("gap", "note")]
    sorts = [word.sort for word in words]
    names = tuple(word.value for word in words if word.sort == "name")
    connectors = bool(names) and all(re.search(r"\d", name) and not SINGLE.fullmatch(name) for name in names)
    if sorts in (["name", "arrow", "name"], ["name", "and", "name"]) and marked:
        above.heading, above.words = names, ()
        return f"a heading: from {names[0]} to {names[1]}"
    if sorts == ["name"] and (marked or connectors) and connectors:
        above.heading, above.words = names, ()
        return f"a heading: from {names[0]}"
    if marked and words and not any(sort in ("point", "cavity", "arrow", "back", "ditto") for sort in sorts):
        above.heading, above.words = (), ()
        return "a heading"
    return ""


def _star(number: int, middle: str, items: str) -> list[NotedWire]:
    """`SP1: X1 3 red, X4 2`: a wire from the splice or ground to each point."""
    wires = []
    for item in re.split(r"\s*[,;+&]\s*(?=[^\W\d]\w*\s*[-:./ ]\s*\w)|\s+and\s+", items.strip()):
        words = tokens_of(item)
        if any(word.sort in ("arrow", "back", "ditto") for word in words):
            raise NotReadError(
                f"found {item!r} after {middle}; expected points, such as {middle}: X1 3, X4 2"
            )
        joined = [Token("name", middle, -2, -2), Token("arrow", "to", -1, -1), *words]
        wires += wires_of(number, joined, (), {})
    return wires


def _checked(lines: list[NotedLine], wires: list[NotedWire]) -> Notepad:
    """One spelling for each connector; a connector named without its cavity is no point."""
    spelling: dict[str, tuple[str, int]] = {}
    names: dict[str, int] = {}
    remarks: list[str] = []
    cavities = {
        point.partition(":")[0].casefold()
        for wire in wires
        for point in (wire.start, wire.end)
        if ":" in point
    }
    why: dict[int, str] = {}
    kept: list[NotedWire] = []
    for wire in wires:
        ends = []
        for point in (wire.start, wire.end):
            name, colon, cavity = point.partition(":")
            first, line = spelling.setdefault(name.casefold(), (name, wire.line))
            if first != name:
                remarks.append(f"line {wire.line}: {name} is taken for {first} of line {line}")
            if not colon and name.casefold() in cavities:
                why[wire.line] = (
                    f"found {name} without a cavity, and with one in other lines; expected which: {name} 1"
                )
            ends.append(first + colon + cavity)
        if ends[0] == ends[1]:
            why[wire.line] = f"found {ends[0]} at both ends; expected two different points"
        if wire.wire and names.setdefault(wire.wire, wire.line) != wire.line:
            why[wire.line] = (
                f"found {wire.wire}, the wire of line {names[wire.wire]}; expected a name of its own"
            )
        kept.append(replace(wire, start=ends[0], end=ends[1]))
    kept = [wire for wire in kept if wire.line not in why]
    said: dict[int, list[str]] = {}
    for wire in kept:
        said.setdefault(wire.line, []).append(wire.words)
    told = [
        replace(line, said="", why=why[line.number])
        if line.number in why
        else replace(line, said="; ".join(said.get(line.number, [line.said])))
        for line in lines
    ]
    return Notepad(tuple(told), tuple(kept), tuple(dict.fromkeys([*remarks, *_remarks(kept)])))


def _remarks(wires: Sequence[NotedWire]) -> list[str]:
    remarks: list[str] = []
    pairs: dict[frozenset[str], int] = {}
    for wire in wires:
        other = pairs.setdefault(frozenset((wire.start, wire.end)), wire.line)
        if other != wire.line:
            remarks.append(f"line {wire.line}: {wire.start} and {wire.end} are joined by line {other} too")
    counts: dict[str, int] = {}
    for wire in wires:
        for point in {wire.start, wire.end}:
            counts[point] = counts.get(point, 0) + 1
    for point in sorted(counts, key=natural):
        if counts[point] > 1 and re.fullmatch(r"gnd|ground|earth|chassis|mass|body|frame", point, re.I):
            remarks.append(
                f"{counts[point]} wires end at {point}, which is one point then: number them "
                f"({point}1, {point}2) if there are several"
            )
    return remarks
