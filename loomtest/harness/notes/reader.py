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
from collections.abc import Mapping, Sequence
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.agree import agree
from loomtest.harness.notes.block import Ends, end_columns
from loomtest.harness.notes.cavities import is_row
from loomtest.harness.notes.corrections import put_right
from loomtest.harness.notes.everywhere import with_size
from loomtest.harness.notes.finish import finish
from loomtest.harness.notes.meaning import Ask, Surroundings
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.notation import NotedWire, read_notation, wires_of
from loomtest.harness.notes.owners import two_sided_heading
from loomtest.harness.notes.page import read_page
from loomtest.harness.notes.reading import made, read_statements
from loomtest.harness.notes.restarts import begun_again
from loomtest.harness.notes.result import Kind, LookAt, NotedLine, Notes, ToLookAt, answer_key
from loomtest.harness.notes.roles import PageLine, Role
from loomtest.harness.notes.sofar import ReadSoFar
from loomtest.harness.points import natural

LONGEST_LINE = 400
MOST_LINES = 100_000


def read_notes(text: str, answers: Mapping[str, str] | None = None) -> Notes:
    """Read a page of notes.

    `answers` is what was asked (`NotedLine.asked`: the line, or the line and a part of it) to what is meant
    by it: wires in our own notation (see `notation.py`) joined by `; `, or "" for a remark. Pure: no files.
    Returns every line that is not blank with its kind; nothing is passed over. What has more than one meaning
    has the kind UNREAD, with `why`, `about` and `readings`, until it is answered.
    """
    state = first_reading(text, answers or {})
    agree(state)
    return finished(state)


def first_reading(text: str, answers: Mapping[str, str]) -> ReadSoFar:
    """What the grammar reads of a page, before the second reading is held against it."""
    numbered = []
    for number, line in enumerate(text.replace("\r\n", "\n").replace("\r", "\n").split("\n"), 1):
        numbered.append((number, line.lstrip("\ufeff")))
    short = [(n, line if len(line) <= LONGEST_LINE and n <= MOST_LINES else "") for n, line in numbered]
    page = read_page(short)
    state = ReadSoFar(page, answers, Surroundings(page.names, page.letters, gauge=page.gauge))
    for page_line, (number, whole) in zip(page.lines, numbered, strict=True):
        if len(whole) > LONGEST_LINE or number > MOST_LINES:
            state.lines.append(NotedLine(number, whole.strip()[:LONGEST_LINE], Kind.UNREAD, why=Ask.TOO_LONG))
        elif whole.strip():
            _line(state, page_line)
        else:
            state.soft = state.soft or state.begun or state.scene.device is None
            state.apart, state.scene.hub, state.hub = True, None, None
            state.near = []
            state.scene.subject = state.scene.topic = state.scene.topic_indent = None
            state.above = []
    return state


_SIMPLE = {Role.RULE: Kind.RULE, Role.COMMENT: Kind.COMMENT, Role.KEY: Kind.KEY}


def _line(state: ReadSoFar, line: PageLine) -> None:
    text = line.text.strip()
    scene = state.scene
    if line.under is not None:
        _opened(state, line.under)
    if answer_key(text) in state.answers:
        _answered(state, line, state.answers[answer_key(text)])
        return
    if line.puts_right:
        state.lines.append(NotedLine(line.number, text, Kind.REMARK))
        return
    if line.role in _SIMPLE:
        state.lines.append(NotedLine(line.number, text, _SIMPLE[line.role]))
        return
    if line.role in (Role.HEADING, Role.TABLE, Role.CHANGE_HEADING):
        state.heading = line.number
        state.style, state.joined, state.begun, state.last = "", 0, False, 0
        state.soft, state.changing = False, line.role is Role.CHANGE_HEADING
        scene.device, scene.other, scene.star = line.device, line.other, line.star
        scene.topic, scene.topic_indent, scene.last = None, None, None
        scene.fuse_row = bool(line.device and re.search(r"\b(?:fuse|breaker)\b", line.device.key))
        scene.hub = state.hub = line.hub
        sided = line.role is not Role.HEADING or two_sided_heading(line.text)
        scene.columns = Ends.FIRST if sided else end_columns(state.page, line)
        state.columns, state.cells, state.apart = line.columns, [], False
        state.above, state.indent = [], None
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
    _dedent(state, line)
    read_statements(state, line)
    if line.opens is not None:
        state.heading = line.number
        _opened(state, line.opens)


def _opened(state: ReadSoFar, device: Mention) -> None:
    """The rows below begin with cavities of this device."""
    scene = state.scene
    scene.device, scene.other, scene.star, scene.fuse_row = device, None, False, False
    state.soft, state.style, state.begun, state.last = False, "", False, 0


def _dedent(state: ReadSoFar, line: PageLine) -> None:
    """Take the heading's joint or fuse away from a line that begins further to the left than its own."""
    begins = line.tokens[0].start if line.tokens else 0
    state.indent = begins if state.indent is None else state.indent
    if begins < state.indent:
        state.hub = state.scene.hub = None


def _answered(state: ReadSoFar, line: PageLine, meant: str) -> None:
    wires = wires_of(meant, line.number)
    if meant and not wires:
        return read_statements(state, replace(line))
    state.exact += [(len(state.lines), wire) for wire in wires]
    state.lines.append(NotedLine(line.number, line.text.strip(), Kind.WIRES if wires else Kind.REMARK))
    state.above = line.tokens
    return None


def finished(state: ReadSoFar) -> Notes:
    """The wires of all lines, each point with one spelling; lines whose wires cannot be are unread."""
    doubts = {line: (Ask.CAVITY, pin) for line, pin in begun_again(state.pinned).items()}
    doubts |= {line: (Ask.PUT_RIGHT, str(by)) for line, by in put_right(state.page).items()}
    lines, wires, look = finish(state.lines, state.joints, state.exact, state.page.names, made, doubts)
    lines, wires, sized = with_size(lines, wires)
    look = [*sized, *look]
    cavities = _cavities(state, wires)
    changes = tuple(change for line in lines for change in line.changes)
    for short, long in state.page.names.taken.items():
        first = next(
            (line.number for line in lines if re.search(rf"(?i)\b{re.escape(short)}\b", line.text)), 0
        )
        state.look.append(LookAt(first, ToLookAt.TAKEN_FOR, (short, long)))
    look += _may_be_one(wires)
    return Notes(tuple(lines), tuple(wires), cavities, changes, (*state.look, *look))


def _may_be_one(wires: Sequence[NotedWire]) -> list[LookAt]:
    """Names that may be one device under two spellings: `box` where there is a `joint box` too."""
    devices = {point.rpartition(":")[0] or point for wire in wires for point in (wire.start, wire.end)}
    written = {device: [trade.long_form(word) for word in device.split("_")] for device in devices}
    found = []
    for short, own in sorted(written.items()):
        longer = [
            d for d, words in sorted(written.items()) if len(words) > len(own) and words[-len(own) :] == own
        ]
        if longer and trade.noun_sort(own[-1]) in ("load", "contact") and len(longer) < 4:
            found.append(LookAt(0, ToLookAt.MAY_BE_ONE, (short, *longer)))
    return found


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
