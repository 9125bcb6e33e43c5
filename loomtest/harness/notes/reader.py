"""Notes as people write them, to wires: the one function that the terminal and the page call.

    notes = read_notes(text, answers)

Theory of operation. A page is read twice. The page pass finds what the lines are (headings, tables, colour
keys) and what things are called. The statement pass reads each line as rows and statements with those names
at hand. What has no one meaning is a doubt: it stands in `unread` with the ways it can be meant, and an
answer to it, kept beside the notes, is used when the page is read again. The grammar is ours, over tokens:
what a word is depends on the page (its names, columns and colour letters), which the general parser
libraries, made for one fixed lexicon, answer with every ambiguity at once and a hundredth of the speed.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from itertools import pairwise
from typing import Any

from loomtest.harness.colours import IEC_60757
from loomtest.harness.notes import trade
from loomtest.harness.notes.ditto import written_out
from loomtest.harness.notes.doubt import doubtful, readings_of, undoubted
from loomtest.harness.notes.finish import finish
from loomtest.harness.notes.items import JOINS, items_of
from loomtest.harness.notes.names import Mention, mention_of
from loomtest.harness.notes.notation import NotedWire, read_notation, sound
from loomtest.harness.notes.page import Page, PageLine, Role, is_row, pins_of, read_page
from loomtest.harness.notes.parts import part_left_in
from loomtest.harness.notes.result import Kind, Look, LookAt, NotedLine, Notes
from loomtest.harness.notes.statement import Joint, RemarkError, Scene, UnsureError, Why, read_statement
from loomtest.harness.notes.tokens import Token
from loomtest.harness.points import folded, natural, read_point

LONGEST_LINE = 400
MOST_LINES = 100_000


@dataclass
class _State:
    """What was read so far."""

    page: Page
    answers: Mapping[str, str]
    scene: Scene
    lines: list[NotedLine] = field(default_factory=list)
    joints: list[tuple[int, Joint]] = field(default_factory=list)  # (index into lines, joint)
    exact: list[tuple[int, NotedWire]] = field(default_factory=list)
    above: list[Token] = field(default_factory=list)
    columns: list[tuple[str, int, int]] = field(default_factory=list)
    soft: bool = False
    style: str = ""  # how the block's cavities are written: number, letter or word
    changing: bool = False
    look: list[LookAt] = field(default_factory=list)
    empty: list[str] = field(default_factory=list)


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
    state = _State(page, answers or {}, Scene(page.names, page.letters, gauge=page.gauge))
    for page_line, (number, whole) in zip(page.lines, numbered, strict=True):
        if len(whole) > LONGEST_LINE or number > MOST_LINES:
            state.lines.append(NotedLine(number, whole.strip()[:LONGEST_LINE], Kind.UNREAD, why=Why.TOO_LONG))
        elif whole.strip():
            _line(state, page_line)
        else:
            state.soft, state.columns = True, []
            state.above = []
    return _finished(state)


_SIMPLE = {Role.RULE: Kind.RULE, Role.COMMENT: Kind.COMMENT, Role.KEY: Kind.KEY}


def _line(state: _State, line: PageLine) -> None:
    text = line.text.strip()
    scene = state.scene
    if answer_key(text) in state.answers:
        _answered(state, line, state.answers[answer_key(text)])
        return
    if line.role in _SIMPLE:
        state.lines.append(NotedLine(line.number, text, _SIMPLE[line.role]))
        return
    if line.role in (Role.HEADING, Role.TABLE, Role.CHANGE_HEADING):
        state.style = ""
        state.soft, state.changing = False, line.role is Role.CHANGE_HEADING
        scene.device, scene.other, scene.star = line.device, line.other, line.star
        scene.fuse_row = bool(line.device and re.search(r"\b(?:fuse|breaker)\b", line.device.key))
        scene.columns = line.role is Role.HEADING and _has_end_columns(state.page, line)
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


def _answered(state: _State, line: PageLine, meant: str) -> None:
    wires = [wire for item in meant.split("; ") if (wire := read_notation(item, line.number)) is not None]
    if meant and not wires:
        return _statements(state, replace(line))
    state.exact += [(len(state.lines), wire) for wire in wires]
    state.lines.append(NotedLine(line.number, line.text.strip(), Kind.WIRES if wires else Kind.REMARK))
    state.above = line.tokens
    return None


def _has_end_columns(page: Page, heading: PageLine) -> bool:
    """Whether the second names in the rows of a block are ends: most have a terminal or stand elsewhere."""
    names, sure, all_of = page.names, 0, 0
    begun = False
    for line in page.lines:
        if line.number <= heading.number:
            continue
        if line.role is not Role.LINE:
            if begun:
                break
            continue
        begun = True
        if not is_row(line.tokens):
            continue
        _, rest = pins_of(line.tokens)
        gap, ends = False, 0
        for item in items_of(rest, names, page.letters):
            if item.sort == "list" and item.value == "gap":
                gap = True
            elif item.sort == "end" and item.mention:
                if gap and ends:
                    all_of += 1
                    sure += bool(item.mention.terminal) or bool(
                        item.mention.sort and trade.is_ground(item.mention.key)
                    )
                ends, gap = ends + 1, False
            elif item.sort != "about":
                gap = False
    return all_of > 0 and sure * 2 >= all_of


def _statements(state: _State, line: PageLine) -> None:
    """Read a line as a row or as statements; what raises a doubt stands unread with its readings."""
    text, tokens = line.text.strip(), list(line.tokens)
    if any(token.sort == "ditto" for token in tokens):
        spelled = written_out(tokens, state.above)
        if spelled is None:
            state.lines.append(NotedLine(line.number, text, Kind.UNREAD, why=Why.DITTO))
            return
        tokens = spelled
    wire, tokens = _wire_name(tokens)
    asked = doubtful(text, tokens)
    try:
        found = _read(state, line, undoubted(tokens) if asked else tokens)
    except RemarkError:
        if asked and any(token.sort in (*JOINS, "colon") for token in tokens):
            state.lines.append(NotedLine(line.number, text, Kind.UNREAD, why=Why.WRITER_UNSURE, about=asked))
        else:
            state.lines.append(NotedLine(line.number, text, Kind.REMARK))
        return
    except UnsureError as error:
        why, about = (Why.WRITER_UNSURE, asked) if asked else (error.why, error.about)
        state.lines.append(NotedLine(line.number, text, Kind.UNREAD, why=why, about=about))
        return
    state.above = tokens
    if asked and found.kind is not Kind.REMARK:
        readings = readings_of(found.joints, line, state.page.names, _made)
        state.lines.append(
            NotedLine(line.number, text, Kind.UNREAD, why=Why.WRITER_UNSURE, about=asked, readings=readings)
        )
        return
    if re.search(r"(?i)\bsee (?:above|below)\b", text) and scene_pins_known(state, tokens):
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


def scene_pins_known(state: _State, tokens: list[Token]) -> bool:
    """Whether the row's cavity stands in another line too, to which `see above` points."""
    pinned = _row(state, tokens)
    if pinned is None:
        return False
    return all(state.page.names.points[state.page.names.point(pin).casefold()] > 1 for pin in pinned[0])


def _wire_name(tokens: list[Token]) -> tuple[str, list[Token]]:
    """`W12: X1 10 to X4 10`, `W3 X1 1 to X4 3`: the wire's own name, and the rest."""
    first = 1 if tokens and tokens[0].text.casefold() == "wire" and len(tokens) > 3 else 0
    if len(tokens) < first + 4 or not re.fullmatch(r"[Ww]\d{1,4}[a-z]?", tokens[first].text):
        return "", tokens
    after = tokens[first + 1]
    if after.sort in ("colon", "stop"):
        return tokens[first].text, tokens[first + 2 :]
    if after.sort == "word" and re.fullmatch(r"[A-Za-z]{1,4}\d{1,3}(?:-\d+)?", after.text):
        return tokens[first].text, tokens[first + 1 :]
    return "", tokens


@dataclass
class _Found:
    kind: Kind = Kind.WIRES
    joints: list[Joint] = field(default_factory=list)
    empty: list[str] = field(default_factory=list)
    changes: list[tuple[str, str]] = field(default_factory=list)
    look: list[LookAt] = field(default_factory=list)


_CHANGE = re.compile(
    r"(?:old\s+)?([A-Za-z]?\d{1,3}|[A-Z])\s*(?:[-=]*>|=|→|to)\s*(?:new\s+)?([A-Za-z]?\d{1,3}|[A-Z])(?!\w)",
    re.IGNORECASE,
)


def _read(state: _State, line: PageLine, tokens: list[Token]) -> _Found:
    found = _Found()
    if changes := _changes(state, line):
        found.kind, found.changes = Kind.CHANGE, changes
        return found
    if part := part_left_in(line.text, tokens, state.page.names):
        found.joints = [part]
        return found
    scene = state.scene
    rest = tokens
    scene.pins = ()
    pinned = _row(state, tokens)
    if pinned is not None:
        pins, rest = pinned
        if _says_empty(line.text, rest):
            found.kind = Kind.EMPTY
            found.empty = [state.page.names.point(pin) for pin in pins]
            return found
        scene.pins = tuple(pins)
    elif state.soft:
        scene.device = None
    if state.columns and pinned is None and (nothing := _empty_end(state, tokens, line)):
        found.kind, found.empty = Kind.EMPTY, [nothing]
        return found
    if state.columns and len(rest) > 1:
        rest = _table_row(state, rest, line)
    read = 0
    statements = _through_a_fuse(_sentences(rest, bool(pinned)))
    for index, statement in enumerate(statements):
        also = statement[0].text.casefold() == "also"
        scene.pins = tuple(pinned[0]) if pinned is not None and (not index or also) else ()
        try:
            found.joints += read_statement(statement, scene)
            read += 1
        except RemarkError:
            continue
    scene.pins = ()
    if not read:
        raise RemarkError
    for token in tokens:
        if token.sort == "size?":
            found.look.append(LookAt(line.number, Look.SIZE, (token.text, token.value)))
        elif token.sort == "letters":
            found.look.append(LookAt(line.number, Look.COLOUR, (token.text,)))
    for joint in found.joints[:1]:
        odd = [note for note in joint.notes if (len(note) == 1 and note.isalpha()) or _like_a_colour(note)]
        found.look += [LookAt(line.number, Look.COLOUR, (note,)) for note in odd]
    if re.search(r"\d\s*\?", line.text):
        found.look.append(LookAt(line.number, Look.SIZE, ("?", "")))
    return found


def _like_a_colour(word: str) -> bool:
    """Whether an unknown word is likely a misspelt colour (`rde`)."""
    if not word.isalpha() or len(word) > 8 or trade.is_noun(word) or trade.long_form(word) != word.casefold():
        return False
    return bool(get_close_matches(word.casefold(), list(IEC_60757.values()), 1, 0.6))


def _changes(state: _State, line: PageLine) -> list[tuple[str, str]]:
    """`old 1 -> new 4`, `1->A 2->B`: a change of connector and no wire."""
    text = line.text.strip()
    said = re.search(r"(?i)\bold\b.*\bnew\b", text)
    if not said and not state.changing:
        return []
    pairs = _CHANGE.findall(re.sub(r"(?i)^.*?:", "", text) if ":" in text else text)
    if not pairs or (not said and not re.match(r"(?i)\s*(?:old\s+)?[A-Z]?\d*\s*(?:[-=]*>|=)", text)):
        return []
    return [(f"old:{old}", f"new:{new}") for old, new in pairs]


def _row(state: _State, tokens: list[Token]) -> tuple[list[Mention], list[Token]] | None:
    """The pins of a row and the rest of it; None where the line is no row."""
    scene = state.scene
    if not tokens:
        return None
    first = tokens[0]
    hyphen = re.fullmatch(r"([A-Za-z]+\d*)-(\d{1,3})", first.text)
    if (
        hyphen
        and first.sort == "word"
        and len(tokens) > 1
        and tokens[1].sort in ("gap", "arrow")
        and not trade.is_noun(first.text)
    ):
        scene.device, scene.other, state.soft = Mention((hyphen[1],)), None, False
        scene.columns = False
        pins, rest = pins_of([replace(first, text=hyphen[2], sort="number"), *tokens[1:]])
        return [Mention(scene.device.words, pin) for pin in pins], _behind_the_pin(rest)
    span = _named_range(tokens)
    if span is not None:
        return span
    device = scene.device
    if device is None or not is_row(tokens):
        return None
    if state.soft and first.sort not in ("number", "dash", "hash"):
        return None
    if first.sort == "colour":
        return [Mention(device.words, first.text.replace(" ", "_").replace("/", "_"))], list(tokens)
    pins, rest = pins_of(tokens)
    long_word = first.sort == "word" and len(first.text) > 1 and first.text.isalpha()
    if long_word and state.style in ("number", "letter"):
        return None
    state.style = state.style or ("word" if long_word else "number" if first.sort != "word" else "letter")
    if (
        first.sort == "word"
        and len(first.text) > 1
        and first.text.isalpha()
        and _names_a_device(state, tokens)
    ):
        return None
    return [Mention(device.words, pin) for pin in pins], _behind_the_pin(rest)


def _behind_the_pin(rest: list[Token]) -> list[Token]:
    """A row without the sign behind its cavity; a dash alone, which says that it is empty, stays."""
    while rest and rest[0].sort in ("stop", "gap", "colon", "dash", "arrow", "back", "to", "from"):
        if rest[0].sort == "dash" and (len(rest) == 1 or rest[1].sort == "gap"):
            break
        rest = rest[1:]
    return rest


def _named_range(tokens: list[Token]) -> tuple[list[Mention], list[Token]] | None:
    """`P2-7 thru P2-9 not pinned`."""
    if len(tokens) < 4 or tokens[1].sort not in ("via", "arrow", "to", "dash"):
        return None
    first, last = (re.fullmatch(r"([A-Za-z]+\d*)-(\d{1,3})", tokens[i].text) for i in (0, 2))
    if (
        not first
        or not last
        or first[1] != last[1]
        or int(first[2]) >= int(last[2])
        or tokens[3].sort != "word"
    ):
        return None
    return [Mention((first[1],), str(n)) for n in range(int(first[2]), int(last[2]) + 1)], tokens[3:]


def _names_a_device(state: _State, tokens: list[Token]) -> bool:
    """`HORN - fuse 3` below a heading: another device of the page and no cavity of the heading's."""
    mention = Mention((tokens[0].text,))
    names = state.page.names
    if trade.long_form(tokens[0].text) in names.aliases:
        return True
    if len(tokens[0].text) < 4 or tokens[1].sort not in ("dash", "arrow"):
        return False
    return state.page.names.seen.get(state.page.names.alias(mention.key), 0) > 0 and bool(mention.sort)


_EMPTY_TAIL = re.compile(r"^[\s\-–.:=(]*(.*?)[\s.)!]*$")


def _says_empty(text: str, rest: list[Token]) -> bool:
    """Whether what stands behind the cavity says that it holds no wire."""
    words = text[rest[0].start :] if rest and rest[0].start < len(text) else ""
    match = _EMPTY_TAIL.match(re.sub(r"\([^()]*\)\s*$", "", words) or words)
    said = match[1].casefold() if match else ""
    if not said:
        return not any(token.sort in ("word", "number") for token in rest)
    if said.strip("- ") == "":
        return True
    phrases = trade.phrases("empty", "whole")
    first = re.split(r"[,;.]\s|\s[-–]\s", said)[0].strip()
    return (
        first in phrases
        or said in phrases
        or any(
            first.startswith(p + " ")
            for p in ("not used", "nothing in", "no wire", "is empty", "blank plug", "not fitted", "blank")
        )
    )


def _empty_end(state: _State, tokens: list[Token], line: PageLine) -> str:
    """The cavity of a from-to table whose other end is said to be empty."""
    cells = [cell.strip() for cell in re.split(r"\t|\||\s{2,}", line.text.strip()) if cell.strip()]
    if len(cells) < 2 or not _says_empty(cells[1], [Token("word", cells[1], cells[1], 0, len(cells[1]))]):
        return ""
    end = next((index for index, token in enumerate(tokens) if token.sort == "gap"), len(tokens))
    mention = mention_of(tokens[:end])
    return state.page.names.point(mention) if mention is not None and mention.terminal else ""


def _table_row(state: _State, rest: list[Token], line: PageLine) -> list[Token]:
    """The cells of a table's row as a statement: from, to, what is said; remarks apart."""
    sorts = [sort for sort, *_ in state.columns]
    if "pin" in sorts and not state.scene.pins:
        return rest
    cells: list[list[Token]] = [[]]
    for token in rest:
        if token.sort == "gap":
            cells += [[] for _ in range(max(1, token.text.count("\t") + token.text.count("|")))]
        else:
            cells[-1].append(token)
    if "\t" not in line.text and "|" not in line.text:
        cells = [cell for cell in cells if cell]
    roles = sorts[1:] if "pin" in sorts and sorts[0] == "pin" else sorts
    found: list[Token] = []
    end = 0
    for index, cell in enumerate(cells):
        role = roles[index] if index < len(roles) else ("note" if "to" in roles else "")
        if not cell or role == "wire":
            continue
        start = cell[0].start
        if role == "to" and "from" in roles:
            found.append(Token("arrow", "->", "->", start, start))
        elif role == "note":
            text = line.text[cell[0].start : cell[-1].end]
            found.append(Token("remark", text, text, start, cell[-1].end))
            continue
        elif role in ("colour", "size", "length", "amps"):
            numbers = [
                replace(t, sort="size", value=t.text)
                if role == "size" and t.sort in ("number", "decimal")
                else t
                for t in cell
            ]
            found.append(Token("gap", "  ", "  ", end, start))
            found += [t for t in numbers if t.sort not in ("word", "dash", "number") or role == "colour"]
            continue
        elif found:
            found.append(Token("gap", "  ", "  ", end, start))
        found += cell
        end = cell[-1].end
    return found


def _sentences(tokens: list[Token], pinned: bool) -> list[list[Token]]:
    """The statements of a line: parted by full stops and semicolons."""
    found: list[list[Token]] = [[]]
    joins = pinned or any(token.sort in JOINS for token in tokens)
    joins = joins or any(a.sort == "colon" and b.start > a.end for a, b in pairwise(tokens))
    joins = joins or any(a.sort == "dash" and b.start > a.end for a, b in pairwise(tokens[1:]))
    for token in tokens:
        if token.sort == "semi" and not joins:  # `X1:1; X4:3; red`: a list, as a spreadsheet saves it
            found[-1].append(replace(token, sort="comma"))
        elif token.sort in ("stop", "semi") and found[-1]:
            found.append([])
        else:
            found[-1].append(token)
    return [statement for statement in found if any(token.sort != "gap" for token in statement)]


def _through_a_fuse(statements: list[list[Token]]) -> list[list[Token]]:
    """`Horn 2 to fuse. Fuse other side to ammeter right.`: one wire with a fuse in it."""
    for index in range(len(statements) - 1):
        first, second = statements[index : index + 2]
        low = [token.text.casefold() for token in second[:3]]
        if first[-1].text.casefold() == "fuse" and low[1:] == ["other", "side"] and low[0] == "fuse":
            joined = [
                *first,
                Token("to", "to", "to", first[-1].end, first[-1].end),
                *[t for t in second[3:] if t.sort != "to"],
            ]
            return [*statements[:index], joined, *statements[index + 2 :]]
    return statements


def _made(joint: Joint, number: int, state_names: object) -> NotedWire:
    """The wire of a joint. Raises UnsureError where a name cannot be a point."""
    names = state_names
    start, end = names.point(joint.start), names.point(joint.end)  # type: ignore[attr-defined]
    for point in (start, end):
        try:
            if read_point(point) != point:
                raise ValueError
        except ValueError:
            raise UnsureError(Why.UNKNOWN_WORDS, point) from None
    if folded(start) == folded(end):
        raise UnsureError(Why.SAME_ENDS, start)
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


def _finished(state: _State) -> Notes:
    """The wires of all lines, each point with one spelling; lines whose wires cannot be are unread."""
    lines, wires, look = finish(state.lines, state.joints, state.exact, state.page.names, _made)
    cavities = _cavities(state, wires)
    changes = tuple(change for line in lines for change in line.changes)
    for short, long in state.page.names.taken.items():
        first = next(
            (line.number for line in lines if re.search(rf"(?i)\b{re.escape(short)}\b", line.text)), 0
        )
        state.look.append(LookAt(first, Look.TAKEN_FOR, (short, long)))
    return Notes(tuple(lines), tuple(wires), cavities, changes, (*state.look, *look))


def _cavities(state: _State, wires: list[NotedWire]) -> dict[str, tuple[str, ...]]:
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
