"""Tables of a connector in a run: `tag | dash side | nose side`, a wire at each side of each cavity."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from loomtest.harness.notes.cavities import is_pin
from loomtest.harness.notes.cells import in_letters, says_empty
from loomtest.harness.notes.columns import HEADER, Column, cells_of
from loomtest.harness.notes.meaning import Ask, Joint, RemarkError, Surroundings, UnsureError
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.result import Kind
from loomtest.harness.notes.roles import PageLine
from loomtest.harness.notes.scan import Token
from loomtest.harness.notes.sofar import LineFound, ReadSoFar
from loomtest.harness.notes.statement import read_statement

SIDE = "side"
OF = "of "  # and a connector's name
_SIDES = ("side", "end", "half")
_CELL = re.compile(r"[^\s|]+(?: [^\s|]+)*")


def two_sided(text: str) -> tuple[list[Column], str]:
    """The columns of `tag  dash side  nose side`, and what its first cell says; ([], "") for any other line.

    The first column is of cavities (`tag`, `pin`) or has the connector's own name; two columns are sides.
    """
    found = list(_CELL.finditer(re.sub(r"\([^()]*\)", lambda m: " " * len(m[0]), text)))
    cells = [match[0].casefold().strip(" .:") for match in found]
    sides = [i for i, cell in enumerate(cells) if cell.split()[-1:] and cell.split()[-1] in _SIDES]
    named = [i for i in sides if 1 < len(cells[i].split()) < 5]
    others = [cell for i, cell in enumerate(cells) if i and i not in sides]
    if len(named) != 2 or len(sides) != 2 or 0 in sides or len(cells) > 5:
        return [], ""
    if any(HEADER.get(cell) != "colour" for cell in others):
        return [], ""
    columns = [
        (SIDE if i in sides else "colour" if i else "pin", m.start(), m.end()) for i, m in enumerate(found)
    ]
    return columns, found[0][0] if HEADER.get(cells[0]) not in ("pin", "wire") else ""


def by_connector(text: str) -> list[Column]:
    """The columns of `pin  n/s lamp plug  o/s lamp plug`: a connector each, of the cavity at the front."""
    found = list(_CELL.finditer(text))
    cells = [match[0].strip(" .:") for match in found]
    if len(found) < 3 or HEADER.get(cells[0].casefold()) not in ("pin", "wire"):
        return []
    named = [Mention(tuple(cell.split())) for cell in cells[1:]]
    plugs = all(mention.sort in ("contact", "code") for mention in named)
    if not plugs or len({mention.words for mention in named}) < len(named):
        return []
    if any(
        HEADER.get(cell.casefold()) or len(mention.words) > 4
        for cell, mention in zip(cells[1:], named, strict=True)
    ):
        return []
    roles = ["pin", *(OF + " ".join(mention.words) for mention in named)]
    return [(role, match.start(), match.end()) for role, match in zip(roles, found, strict=True)]


def read_connectors(state: ReadSoFar, line: PageLine, tokens: Sequence[Token]) -> LineFound | None:
    """The wires of a cavity of several connectors, one a column; None for a line that is no row of these."""
    roles = [sort for sort, *_ in state.columns]
    if not any(role.startswith(OF) for role in roles):
        return None
    cells = cells_of(tokens, state.columns, line.text)
    if cells is None or len(cells) != len(roles) or len(cells[0]) != 1:
        return None
    pin = cells[0][0]
    if not is_pin(pin, strict=True):
        return None
    found = LineFound()
    for role, cell in zip(roles[1:], cells[1:], strict=True):
        start = Mention(tuple(role.removeprefix(OF).split()), pin.text)
        if cell and _empty(line, cell):
            found.empty.append(state.page.names.point(start))
        elif cell:
            found.joints += _side(state.scene, start, cell)
    found.kind = Kind.WIRES if found.joints else Kind.EMPTY
    return found


def read_sides(state: ReadSoFar, line: PageLine, tokens: Sequence[Token]) -> LineFound | None:
    """The wires at both sides of a cavity; None for a line that is no row of such a table."""
    device = state.scene.device
    if not any(sort == SIDE for sort, *_ in state.columns):
        return None
    cells = _cells(tokens)
    pin = cells[0][0].text if cells and len(cells[0]) == 1 else ""
    if len(cells) < 2 or not pin or not _is_cavity(cells[0][0], device):
        return None
    if device is None:
        raise UnsureError(Ask.CAVITY, pin)
    start = Mention(device.words, _bare(pin, device))
    colours, places = _parted(cells[1:], state.page.letters)
    found = LineFound()
    filled = [place for place in places if not _empty(line, place)]
    if not filled and places:
        found.kind, found.empty = Kind.EMPTY, [state.page.names.point(start)]
        return found
    if len(places) != 2 or len(colours) > 2:
        raise UnsureError(Ask.ONE_END, state.page.names.point(start))
    own = colours if len(colours) == 2 else [*colours, *colours] if colours else [[], []]
    for colour, place in zip(own, places, strict=True):
        if place in filled:
            found.joints += _side(state.scene, start, [*colour, *place])
    return found


def _side(scene: Surroundings, start: Mention, tokens: list[Token]) -> list[Joint]:
    scene.pins = (start,)
    try:
        return read_statement(tokens, scene)
    except RemarkError:
        raise UnsureError(Ask.ONE_END, " ".join(start.words)) from None
    finally:
        scene.pins = ()


def _cells(tokens: Sequence[Token]) -> list[list[Token]]:
    """The cells of a row; one that begins or ends with `and` or a comma goes on with its neighbour."""
    found: list[list[Token]] = [[]]
    glued = ("and", "comma", "note")
    for index, token in enumerate(tokens):
        if token.sort != "gap":
            found[-1].append(token)
            continue
        after = tokens[index + 1].sort if index + 1 < len(tokens) else "note"
        if found[-1] and after not in glued and found[-1][-1].sort not in ("and", "comma"):
            found.append([])
    return [cell for cell in found if cell]


def _is_cavity(token: Token, device: Mention | None) -> bool:
    return is_pin(token, strict=True) or bool(device and _bare(token.text, device) != token.text)


def _bare(pin: str, device: Mention) -> str:
    """`S4` of plug S as its 4."""
    letters = device.words[-1]
    own = letters.isalpha() and letters.isupper() and pin.startswith(letters)
    return pin[len(letters) :] if own and pin[len(letters) :].isdigit() else pin


def _parted(
    cells: Sequence[list[Token]], letters: Mapping[str, str]
) -> tuple[list[list[Token]], list[list[Token]]]:
    """The colours and the places of a row behind its cavity."""
    colours, places = list[list[Token]](), list[list[Token]]()
    for cell in cells:
        lettered = in_letters(cell, letters)
        if all(token.sort in ("colour", "letters", "slash", "ditto") for token in lettered):
            colours.append(lettered)
        else:
            places.append(cell)
    return colours, places


def _empty(line: PageLine, cell: Sequence[Token]) -> bool:
    return says_empty(line.text[: cell[-1].end], list(cell))
