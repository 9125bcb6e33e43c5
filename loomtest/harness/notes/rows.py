"""A line as a row below a heading, as statements, or as a change of connector."""

from __future__ import annotations

import re
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.cavities import is_pin
from loomtest.harness.notes.cells import (
    like_a_colour,
    rows_in_line,
    said_empty,
    says_empty,
    sentences,
    through_a_fuse,
    with_letters,
)
from loomtest.harness.notes.clauses import bare_clause, clauses
from loomtest.harness.notes.covered import left_over
from loomtest.harness.notes.credible import check, is_credible
from loomtest.harness.notes.crossed import crossed
from loomtest.harness.notes.doubt import doubtful, undoubted
from loomtest.harness.notes.heads import indent_of, leave_topic, with_heads
from loomtest.harness.notes.inparts import independent, words_of
from loomtest.harness.notes.items import JOINS, items_of
from loomtest.harness.notes.meaning import Ask, Joint, RemarkError, Surroundings, UnsureError
from loomtest.harness.notes.mentions import Mention, mention_of
from loomtest.harness.notes.parts import parts_left_in
from loomtest.harness.notes.pinned import row_of
from loomtest.harness.notes.result import Kind, LookAt, ToLookAt
from loomtest.harness.notes.roles import PageLine
from loomtest.harness.notes.scan import Token
from loomtest.harness.notes.short import spelled_out
from loomtest.harness.notes.sofar import Doubt, LineFound, ReadSoFar
from loomtest.harness.notes.statement import read_statement
from loomtest.harness.notes.straight import straight_through
from loomtest.harness.notes.subject import first_named, introduced, topic_of, with_subject
from loomtest.harness.notes.tablerow import read_row
from loomtest.harness.notes.twosided import read_connectors, read_sides

_MEASURED = re.compile(
    r"(?i)\b(?:measured|reads?|reading|checked|tested)\b.*\d\s*(?:[kM]?\s?ohms?|[kM]?Ω|v(?:olts?)?)\b"
)
_AS_ANOTHER = re.compile(r"(?i)\b(?:as|like) (?:no\.? ?)?\d{1,3}\b")  # `as 4, but on the right`
_CHANGE = re.compile(
    r"(?:old\s+)?([A-Za-z]?\d{1,3}|[A-Z])\s*(?:[-=]*>|=|→|to)\s*(?:new\s+)?([A-Za-z]?\d{1,3}|[A-Z])(?!\w)",
    re.IGNORECASE,
)


def read_line(state: ReadSoFar, line: PageLine, tokens: list[Token]) -> LineFound:
    """What a line makes. Raises UnsureError or RemarkError where it makes nothing."""
    found = _as_a_whole(state, line, tokens)
    if found is not None:
        return found
    found = LineFound()
    scene = state.scene
    rest = tokens
    scene.pins = ()
    indent = indent_of(line)
    pins: list[Mention] = []
    pinned = row_of(state, tokens)
    if pinned is not None:
        pins, rest = pinned
        found.pins = tuple(pins)
        state.begun = True
        state.last = int(pins[-1].terminal) if pins[-1].terminal.isdigit() else 0
        if says_empty(line.text, rest):
            found.kind, found.empty = Kind.EMPTY, [state.page.names.point(pin) for pin in pins]
            return found
    else:
        leave_topic(scene, indent)
        scene.device = None if state.soft else scene.device
        if (said := _unpinned(state, line, tokens)) is not None:
            return said
    if pins and _AS_ANOTHER.search(line.text):
        raise UnsureError(Ask.DITTO)
    if pins and scene.fuse_row:
        _one_name_of_two(state, rest)
    if pins and scene.other is None:
        rest = with_letters(rest, state.page.letters)
    about = [item.mention for item in items_of(tokens, state.page.names, {}) if item.mention]
    about += topic_of(tokens)
    statements = through_a_fuse(sentences(rest, bool(pins)))
    if not pins:
        statements = _without_empties(state, line, with_heads(statements, scene, indent), found)
    found.joints, found.doubts = _joints(state, line, statements, pins, about)
    if not scene.meant:
        state.near += [
            end for joint in found.joints for end in (joint.start, joint.end) if len(end.words) > 1
        ]
        check(found.joints, state.page.names)
    dead = _DEAD.search(line.text) or _AS_OR_WAS.search(line.text) or _NO_WIRE.search(line.text)
    if dead and scene.meant != "note":
        raise UnsureError(Ask.SEVERAL_MEANINGS, dead[dead.lastindex or 0])
    found.look = _to_look_at(line, rest, found.joints)
    return found


def _as_a_whole(state: ReadSoFar, line: PageLine, tokens: list[Token]) -> LineFound | None:
    """A line that is told by its whole form: a change, a table's row, a part, a cable; None for any other."""
    if changes := _changes(state, line):
        return LineFound(Kind.CHANGE, changes=changes)
    names = state.page.names
    if state.row is not None:
        found = read_row(state, line, state.row)
        check(found.joints, names)
        return found
    sides = read_sides(state, line, tokens) or read_connectors(state, line, tokens)
    if sides is not None:
        if not state.scene.meant:
            check(sides.joints, names)
        return sides
    if listed := crossed(line.text, tokens, names):
        return LineFound(joints=listed)
    if _MEASURED.search(line.text):
        raise RemarkError
    parts = parts_left_in(line.text, tokens, state.page) or straight_through(line.text, tokens, names)
    return LineFound(joints=parts) if parts else None


def _without_empties(
    state: ReadSoFar, line: PageLine, statements: list[list[Token]], found: LineFound
) -> list[list[Token]]:
    """The statements but those that say a cavity empty: `CDI: 5 black to coil. 6 has nothing`."""
    topic, kept = state.scene.topic, list[list[Token]]()
    for statement in statements:
        said = [token for token in statement if token.sort != "gap"]
        rest = said[2:] if len(said) > 2 and said[1].text.casefold() in ("has", "is") else said[1:]
        if topic is None or len(statements) < 2 or not rest or not is_pin(said[0], strict=True):
            kept.append(statement)
        elif says_empty(line.text[: rest[-1].end], rest):
            found.empty.append(state.page.names.point(replace(topic, terminal=said[0].text)))
        else:
            kept.append(statement)
    return kept


def _one_name_of_two(state: ReadSoFar, rest: list[Token]) -> None:
    """A row of a fuse block with a name alone, where the rows above say what it is for and where it goes."""
    if any(token.sort in (*JOINS, "dash") for token in rest):
        state.joined += 1
    elif state.joined > 1 and state.scene.meant != "each" and not any(t.sort == "colour" for t in rest):
        words = [token.text for token in rest if token.sort in ("word", "number")]
        raise UnsureError(Ask.SEVERAL_MEANINGS, " ".join(words))


def _unpinned(state: ReadSoFar, line: PageLine, tokens: list[Token]) -> LineFound | None:
    """What a line that begins with no cavity says of cavities: that they are empty, or a wire of each."""
    empty = said_empty(state.page.names, tokens, line.text)
    topic = state.scene.topic if state.scene.topic_indent is not None else None
    pin = topic is not None and len(tokens) > 1 and is_pin(tokens[0], strict=True)
    if (
        topic is not None and pin and says_empty(line.text, tokens[1:])
    ):  # `   6 nothing` below `fuse panel: …`
        empty = [state.page.names.point(replace(topic, terminal=tokens[0].text))]
    if not empty and (inline := rows_in_line(tokens, state.scene)):
        return _rows_of_line(state, line, inline)
    return LineFound(Kind.EMPTY, empty=empty) if empty else None


def _joints(
    state: ReadSoFar, line: PageLine, statements: list[list[Token]], pins: list[Mention], about: list[Mention]
) -> tuple[list[Joint], list[Doubt]]:
    """The wires of the statements of a line, and the parts that are in doubt where the rest holds without.

    Raises RemarkError where none of them makes a wire, UnsureError where the doubt is one of the whole line.
    """
    scene, read = state.scene, list[tuple[int, list[Token]]]()
    scene.here = None
    found: list[Joint] = []
    left_out: list[tuple[int, list[Token]]] = []
    doubts: list[Doubt] = []
    wanted: list[Joint] = []  # with their short names spelled out
    for index, written in enumerate(statements):
        also = written[0].text.casefold() == "also"
        scene.pins = tuple(pins) if not index or also else ()
        unsure = doubtful(words_of(written, line), written) if state.parting else ""
        statement = with_subject(undoubted(written) if unsure else written, scene)
        try:
            own = _of_statement(state, statement, found, bool(index), bool(pins))
            found += own
            if not scene.meant:
                if lost := left_over(statement, own):
                    raise UnsureError(Ask.SEVERAL_MEANINGS, lost)
                own = spelled_out(own, scene.names, about, state.near)
                check(own, scene.names)
            if unsure:
                raise UnsureError(Ask.WRITER_UNSURE, unsure)
            wanted += own if state.only in (None, index) else []
            read.append((index, statement))
        except RemarkError:
            if unsure:  # a doubt that stands by itself is one of the whole line
                raise UnsureError(Ask.WRITER_UNSURE, unsure) from None
            left_out.append((index, statement))
        except UnsureError as error:
            if state.only == index:
                raise
            why, at = (Ask.WRITER_UNSURE, unsure) if unsure else (error.why, error.about)
            doubts.append(Doubt(index, tuple(written), why, at))
    scene.pins = ()
    if state.only is not None and wanted:
        return wanted, []
    if state.only is not None or not (read or doubts):
        raise RemarkError
    doubts += [
        doubt for place, words in left_out if (doubt := _of_one_end(place, words, line, scene)) is not None
    ]
    if doubts and (scene.meant or not read or not independent(doubts, read, scene)):
        raise UnsureError(doubts[0].why, doubts[0].about)
    return wanted, doubts


def _of_statement(
    state: ReadSoFar, statement: list[Token], found: list[Joint], later: bool, pinned: bool
) -> list[Joint]:
    """The wires of one statement of a line, behind those that were `found` in it before."""
    scene = state.scene
    own = scene.device
    topic = introduced(statement, scene)
    if topic is not None and not any(t.sort in JOINS for t in statement):
        scene.topic, scene.topic_indent = topic, None
    if later and not pinned and found and mention_of(statement[:1]) is not None:
        scene.device = found[0].start  # `plug pin 1 to lamp; pin 4 to horn`: of the same plug
        scene.topic_end = found[-1].end  # `regulator D to dynamo D. F to F`
    if later and found and not scene.pins and _goes_on(statement):
        scene.hub = found[-1].end
    try:
        joints = _of_clauses([statement] if scene.pins else clauses(statement, scene), scene)
        goes_on = bool(found and joints) and joints[0].start == replace(
            found[-1].end, start=joints[0].start.start
        )
        if goes_on or (scene.hub is not None and scene.hub is not state.hub):
            joints = [_same_colour(joint, found[-1]) for joint in joints]
        return joints
    finally:
        scene.device = own
        scene.subject = first_named(statement, scene) or scene.subject
        scene.hub = state.hub
        scene.topic_end = None


def _of_clauses(parts: list[list[Token]], scene: Surroundings) -> list[Joint]:
    """The wires of the clauses of a statement. Raises RemarkError where none of them makes one."""
    found: list[Joint] = []
    remarks = 0
    for part in parts:
        try:
            found += read_statement(part, scene)
        except RemarkError:
            remarks += 1
        if found and not scene.pins:
            scene.last = scene.here = found[-1]
    if remarks == len(parts):
        raise RemarkError
    return found


def _of_one_end(place: int, statement: list[Token], line: PageLine, scene: Surroundings) -> Doubt | None:
    """The doubt of a statement that made no wire, and names points all the same."""
    ends = [item.mention for item in items_of(statement, scene.names, scene.letters) if item.mention]
    nouns = sum(trade.is_noun(token.text) for token in statement)
    begun = bare_clause(statement, scene)
    plain = nouns > 1 and len(statement) < 7 and not any(trade.is_odd(t.text) for t in statement)
    if begun and not says_empty(line.text[: begun[-1].end], begun[2:]):
        return Doubt(place, tuple(statement), Ask.ONE_END, begun[0].text)
    bare = bool(ends) and not ends[0].words and any(token.sort == "colour" for token in statement)
    if plain or bare or any(end.words and end.terminal and is_credible(end, scene.names) for end in ends):
        named = [" ".join(end.words) or end.terminal for end in ends]
        return Doubt(place, tuple(statement), Ask.ONE_END, named[0] if named else statement[0].text)
    return None


def _same_colour(joint: Joint, before: Joint) -> Joint:
    """`green to the LH lamp; from there to the RH lamp`: in the same colour, where no other is said."""
    colour = before.said.get("colour", "")
    return (
        joint
        if not colour or "colour" in joint.said
        else replace(joint, said={**joint.said, "colour": colour})
    )


# `RP7 -> RP16: spare, capped off`: a wire that ends nowhere, or cavities without one
_NO_WIRE = re.compile(
    r"(?i)[,;(–-]\s*((?:so |there is |has )?no (?:wires?|cable|lead)(?: there| to it)?)\W*$"
)
_AS_OR_WAS = re.compile(
    r"(?i)\b(same as)\b|\b(?=(?:was|were|used to be) (?:to|on|at|from|in)\b[^.;]*\b(now)\b)"
)
_DEAD = re.compile(
    r"(?i)(?:[:,;(–-]|\bbut)\s*"
    r"(spare|unused|not (?:used|connected|fitted)(?: yet)?|capped(?: off)?|cut off|disconnected|dead)"
    r"\s*[,.;)]?(?:$|\s*[,(])"
)
_ON = re.compile(r"(?i)(?:and )?(?:then|thence|from there|bridge|jump|loop|link|carries|continues|on to)")


def _goes_on(statement: list[Token]) -> bool:
    """`…; from there to the horn`, `…; bridged to JB3`: from the last end on."""
    first = next((token for token in statement if token.sort not in ("gap", "and")), None)
    return first is not None and first.sort in ("to", "word") and bool(_ON.match(first.text))


def _to_look_at(line: PageLine, tokens: list[Token], joints: list[Joint]) -> list[LookAt]:
    """What was taken for a size or left out as a colour."""
    found = []
    for token in tokens:
        if token.sort == "size?":
            found.append(LookAt(line.number, ToLookAt.SIZE, (token.text, token.value)))
        elif token.sort == "letters":
            found.append(LookAt(line.number, ToLookAt.COLOUR, (token.text,)))
    for joint in joints[:1]:
        odd = [note for note in joint.notes if (len(note) == 1 and note.isalpha()) or like_a_colour(note)]
        found += [LookAt(line.number, ToLookAt.COLOUR, (note,)) for note in odd]
    if re.search(r"\d\s*\?", line.text):
        found.append(LookAt(line.number, ToLookAt.SIZE, ("?", "")))
    return found


def _rows_of_line(state: ReadSoFar, line: PageLine, inline: list[tuple[Mention, list[Token]]]) -> LineFound:
    """`tail plug: pin 1 yellow to LH lamp, pin 3 frame`: each cavity as a row of its own."""
    found, scene = LineFound(), state.scene
    for pin, rest in inline:
        if not rest or says_empty(line.text[: rest[-1].end], rest):
            found.empty.append(state.page.names.point(pin))
            continue
        scene.pins = (pin,)
        try:
            found.joints += read_statement(rest, scene)
        except RemarkError:
            raise UnsureError(Ask.ONE_END, state.page.names.point(pin)) from None
    if not scene.meant:
        check(found.joints, state.page.names)
    scene.pins = ()
    scene.topic = Mention(inline[0][0].words)
    scene.topic_indent = indent_of(line)
    found.kind = Kind.WIRES if found.joints else Kind.EMPTY
    return found


def _changes(state: ReadSoFar, line: PageLine) -> list[tuple[str, str]]:
    """`old 1 -> new 4`, `1->A 2->B`: a change of connector and no wire."""
    text = line.text.strip()
    said = re.search(r"(?i)\bold\b.*\bnew\b|\breplaced (?:by|with)\b", text)
    if not said and not state.changing:
        return []
    pairs = _CHANGE.findall(re.sub(r"(?i)^.*?:", "", text) if ":" in text else text)
    if not pairs and said and said[0].casefold().startswith("replaced"):
        raise UnsureError(Ask.SEVERAL_MEANINGS, said[0])
    if not pairs or (not said and not re.match(r"(?i)\s*(?:old\s+)?[A-Z]?\d*\s*(?:[-=]*>|=)", text)):
        return []
    return [(f"old:{old}", f"new:{new}") for old, new in pairs]
