"""Statements that stand in one line, parted: by commas, or by `one side … other side`."""

from __future__ import annotations

import re
from collections.abc import Sequence

from loomtest.harness.notes import trade
from loomtest.harness.notes.items import JOINS, items_of
from loomtest.harness.notes.meaning import Ask, Surroundings, UnsureError
from loomtest.harness.notes.mentions import Mention, mention_of
from loomtest.harness.notes.scan import Token

_EVERY = re.compile(r"(?i)\b(?:all|both|each|throughout)\b")  # said behind statements: it holds for each


def refuse_two_headed(tokens: list[Token]) -> None:
    """`bleeper + : from switch   - : chassis`: two statements side by side, which are asked about."""
    colons = [i for i, token in enumerate(tokens) if token.sort == "colon" and i]
    if len(colons) > 1 and any(tokens[i - 1].sort in ("dash", "plus") for i in colons[1:]):
        raise UnsureError(Ask.SEVERAL_MEANINGS, ":")


def by_commas(tokens: list[Token], scene: Surroundings) -> list[list[Token]] | None:
    """`LH lamp E to frame, RH lamp E to frame, black`: statements with commas between them; None for one."""
    if scene.pins:
        return _behind_the_row(tokens, scene)
    if (apart := _set_apart(tokens, scene)) is not None:
        return apart
    if sum(token.sort in (*JOINS, "dash") for token in tokens) < 2:
        return None
    place = next((i for i, token in enumerate(tokens[:-1]) if token.sort == "colon"), -1)
    header = place >= 0 and not any(token.sort in JOINS for token in tokens[:place])
    parts = _clauses(tokens[place + 1 :] if header else tokens, scene)
    if parts is None:
        return None
    tail = _said_of_all(parts[-1])
    while len(parts[-1]) > 1 and _shape(parts[-1][-1], scene) in ("about", "said"):
        tail = [*parts[-1].pop(), *tail]
    every = header or any(_EVERY.search(t.text) for t in tail)
    whole = [[token for piece in part for token in piece] for part in parts]
    head = mention_of(tokens[:place]) if header else None
    if head is not None and head.words and not head.terminal:
        own = list(tokens[:place])
        whole = [[*own, *part] if _is_bare(part) else part for part in whole]
    return [[*part, *tail] if tail and (every or part is whole[-1]) else part for part in whole]


def _said_of_all(part: list[list[Token]]) -> list[Token]:
    """Take what stands in a column of its own behind statements, where it says that it holds for all."""
    piece = part[-1]
    gap = max((i for i, token in enumerate(piece) if token.sort == "gap"), default=0)
    rest = piece[gap:]
    about = any(token.sort in ("colour", "size") for token in rest)
    if not gap or not about or not any(_EVERY.search(token.text) for token in rest):
        return []
    if any(token.sort in ("word", "number", *JOINS) and not _EVERY.search(token.text) for token in rest):
        return []
    part[-1] = piece[:gap]
    return rest


def _set_apart(tokens: list[Token], scene: Surroundings) -> list[list[Token]] | None:
    """`A > B, C  /  D > E, F`: whole statements with a stroke or a wide space between them; None for one."""
    for sort in ("slash", "gap"):
        parts: list[list[Token]] = [[]]
        for index, token in enumerate(tokens):
            beside = tokens[max(0, index - 1) : index] + tokens[index + 1 : index + 2]
            if token.sort == sort and (sort == "gap" or all(other.sort == "gap" for other in beside)):
                parts.append([])
            else:
                parts[-1].append(token)
        parts = [part for part in parts if any(token.sort != "gap" for token in part)]
        tail: list[Token] = []
        while len(parts) > 1 and _shape(parts[-1], scene) == "about":
            tail = [*parts.pop(), *tail]
        if len(parts) > 1 and all(_is_whole(part, scene) for part in parts):
            every = any(_EVERY.search(t.text) for t in tail)
            return [[*part, *tail] if every or part is parts[-1] else part for part in parts]
    return None


def _is_whole(part: Sequence[Token], scene: Surroundings) -> bool:
    """Whether the words are a statement by themselves: ends, a sign of joining, and ends."""
    items = items_of(part, scene.names, scene.letters)
    shape = "".join(
        {"end": "e", "join": "j", "prose": "p", "colon": "p", "via": "p"}.get(i.sort, "") for i in items
    )
    named = [item.mention for item in items if item.mention is not None]
    return bool(re.fullmatch("e+je+", shape)) and bool(named[0].words)


def by_colours(tokens: list[Token], scene: Surroundings) -> list[list[Token]] | None:
    """`beacon: red to fuse 5, black to frame`: a wire of each colour from the device named first; else None.

    Each is a terminal of its own: the earth's is E, the others go by their colour where there are several.
    """
    first = next((i for i, token in enumerate(tokens) if token.sort == "colour"), 0)
    head = [token for token in tokens[:first] if token.sort not in ("colon", "dash", "gap", "arrow", "note")]
    named = mention_of(head) if head and not scene.pins else None
    if named is None or not named.words or not all(t.sort in ("word", "number") for t in head):
        return None
    pieces: list[list[Token]] = [[]]
    for token in tokens[first:]:
        if token.sort in ("comma", "semi", "and"):
            pieces.append([])
        elif token.sort != "gap" or pieces[-1]:
            pieces[-1].append(token)
    if len(pieces) < 2 or not all(_of_a_colour(piece, scene) for piece in pieces):
        return None
    if named.terminal or named.sort in ("joint", "ground") or trade.is_ground(named.key):
        return [[*head, *piece] for piece in pieces]
    ends = [_last_end(piece, scene) for piece in pieces]
    grounds = [end.sort == "ground" or trade.is_ground(end.key) for end in ends]
    found = []
    for piece, ground in zip(pieces, grounds, strict=True):
        own = "E" if ground else piece[0].value if grounds.count(False) > 1 else ""
        at = piece[0].start
        terminal = [Token("number", re.sub(r"[ /]", "_", own), own, at, at)] if own else []
        found.append([*head, *terminal, *piece])
    return found


def _of_a_colour(piece: Sequence[Token], scene: Surroundings) -> bool:
    """`red to fuse 5`: a colour, a sign of joining, and one end."""
    items = items_of(piece, scene.names, scene.letters)
    plain = [item.sort for item in items if item.sort not in ("note", "side")]
    while plain[1:2] == ["about"]:
        plain = [plain[0], *plain[2:]]
    return (
        bool(piece)
        and piece[0].sort == "colour"
        and plain[:3] == ["about", "join", "end"]
        and (set(plain[3:]) <= {"about"})
    )


def _last_end(piece: Sequence[Token], scene: Surroundings) -> Mention:
    return [i.mention for i in items_of(piece, scene.names, scene.letters) if i.mention is not None][-1]


def _behind_the_row(tokens: list[Token], scene: Surroundings) -> list[list[Token]] | None:
    """A row with a statement of its own behind it: `bale switch, other lead of it to the lug`."""
    commas = [i for i, token in enumerate(tokens) if token.sort in ("comma", "semi")]
    for place in commas[:1]:
        rest = tokens[place + 1 :]
        begins = _shape(tokens[:place], scene) in ("ends", "tail")
        if not begins or _shape(rest, scene) != "full":
            continue
        ends = [i.mention for i in items_of(tokens[:place], scene.names, scene.letters) if i.mention]
        goes_on = [i.mention for i in items_of(rest, scene.names, scene.letters) if i.mention][:1]
        same = (
            ends
            and goes_on
            and (ends[-1].words, ends[-1].terminal) == (goes_on[0].words, goes_on[0].terminal)
        )
        named = bool(goes_on and goes_on[0].words and goes_on[0].terminal)
        if same or named or any(token.text.casefold() == "other" for token in rest):
            first = next((i for i, token in enumerate(rest) if token.sort in ("word", "number")), 0)
            own = max((i for i in range(first) if rest[i].sort in ("comma", "and", "semi")), default=-1)
            return [tokens[: place + 2 + own], rest[own + 1 :]]  # `horn 1, brown & horn 2 to frame, black`
    return None


def _clauses(tokens: Sequence[Token], scene: Surroundings) -> list[list[list[Token]]] | None:
    """The statements of a sentence as the pieces between their commas; None where it is not two or more."""
    pieces: list[list[Token]] = [[]]
    for token in tokens:
        if token.sort in ("comma", "semi", "and"):
            pieces.append([token])
        else:
            pieces[-1].append(token)
    pieces = [piece for piece in pieces if any(t.sort not in ("comma", "semi", "and", "gap") for t in piece)]
    shapes = [_shape(piece, scene) for piece in pieces]
    if shapes[-1] == "odd" and _shape(_without_remark(pieces[-1], scene), scene) == "full":
        shapes[-1] = "full"
    if shapes.count("full") < 2 or "odd" in shapes:
        return None
    parts: list[list[list[Token]]] = []
    waiting: list[list[Token]] = []
    for piece, shape in zip(pieces, shapes, strict=True):
        if shape == "ends":
            waiting.append(piece)
        elif shape == "full":
            before = _goes_before(waiting, piece) if waiting and parts else False
            if before is None:
                return None  # a list that belongs to what stands before it or behind it
            if before:
                parts[-1] += waiting
            parts.append([piece] if before else [*waiting, piece])
            waiting = []
        elif parts:
            parts[-1] += [*waiting, piece]
            waiting = []
        else:
            return None
    parts[-1] += waiting
    for part in parts:  # the sign before a statement is no part of it
        while part[0][0].sort in ("comma", "semi", "and", "gap"):
            part[0] = part[0][1:]
    return parts


def _without_remark(piece: list[Token], scene: Surroundings) -> list[Token]:
    """A piece without the words of a sentence behind its last end: `3 to 4 with short offcuts`."""
    items = items_of(piece, scene.names, scene.letters)
    last = max((i for i, item in enumerate(items) if item.mention is not None), default=-1)
    prose = next((item.start for item in items[last + 1 :] if item.sort == "prose"), None)
    said = next((token.start for token in piece if token.text.casefold() == "with"), None)
    if said is not None and not any(trade.is_noun(t.text) for t in piece if t.start > said):
        prose = said if prose is None else min(prose, said)
    if prose is None:
        return piece
    return [token for token in piece if token.start < prose or token.sort in ("colour", "size")]


def _goes_before(waiting: Sequence[Sequence[Token]], full: Sequence[Token]) -> bool | None:
    """Whether a list between two statements is of the first: `A to B and C, D to E`; None where it may be of
    either. `A to B, C and D to E` has it in the second."""
    binds, comma = all(piece[0].sort == "and" for piece in waiting), waiting[0][0].sort == "comma"
    if binds and full[0].sort in ("comma", "semi"):
        return True
    return False if comma and full[0].sort == "and" else None


def _shape(piece: Sequence[Token], scene: Surroundings) -> str:
    """What a piece between commas is: `full` (ends, join, ends), `tail`, `ends`, `about`, `said` or `odd`."""
    items = items_of(piece, scene.names, scene.letters)
    sorts = [item.sort for item in items]
    plain = [sort for sort in sorts if sort not in ("about", "note", "list", "side", "label", "count")]
    joins = plain.count("join")
    if "via" in plain or "colon" in plain:
        return "odd"
    if not joins:
        return "ends" if "end" in plain else "said" if "prose" in plain else "about"
    signs = {"end": "e", "join": "j"}
    ends = "".join(
        signs.get(i.sort, ("g" if i.value == "gap" else "l") if i.sort == "list" else "") for i in items
    )
    if re.fullmatch("[lg]*(j[lg]*)?e(le)*[lg]*j[lg]*e(le)*[lg]*", ends):
        return "full" if "prose" not in plain else "odd"
    return "tail" if ends.strip("lg") == "je" else "odd"


def _is_bare(tokens: list[Token]) -> bool:
    """Whether a statement begins with a terminal alone: `alternator: B+ to …, D+ to …`."""
    first = mention_of([token for token in tokens if token.sort != "gap"][:1])
    return first is not None and not first.words


_SIDES = ("side", "end", "terminal", "wire", "leg", "lead", "tag", "post")


def two_sides(tokens: list[Token]) -> list[list[Token]] | None:
    """`lamp: one side A, other side B` as `lamp 1 to A` and `lamp 2 to B`: terminals without a name."""
    low = [token.text.casefold() for token in tokens]
    first, skip = _side(tokens, "one", 1)
    other, behind = _side(tokens, "other", skip) if first else (0, 0)
    if not first or not other:
        return None
    head = [token for token in tokens[:first] if token.sort in ("word", "number")]
    before = other - 1 if low[other - 1] == "the" else other
    parts = (tokens[skip:before], tokens[behind:])
    loose = [*tokens[:first][-1:], *parts[0][:1], *parts[1][:1]]
    letters = [t.text for t in loose if re.fullmatch(r"[A-Z][a-z]?", t.text) and t.sort != "colour"]
    if letters:  # a terminal, or a colour's letter
        raise UnsureError(Ask.SEVERAL_MEANINGS, letters[0])
    halves = []
    for number, part in zip("12", parts, strict=True):
        said = [t for t in part if t.sort != "colon" and t.text.casefold() not in ("is", "to", "goes")]
        while said and said[-1].sort in ("comma", "and", "semi"):
            said = said[:-1]
        at = said[0].start if said else 0
        joined = Token("to", "to", "to", at, at)
        halves.append([*head, Token("number", number, number, at, at), joined, *said])
    return halves


def _side(tokens: list[Token], word: str, begin: int) -> tuple[int, int]:
    """Where `one side`, `one wire` or `the other one` stands, and what follows it; (0, 0) for nowhere."""
    for place in range(begin, len(tokens) - 1):
        if tokens[place].text.casefold() != word:
            continue
        after = tokens[place + 1]
        named = after.text.casefold() in (*_SIDES, "one")
        if named or (
            after.sort in JOINS and place and tokens[place - 1].sort in ("comma", "and", "word", "colon")
        ):
            return place, place + (2 if named else 1)
    return 0, 0
