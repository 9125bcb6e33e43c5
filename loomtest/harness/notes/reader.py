"""Notes as people write them, to wires: the one function that the terminal and the page call.

    notes = read_notes(text, answers)

Theory of operation. A page is read twice. The page pass finds what the lines are (headings, tables, colour
keys) and what things are called. The statement pass reads each line as rows and statements with those names
at hand. What has no one meaning is a doubt: it stands in `unread` with the ways it can be meant, and an
answer to it, kept beside the notes, is used when the page is read again. The grammar is ours, over tokens:
what a word is depends on the page (its names, columns and colour letters), and the general parser libraries
are made for one fixed lexicon.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from loomtest.harness.notes import trade
from loomtest.harness.notes.cavities import is_row
from loomtest.harness.notes.cells import has_end_columns, is_title, wire_name
from loomtest.harness.notes.ditto import written_out
from loomtest.harness.notes.doubt import (
    MOST_READINGS,
    WAYS,
    alternatives,
    doubtful,
    in_words,
    undoubted,
)
from loomtest.harness.notes.everywhere import with_size
from loomtest.harness.notes.finish import finish
from loomtest.harness.notes.items import JOINS
from loomtest.harness.notes.meaning import Ask, Joint, RemarkError, Surroundings, UnsureError
from loomtest.harness.notes.notation import NotedWire, read_notation, sound
from loomtest.harness.notes.page import read_page
from loomtest.harness.notes.result import Kind, LookAt, NotedLine, Notes, ToLookAt
from loomtest.harness.notes.roles import PageLine, Role
from loomtest.harness.notes.rows import pins_known, read_line
from loomtest.harness.notes.sofar import ReadSoFar
from loomtest.harness.notes.tokens import Token
from loomtest.harness.points import folded, natural, read_point

LONGEST_LINE = 400
MOST_LINES = 100_000


def answer_key(text: str) -> str:
    """What an answer is kept under: the line's words, however it is indented or spaced."""
    return " ".join(text.split())


def read_notes(text: str, answers: Mapping[str, str] | None = None) -> Notes:
    """Read a page of notes.

    `answers` is the line's text (`answer_key`) to what is meant by it: wires in our own notation (see
    `notation.py`) joined by `; `, or "" for a remark. Pure: no files. Returns every line that is not blank
    with its kind; nothing is passed over. Lines with more than one meaning have the kind UNREAD, with
    `why`, `about` and `readings`, until they are answered.
    """
    numbered = []
    for number, line in enumerate(text.replace("\r\n", "\n").replace("\r", "\n").split("\n"), 1):
        numbered.append((number, line.lstrip("\ufeff")))
    short = [(n, line if len(line) <= LONGEST_LINE and n <= MOST_LINES else "") for n, line in numbered]
    page = read_page(short)
    state = ReadSoFar(page, answers or {}, Surroundings(page.names, page.letters, gauge=page.gauge))
    for page_line, (number, whole) in zip(page.lines, numbered, strict=True):
        if len(whole) > LONGEST_LINE or number > MOST_LINES:
            state.lines.append(NotedLine(number, whole.strip()[:LONGEST_LINE], Kind.UNREAD, why=Ask.TOO_LONG))
        elif whole.strip():
            _line(state, page_line)
        else:
            state.soft, state.columns, state.scene.hub, state.hub = True, [], None, None
            state.above = []
    return _finished(state)


# `console plug (12) -> roof plug (16)`: what the lines below are about
_BOTH_COUNTED = re.compile(r"\(\d+(?:[ -](?:way|pin)s?)?\)\W+\D+\(\d+(?:[ -](?:way|pin)s?)?\)$")
_SIMPLE = {Role.RULE: Kind.RULE, Role.COMMENT: Kind.COMMENT, Role.KEY: Kind.KEY}


def _line(state: ReadSoFar, line: PageLine) -> None:
    text = line.text.strip()
    scene = state.scene
    if answer_key(text) in state.answers:
        _answered(state, line, state.answers[answer_key(text)])
        return
    if line.role in _SIMPLE:
        state.lines.append(NotedLine(line.number, text, _SIMPLE[line.role]))
        return
    if line.role in (Role.HEADING, Role.TABLE, Role.CHANGE_HEADING):
        state.style, state.joined = "", 0
        state.soft, state.changing = False, line.role is Role.CHANGE_HEADING
        scene.device, scene.other, scene.star = line.device, line.other, line.star
        scene.fuse_row = bool(line.device and re.search(r"\b(?:fuse|breaker)\b", line.device.key))
        scene.hub = state.hub = line.device if line.hub else None
        scene.columns = line.role is Role.HEADING and has_end_columns(state.page, line)
        state.columns = line.columns
        state.above = []
        name = " to ".join(state.page.names.point(m) for m in (line.device, line.other) if m)
        kind = Kind.TABLE if line.role is Role.TABLE else Kind.HEADING
        state.lines.append(NotedLine(line.number, text, kind, device=name))
        return
    wire = (
        None if scene.device and is_row(line.tokens) and not state.soft else read_notation(text, line.number)
    )
    glued = re.search(r"\b[A-Za-z]+\d+-[A-Za-z]\d+\b", text)
    if wire is not None and not glued and (":" in text or "_" in text or re.search(r"\d|^\S+ to \S+$", text)):
        state.exact.append((len(state.lines), wire))
        state.lines.append(NotedLine(line.number, text, Kind.WIRES))
        state.above = line.tokens
        return
    _statements(state, line)


def _forms(tokens: list[Token]) -> set[str]:
    """The words of a line, written out: to see whether it speaks of a device of the page."""
    return {trade.long_form(token.text) for token in tokens if token.sort == "word"}


def _answered(state: ReadSoFar, line: PageLine, meant: str) -> None:
    wires = [wire for item in meant.split("; ") if (wire := read_notation(item, line.number)) is not None]
    if meant and not wires:
        return _statements(state, replace(line))
    state.exact += [(len(state.lines), wire) for wire in wires]
    state.lines.append(NotedLine(line.number, line.text.strip(), Kind.WIRES if wires else Kind.REMARK))
    state.above = line.tokens
    return None


def _statements(state: ReadSoFar, line: PageLine) -> None:
    """Read a line as a row or as statements; what raises a doubt stands unread with its readings."""
    text, tokens = line.text.strip(), list(line.tokens)
    if any(token.sort == "ditto" for token in tokens):
        spelled = written_out(tokens, state.above)
        if spelled is None:
            state.lines.append(NotedLine(line.number, text, Kind.UNREAD, why=Ask.DITTO))
            return
        tokens = spelled
    if _BOTH_COUNTED.search(text) or (line.number == state.page.title and is_title(state.page, tokens)):
        state.lines.append(NotedLine(line.number, text, Kind.REMARK))
        return
    wire, tokens = wire_name(tokens)
    asked = doubtful(text, tokens)
    try:
        found = read_line(state, line, undoubted(tokens) if asked else tokens)
    except RemarkError:
        said = any(token.sort in (*JOINS, "colon") for token in tokens)
        said = said or any(key in _forms(tokens) for key in state.page.names.seen)
        if asked and said:
            state.lines.append(NotedLine(line.number, text, Kind.UNREAD, why=Ask.WRITER_UNSURE, about=asked))
        else:
            state.lines.append(NotedLine(line.number, text, Kind.REMARK))
        return
    except UnsureError as error:
        why, about = (Ask.WRITER_UNSURE, asked) if asked else (error.why, error.about)
        readings = _readings(state, line, tokens)
        state.lines.append(NotedLine(line.number, text, Kind.UNREAD, why=why, about=about, readings=readings))
        return
    state.above = tokens
    if asked and found.kind is not Kind.REMARK:
        readings = _readings(state, line, tokens)
        state.lines.append(
            NotedLine(line.number, text, Kind.UNREAD, why=Ask.WRITER_UNSURE, about=asked, readings=readings)
        )
        return
    if re.search(r"(?i)\bsee (?:above|below)\b", text) and pins_known(state, tokens):
        state.lines.append(NotedLine(line.number, text, Kind.AGAIN))
        return
    if wire and len(found.joints) == 1:
        found.joints = [replace(found.joints[0], said={**found.joints[0].said, "wire": wire})]
    state.empty += found.empty
    state.joints += [(len(state.lines), joint) for joint in found.joints]
    state.look += found.look
    state.lines.append(
        NotedLine(line.number, text, found.kind, empty=tuple(found.empty), changes=tuple(found.changes))
    )


def _readings(state: ReadSoFar, line: PageLine, tokens: list[Token]) -> tuple[str, ...]:
    """The ways a doubtful line can be meant, in our notation, the likeliest first."""
    scene, found = state.scene, dict[str, None]()
    kept = scene.device, scene.other, scene.columns, state.soft, state.style
    for meant in [undoubted(tokens), *alternatives(tokens)]:
        ways = [""]
        for way in ways:  # a doubt at the first way adds those that can settle it
            scene.meant = way
            try:
                joints = read_line(state, line, meant).joints
            except RemarkError:
                continue
            except UnsureError as error:
                ways += [] if way else WAYS.get(error.why, ())
                continue
            finally:
                scene.meant, scene.pins = "", ()
                scene.device, scene.other, scene.columns, state.soft, state.style = kept
            if said := in_words(joints, line, state.page.names, _made):
                found[said] = None
    return tuple(found)[:MOST_READINGS]


def _made(joint: Joint, number: int, state_names: object) -> NotedWire:
    """The wire of a joint. Raises UnsureError where a name cannot be a point."""
    names: Any = state_names  # a page's names; passed through rooms that only hand them on
    start, end = names.point(joint.start), names.point(joint.end)
    for point in (start, end):
        try:
            if read_point(point) != point:
                raise ValueError
        except ValueError:
            raise UnsureError(Ask.UNKNOWN_WORDS, point) from None
    if folded(start) == folded(end):
        raise UnsureError(Ask.SAME_ENDS, start)
    said: dict[str, Any] = {
        sort: value
        for sort, value in joint.said.items()
        if sort in ("colour", "kind", "circuit", "wire") or sound(sort, value)
    }
    if "circuit" in said:
        said["circuit"] = re.sub(r"[#,]", "", said["circuit"]).strip()
    note = "; ".join(
        dict.fromkeys(
            re.sub(r"\s+", " ", note.replace("#", "")).strip() for note in joint.notes if note.strip()
        )
    )
    return replace(NotedWire(number, start, end, note=note), **said)


def _finished(state: ReadSoFar) -> Notes:
    """The wires of all lines, each point with one spelling; lines whose wires cannot be are unread."""
    lines, wires, look = finish(state.lines, state.joints, state.exact, state.page.names, _made)
    lines, wires, sized = with_size(lines, wires)
    look = [*sized, *look]
    cavities = _cavities(state, wires)
    changes = tuple(change for line in lines for change in line.changes)
    for short, long in state.page.names.taken.items():
        first = next(
            (line.number for line in lines if re.search(rf"(?i)\b{re.escape(short)}\b", line.text)), 0
        )
        state.look.append(LookAt(first, ToLookAt.TAKEN_FOR, (short, long)))
    return Notes(tuple(lines), tuple(wires), cavities, changes, (*state.look, *look))


def _cavities(state: ReadSoFar, wires: list[NotedWire]) -> dict[str, tuple[str, ...]]:
    """Every cavity of the connectors that have an empty one."""
    found: dict[str, dict[str, None]] = {}
    for point in state.empty:
        name, colon, cavity = point.rpartition(":")
        if colon:
            found.setdefault(name, {})[cavity] = None
    for wire in wires:
        for point in (wire.start, wire.end):
            name, colon, cavity = point.rpartition(":")
            if colon and name in found:
                found[name][cavity] = None
    return {name: tuple(sorted(cavities, key=natural)) for name, cavities in found.items()}
