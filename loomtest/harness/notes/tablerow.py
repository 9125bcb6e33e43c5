"""A row of a table: each cell is read as what its column holds, and the ends are joined."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from loomtest.harness.notes.cavities import is_pin
from loomtest.harness.notes.cells import in_letters, says_empty
from loomtest.harness.notes.columns import cells_of
from loomtest.harness.notes.credible import is_credible
from loomtest.harness.notes.items import ABOUT, Item, items_of
from loomtest.harness.notes.meaning import Ask, Joint, RemarkError, UnsureError
from loomtest.harness.notes.members import expanded
from loomtest.harness.notes.mentions import Mention, mention_of
from loomtest.harness.notes.result import Kind
from loomtest.harness.notes.roles import PageLine
from loomtest.harness.notes.scan import Token
from loomtest.harness.notes.sofar import LineFound, ReadSoFar
from loomtest.harness.notes.tokens import bare_size
from loomtest.harness.notes.twosided import OF, SIDE

_ABOUT_ROLES = ("colour", "size", "gauge", "length", "amps")


@dataclass
class RowSaid:
    """What the cells of a row say."""

    ends: dict[str, list[Mention]] = field(default_factory=dict)  # `from`, `to`
    pins: dict[str, list[str]] = field(default_factory=dict)
    posts: dict[str, list[Token]] = field(default_factory=dict)  # what stands for a pin in several words
    cells: dict[str, list[Token]] = field(default_factory=dict)  # the names beside these
    empty: set[str] = field(default_factory=set)  # the ends whose cell says that nothing is there
    said: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)


def table_cells(state: ReadSoFar, line: PageLine) -> list[list[Token]] | None:
    """The cells of a line below a table's header, ditto marks written out; None where it is no row."""
    if not state.columns or any(sort == SIDE or sort.startswith(OF) for sort, *_ in state.columns):
        return None
    strokes = re.search(r"[\t|]", line.text)
    if not strokes and any(token.sort in ("arrow", "back", "feeds") for token in line.tokens):
        return None
    cells = cells_of(line.tokens, state.columns, line.text, exact=state.apart)
    if cells is None:
        return None
    roles = [sort for sort, *_ in state.columns]
    for place, cell in enumerate(cells):
        above = state.cells[place] if place < len(state.cells) else []
        if not cell and above and "from pin" in roles and roles[place : place + 1] == ["from"]:
            cells[place] = above  # `Conn` stands once, and holds for the rows below it
        if cell and all(token.sort == "ditto" for token in cell):
            if not above:
                raise UnsureError(Ask.DITTO)
            cells[place] = [replace(token, start=cell[0].start, end=cell[0].end) for token in above]
    return cells


def read_row(state: ReadSoFar, line: PageLine, cells: Sequence[list[Token]]) -> LineFound:
    """The wires of a row. Raises UnsureError, or RemarkError for a row without ends."""
    row = RowSaid()
    roles = [sort for sort, *_ in state.columns]
    two = {"from", "to"} <= set(roles) or sum(role.startswith("@") for role in roles) == 2
    if not two and "pin" in roles and state.scene.device is None:
        raise UnsureError(Ask.CAVITY, cells[0][0].text if cells[0] else "")
    for place, cell in enumerate(cells):
        role = roles[place] if place < len(roles) else "note"
        if cell and not (role == "wire" and two):
            _cell(row, role, cell, state, line, two)
        elif role in ("to", "from"):
            row.empty.add(role)
    for side in ("from", "to"):
        _with_pins(row, side)
    starts, ends = row.ends.get("from", []), row.ends.get("to", [])
    if not starts and not ends:
        raise RemarkError
    if not starts or not ends:
        if not any(mention.terminal or mention.sort for mention in starts or ends):
            raise RemarkError
        found = [state.page.names.point(mention) for mention in starts or ends if mention.terminal]
        told = bool(row.empty - ({"to"} if not starts else {"from"}) or _NOTHING.search(line.text))
        told = told or sum(map(bool, cells)) <= sum(role.startswith("from") for role in roles)
        if not found or not told:
            raise UnsureError(Ask.ONE_END, " ".join((starts or ends)[0].words))
        return LineFound(Kind.EMPTY, empty=found)
    if len(starts) > 1 and len(ends) > 1 and len(starts) != len(ends):
        raise UnsureError(Ask.LIST_TO_LIST)
    wide = max(len(starts), len(ends))
    starts = starts if len(starts) == wide else starts * wide
    ends = ends if len(ends) == wide else ends * wide
    parts = row.said.get("colour", "").split("/")
    each = [{**row.said, "colour": part} for part in parts] if 2 < len(parts) == wide else [row.said] * wide
    joints = [
        Joint(start, end, said, tuple(row.notes), tuple(row.left))
        for start, end, said in zip(starts, ends, each, strict=True)
    ]
    return LineFound(joints=joints)


_NOTHING = re.compile(
    r"(?i)\b(?:empty|spare|unused|not used|blank|n/?c|nothing|capped|cut off|disconnected|deleted|free)\b"
)


def _with_pins(row: RowSaid, side: str) -> None:
    """The end's terminals, where they have a column of their own."""
    pins, ends = row.pins.get(side, []), row.ends.get(side, [])
    if side in row.posts:  # `solenoid` beside `motor stud`: the name that it has in a sentence
        whole = mention_of([*row.cells.get(side, []), *row.posts[side]])
        if whole is None or len(ends) != 1:
            raise UnsureError(Ask.SEVERAL_MEANINGS, " ".join(token.text for token in row.posts[side]))
        row.ends[side] = [whole]
    elif pins and len(ends) == 1:
        end = ends[0]  # `IGN SW` beside a pin of its own has no terminal in its name
        words = (*end.words, end.terminal) if end.terminal else end.words
        row.ends[side] = [replace(end, words=words, terminal=pin) for pin in pins]


def _is_short(token: Token) -> bool:
    """Whether a word of a pin's cell is the pin itself: `3`, `IN`."""
    return is_pin(token)


def _pins(cell: Sequence[Token]) -> list[str]:
    """`3`, `IN+`, `1-4` of a column of pins."""
    texts = [token.text for token in cell]
    if span := re.fullmatch(r"(\d{1,3})-(\d{1,3})", texts[0]):
        return [str(number) for number in range(int(span[1]), int(span[2]) + 1)]
    if len(cell) == 3 and cell[1].sort in ("dash", "to") and texts[0].isdigit() and texts[2].isdigit():
        return [str(number) for number in range(int(texts[0]), int(texts[2]) + 1)]
    return ["".join(texts)] if len(cell) <= 2 else [token.text for token in cell if is_pin(token)]


def _cell(row: RowSaid, role: str, cell: list[Token], state: ReadSoFar, line: PageLine, two: bool) -> None:
    text = line.text[cell[0].start : cell[-1].end] if cell[-1].end <= len(line.text) else ""
    if role in _ABOUT_ROLES:
        _say(row, role, cell, state)
    elif role in ("from pin", "to pin"):
        side = role.split()[0]
        words = [token for token in cell if token.sort in ("word", "number")]
        if len(words) > 1 and len(words) == len(cell) and not any(map(_is_short, words[:1])):
            row.posts[side] = cell
        elif not all(token.sort == "dash" for token in cell) or side not in row.empty:
            row.pins[side] = _pins(cell)
    elif role == "pin" and not two and state.scene.device is not None:
        pins = [token.text for token in cell if is_pin(token)]
        if not pins:
            raise RemarkError
        row.ends["from"] = [Mention(state.scene.device.words, pin) for pin in pins]
    elif role in ("from", "to") or role.startswith("@"):
        side = (
            role if role in ("from", "to") else "to" if "from" in row.ends or "from" in row.empty else "from"
        )
        if says_empty(line.text[: cell[-1].end], cell):
            row.empty.add(side)
        else:
            row.ends[side], row.cells[side] = _ends(row, role, cell, state), cell
    else:
        through = [item.mention for item in items_of(cell[1:], state.page.names, {}) if item.mention]
        if cell[0].sort == "via" and through and through[0].sort and "fuse" not in through[0].key:
            raise UnsureError(Ask.SEVERAL_MEANINGS, text)
        row.notes.append(text)
        sizes = [token for token in cell if token.sort in ("size", "size?")]
        if len(sizes) == 1 and "size" not in row.said:
            row.said["size"] = sizes[0].value
        alone = not {"size", "gauge"} & {sort for sort, *_ in state.columns}
        if alone and len(cell) == 1 and cell[0].sort == "decimal" and bare_size(cell[0]):
            row.said["size"], row.notes = bare_size(cell[0]), row.notes[:-1]


def _say(row: RowSaid, role: str, cell: list[Token], state: ReadSoFar) -> None:
    """What a cell says of the wire."""
    if role == "colour":
        cell = [found for token in cell for found in in_letters([token], state.page.letters)]
    if [token.sort for token in cell] == ["number", "comma", "number"]:
        text = f"{cell[0].text}.{cell[2].text}"  # `0,6`: in a column of figures no list
        cell = [replace(cell[0], sort="decimal", text=text, value=text, end=cell[2].end)]
    for token in cell:
        sort, value = token.sort, token.value
        if sort in ("number", "decimal"):
            value = {"gauge": f"AWG {token.text}", "size": token.text, "amps": f"{token.text} A"}.get(
                role, ""
            )
            if role == "length" and state.page.unit:
                value = f"{token.text} {state.page.unit}"
            sort = "size" if role == "gauge" else role
        if role == "length" and sort == "length" and not value:
            row.notes.append(f"length {token.text}")
        if sort == "letters" or (role == "colour" and sort == "word"):
            row.notes.append(f"colour {token.text}" if sort == "letters" else token.text)
        elif sort in (*ABOUT, "size?") and value:
            row.said.setdefault("size" if sort == "size?" else sort, value)


def _ends(row: RowSaid, role: str, cell: list[Token], state: ReadSoFar) -> list[Mention]:
    """The points that a cell names."""
    if role.startswith("@") and len(cell) == 1 and cell[0].text.isalnum():
        return [Mention((role[1:],), cell[0].text)]
    found: list[Mention] = []
    coded = re.fullmatch(r"([A-Za-z]+\d+)-([A-Za-z]\d+)", cell[0].text)
    if coded and len(cell) == 1:
        return [Mention((coded[1],), coded[2])]
    if cell[0].sort == "hash":  # what a spreadsheet writes for what it did not find: `#N/A`
        raise UnsureError(Ask.UNKNOWN_WORDS, " ".join(token.text for token in cell))
    cell = [token for token in cell if token.sort != "stop"]
    if len(cell) > 2 and cell[-2].sort == "comma" and (cell[-1].sort != "word" or cell[-1].text.isupper()):
        cell = [*cell[:-2], cell[-1]]  # `Horn, +`, `Fuse box, IN`
    items = items_of(cell, state.page.names, state.page.letters)
    place = next((i for i, item in enumerate(items) if item.sort == "via"), len(items))
    if passed := _passed(items[place + 1 :]):  # `starter, 20 amp fuse in the wire`
        amps = [item.token.value for item in items if item.token is not None and item.token.sort == "amps"]
        row.said["kind"] = "fuse"
        row.notes.append(" ".join([passed, *amps]))
        items = [item for item in items[:place] if item.sort != "list" and item.value != "amps"]
    for item in items:
        if item.sort == "end" and item.mention is not None:
            mention = item.mention
            if not mention.words:
                if not found:
                    raise UnsureError(Ask.CAVITY, mention.terminal)
                mention = replace(mention, words=found[-1].words)
            found.append(mention)
        elif item.sort == "about" and item.token is not None and item.token.sort in ABOUT:
            row.said.setdefault(item.token.sort, item.token.value)
        elif item.sort in ("note", "label", "prose"):
            row.notes.append(item.value)
            row.left += [item.value] if item.sort == "prose" else []
        elif item.sort == "via" or (item.sort == "join" and found and item.value != "dash"):
            raise UnsureError(Ask.SEVERAL_MEANINGS, " ".join(token.text for token in cell))
    if not found:
        raise UnsureError(Ask.UNKNOWN_WORDS, " ".join(token.text for token in cell))
    return expanded(_with_terminals(found, state), state.scene)


def _passed(items: Sequence[Item]) -> str:
    """What a wire passes, where nothing else stands behind the `via`; "" for any other."""
    fuse = bool(items) and items[0].sort == "prose" and re.search(r"fuse|breaker|fusible", items[0].value)
    if not fuse or any(item.sort not in ("about", "note") for item in items[1:]):
        return ""
    return items[0].value


def _with_terminals(found: list[Mention], state: ReadSoFar) -> list[Mention]:
    """`Battery, positive` and `Starter, main terminal`: the terminal behind a comma."""
    own: list[Mention] = []
    for mention in found:
        before = own[-1] if own else None
        if before is None or before.terminal:
            own.append(mention)
        elif mention.words == before.words and mention.terminal:
            own[-1] = mention
        elif not mention.terminal and not is_credible(mention, state.page.names):
            sign = {"positive": "+", "negative": "-", "earth": "E", "ground": "E"}.get(mention.key)
            words = (*before.words, *mention.words)
            own[-1] = replace(before, terminal=sign) if sign else replace(before, words=words)
        elif len(mention.words) == 2 and mention.words[-1].casefold() in ("tag", "terminal", "post"):
            own[-1] = replace(before, words=(*before.words, *mention.words))  # `Starter, solenoid tag`
        elif len(mention.words) == 1 and mention.key in ("earth", "ground") and before.sort == "load":
            own[-1] = replace(before, terminal="E")
        else:
            own.append(mention)
    return own
