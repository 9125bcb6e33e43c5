"""A line that is neither heading nor rule: as a row or as statements, or as a doubt with its readings."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from loomtest.harness.notes import trade
from loomtest.harness.notes.cells import is_title, wire_name
from loomtest.harness.notes.credible import is_credible
from loomtest.harness.notes.ditto import named_again, written_out
from loomtest.harness.notes.doubt import (
    MOST_READINGS,
    WAYS,
    doubtful,
    in_words,
    meanings,
    undoubted,
)
from loomtest.harness.notes.heads import take_topic
from loomtest.harness.notes.inparts import words_of
from loomtest.harness.notes.items import JOINS, items_of
from loomtest.harness.notes.meaning import Ask, Joint, RemarkError, UnsureError
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.notation import NotedWire, sound, wires_of
from loomtest.harness.notes.pinned import pins_known, row_of
from loomtest.harness.notes.restarts import PinnedRow
from loomtest.harness.notes.result import Kind, NotedLine
from loomtest.harness.notes.roles import PageLine
from loomtest.harness.notes.rows import read_line
from loomtest.harness.notes.scan import Token
from loomtest.harness.notes.sofar import Doubt, LineFound, ReadSoFar
from loomtest.harness.notes.tablerow import table_cells
from loomtest.harness.points import folded, read_point

# `console plug (12) -> roof plug (16)`: what the lines below are about
_BOTH_COUNTED = re.compile(r"\(\d+(?:[ -](?:way|pin)s?)?\)\W+\D+\(\d+(?:[ -](?:way|pin)s?)?\)$")


_SEE = re.compile(r"(?i)\bsee (?:above|below|next)\b")


def read_statements(state: ReadSoFar, line: PageLine) -> None:
    """Read a line as a row or as statements; what raises a doubt stands unread with its readings."""
    text = line.text.strip()
    try:
        tokens = _spelled(state, line)
    except UnsureError as error:
        state.lines.append(NotedLine(line.number, text, Kind.UNREAD, why=error.why, about=error.about))
        return
    if _BOTH_COUNTED.search(text) or (line.number == state.page.title and is_title(state.page, tokens)):
        state.lines.append(NotedLine(line.number, text, Kind.REMARK))
        return
    wire, tokens = wire_name(tokens)
    wire = wire or line.wire
    asked = doubtful(text, tokens)
    try:
        parted = _in_parts(state, line, tokens) if asked else None
        found = parted or read_line(state, line, undoubted(tokens) if asked else tokens)
    except RemarkError:
        take_topic(state.scene, line, tokens)
        state.lines.append(
            _of_which(state, line, tokens) if line.orphan else _no_wire(state, line, tokens, asked)
        )
        return
    except UnsureError as error:
        state.above, state.scene.last = tokens, None
        why, about = (Ask.WRITER_UNSURE, asked) if asked else (error.why, error.about)
        if line.orphan and why in (Ask.ONE_END, Ask.CAVITY):
            state.lines.append(_of_which(state, line, tokens))
            return
        state.lines.append(_unread(state, line, tokens, why, about))
        return
    state.above = tokens
    if asked and found.kind is not Kind.REMARK and parted is None:
        state.lines.append(_unread(state, line, tokens, Ask.WRITER_UNSURE, asked))
        return
    if _SEE.search(text) and (pins_known(state, tokens) or not any(j.end.terminal for j in found.joints)):
        state.lines.append(NotedLine(line.number, text, Kind.AGAIN))
        return
    if wire and len(found.joints) == 1:
        found.joints = [replace(found.joints[0], said={**found.joints[0].said, "wire": wire})]
    state.empty += found.empty
    state.joints += [(len(state.lines), joint) for joint in found.joints]
    state.look += found.look
    if found.pins:
        names = state.page.names
        pins = tuple(pin.terminal for pin in found.pins)
        row = PinnedRow(line.number, state.heading, names.alias(found.pins[0].key), pins)
        state.pinned.append(row)
    ends = [end.key for joint in found.joints for end in (joint.start, joint.end)]
    state.page.names.ended.update(map(state.page.names.alias, ends))
    state.lines.append(
        NotedLine(line.number, text, found.kind, empty=tuple(found.empty), changes=tuple(found.changes))
    )
    for doubt in found.doubts:
        _ask_about(state, line, tokens, doubt)


def _in_parts(state: ReadSoFar, line: PageLine, tokens: list[Token]) -> LineFound | None:
    """A line in which the writer is not sure of one statement alone; None for any other."""
    behind = tokens[-1:] and (tokens[-1].sort == "note" or [t.sort for t in tokens[-2:]] == ["gap", "quest"])
    if behind or not any(token.sort in ("stop", "semi") for token in tokens[:-1]):
        return None  # a mark behind all of them is of the whole line
    kept = _kept(state)
    state.parting = True
    try:
        found = read_line(state, line, tokens)
    except (RemarkError, UnsureError):
        found = LineFound()
    state.parting = False
    if not found.doubts:
        _restore(state, kept)
        return None
    return found


def _ask_about(state: ReadSoFar, line: PageLine, tokens: list[Token], doubt: Doubt) -> None:
    """Ask about a part of a line whose rest was read, or take its answer."""
    asked = NotedLine(
        line.number,
        line.text.strip(),
        Kind.UNREAD,
        why=doubt.why,
        about=doubt.about,
        part=words_of(doubt.tokens, line),
    )
    if asked.asked in state.answers:
        wires = wires_of(state.answers[asked.asked], line.number)
        state.exact += [(len(state.lines), wire) for wire in wires]
        asked = replace(asked, kind=Kind.WIRES if wires else Kind.REMARK, why=None, about="")
    else:
        asked = replace(asked, readings=_readings(state, line, tokens, doubt))
    state.lines.append(asked)


def _spelled(state: ReadSoFar, line: PageLine) -> list[Token]:
    """The words of a line, its ditto marks written out. Raises UnsureError where one stands for nothing."""
    if line.columns:
        state.columns, state.cells, state.apart = line.columns, [], False
    state.row = None
    state.row = table_cells(state, line)
    if state.row is not None:
        state.tabled.add(line.number)
        state.cells, state.apart, state.begun = state.row, False, True
        return [token for cell in state.row for token in cell]
    tokens = named_again(line.tokens)
    if any(token.sort == "ditto" for token in tokens):
        spelled = written_out(tokens, state.above)
        if spelled is None:
            raise UnsureError(Ask.DITTO)
        return spelled
    return tokens


def _unread(state: ReadSoFar, line: PageLine, tokens: list[Token], why: Ask, about: str = "") -> NotedLine:
    readings = _readings(state, line, tokens)
    return NotedLine(line.number, line.text.strip(), Kind.UNREAD, why=why, about=about, readings=readings)


def _of_which(state: ReadSoFar, line: PageLine, tokens: list[Token]) -> NotedLine:
    """A row whose connector the page does not name: as a cavity of each connector that it may be of."""
    names, kept, readings = state.page.names, _kept(state), dict[str, None]()
    for key in sorted(names.headed, key=lambda key: -names.first(key))[:MOST_READINGS]:
        state.scene.device, state.soft, state.style = Mention(names.spelled.get(key, (key,))), False, ""
        try:
            said = in_words(read_line(state, line, tokens).joints, line, names, made)
        except (RemarkError, UnsureError):
            said = ""
        finally:
            _restore(state, kept)
        readings |= {said: None} if said else {}
    text, found = line.text.strip(), tuple(readings)
    return NotedLine(line.number, text, Kind.UNREAD, why=Ask.CAVITY, about=line.orphan, readings=found)


def _no_wire(state: ReadSoFar, line: PageLine, tokens: list[Token], asked: str) -> NotedLine:
    """A line that makes no statement: a remark, unless it has the parts of a wire."""
    text = line.text.strip()
    if asked:
        said = any(token.sort in (*JOINS, "colon") for token in tokens)
        if said or any(key in _forms(tokens) for key in state.page.names.seen):
            return NotedLine(line.number, text, Kind.UNREAD, why=Ask.WRITER_UNSURE, about=asked)
    elif not text.endswith(":") and (_like_a_wire(state, tokens) or _like_another(state, text, tokens)):
        return _unread(state, line, tokens, Ask.SEVERAL_MEANINGS)
    return NotedLine(line.number, text, Kind.REMARK)


_SAID_OF_WIRES = re.compile(
    r"(?i)\b(?:same as|likewise|wired (?:as|like)|linked|commoned|bridged|strapped)\b"
)


def _like_another(state: ReadSoFar, text: str, tokens: list[Token]) -> bool:
    """`stern lamp same as port lamp`: it is wired like another device, which is to be written out."""
    if not _SAID_OF_WIRES.search(text):
        return False
    items = items_of(tokens, state.page.names, state.page.letters)
    return any(i.mention is not None and is_credible(i.mention, state.page.names) for i in items)


def _forms(tokens: Sequence[Token]) -> set[str]:
    """The words of a line, written out: to see whether it speaks of a device of the page."""
    return {trade.long_form(token.text) for token in tokens if token.sort == "word"}


def _like_a_wire(state: ReadSoFar, tokens: list[Token]) -> bool:
    """Whether words have a wire's parts: a colour and a point, or two points and a sign of joining."""
    names = state.page.names
    items = items_of(tokens, names, state.page.letters)
    points = [i.mention for i in items if i.mention is not None and is_credible(i.mention, names)]
    sure = [m for m in points if m.terminal or names.stands(m.key) > 1]
    colour = any(item.sort == "about" and item.value == "colour" for item in items)
    joins = any(item.sort == "via" or (item.sort == "join" and item.value != "dash") for item in items)
    named = [m for m in points if m.sort]
    nouns = {trade.long_form(t.text) for t in tokens if t.sort == "word" and trade.is_noun(t.text)}
    unclear = colour and len(nouns) > 1 and not _told(tokens)
    return unclear or (colour and (bool(sure) or len(named) > 1)) or (len(sure) > 1 and joins)


def _told(tokens: Sequence[Token]) -> bool:
    """Whether words are a sentence of somebody's doing, or of what is not so."""
    return any(token.text.casefold() in trade.words("english", "turning") for token in tokens)


Kept = tuple[Any, ...]


def _kept(state: ReadSoFar) -> Kept:
    scene = state.scene
    spoken = scene.subject, scene.topic, scene.topic_indent, scene.last
    return scene.device, scene.other, scene.columns, state.soft, state.style, spoken


def _restore(state: ReadSoFar, kept: Kept) -> None:
    scene = state.scene
    scene.meant, scene.pins = "", ()
    scene.device, scene.other, scene.columns, state.soft, state.style, spoken = kept
    scene.subject, scene.topic, scene.topic_indent, scene.last = spoken


def _readings(
    state: ReadSoFar, line: PageLine, tokens: list[Token], doubt: Doubt | None = None
) -> tuple[str, ...]:
    """The ways a doubtful line, or its part in doubt, can be meant, in our notation, the likeliest first."""
    scene, found = state.scene, dict[str, None]()
    kept = _kept(state)
    part = list(doubt.tokens) if doubt is not None else tokens
    before = [token for token in tokens if token.end <= part[0].start] if doubt is not None else []
    behind = [token for token in tokens if token.start >= part[-1].end] if doubt is not None else []
    state.only = doubt.place if doubt is not None else None
    for meant in meanings(part):
        ways = [""]
        for way in ways:  # a doubt at the first way adds those that can settle it
            scene.meant = way
            try:
                joints = read_line(state, line, [*before, *meant, *behind]).joints
            except RemarkError:
                continue
            except UnsureError as error:
                ways += [] if way else WAYS.get(error.why, ())
                continue
            finally:
                _restore(state, kept)
            if said := in_words(joints, line, state.page.names, made):
                found[said] = None
    state.only = None
    pinned = doubt is None or not doubt.place
    if not found and (said := in_words(_by_its_points(state, part, pinned), line, state.page.names, made)):
        found[said] = None
    return tuple(found)[:MOST_READINGS]


def _by_its_points(state: ReadSoFar, tokens: list[Token], begins: bool) -> list[Joint]:
    """The wires that a line may mean: from its first point, or its cavity, to the others."""
    names = state.page.names
    pinned = row_of(state, tokens) if begins and not state.soft else None
    items = items_of(pinned[1] if pinned else tokens, names, state.page.letters)
    ends = [i.mention for i in items if i.mention is not None and is_credible(i.mention, names)]
    points = [*(pinned[0] if pinned else []), *ends]
    colours = {i.token.value for i in items if i.token is not None and i.token.sort == "colour"}
    said = {"colour": colours.pop()} if len(colours) == 1 else {}
    return [Joint(points[0], end, said) for end in points[1:4]] if points else []


def made(joint: Joint, number: int, state_names: object) -> NotedWire:
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
