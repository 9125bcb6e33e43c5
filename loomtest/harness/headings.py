"""Column names as people write them: which row holds them, and which columns hold the two ends of a wire."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

DEEPEST_HEADER = 30  # rows of titles and remarks above the column names

# What each column name means (common practice; English, then German, French, Spanish and Italian).
_MEANS: Mapping[str, str] = {
    "from": "from|where from|comes from|conn/pin|connector/pin|plug/pin|connector pin|start"
    "|from point|begin|origin|source|end a|end 1|von|de|desde|da|départ|depart",
    "to": "to|goes to|to point|destination|dest|end|end b|end 2|connects to|where to|leads to"
    "|target|other end|runs to|goes|nach|ziel|geht an|geht nach|vers|arrivée|arrivee|hasta"
    "|verso",
    "connector": "connector|plug|item|equipment|conn|connector name|connector id|device|component|unit"
    "|socket|stecker|gerät|bauteil|connecteur|appareil|conector|connettore",
    "pin": "pin|cavity|term|way|terminal|pos|position|pin no|pin number|cav|cavity no|pin #"
    "|pin nr|contact|kammer|kontakt|klemme|broche|voie|borne|contacto|contatto|pinne",
    "colour": "colour|color|wire colour|wire color|col|cable colour|cable color|colour code"
    "|color code|farbe|aderfarbe|kabelfarbe|couleur|colore",
    "size": "size|gauge|csa|mm2|mm²|awg|wire size|cross section|cross-section|wire gauge"
    "|querschnitt|section|sección|seccion|sezione",
    "length": "length|len|wire length|länge|laenge|longueur|longitud|lunghezza",
    "wire": "wire|wire no|wire number|wire name|wire id|cable|no|nr|#|ader|leitung|kabel|fil|hilo"
    "|filo|wire #|wire nr|cable no|cable number",
    "kind": "kind|type|part|art",
    "amps": "amps|current|a|amperes|strom|courant",
    "circuit": "circuit|function|signal|net|use|purpose|description|stromkreis|funktion|fonction|función",
    "note": "note|notes|remark|remarks|comment|comments|bemerkung|bemerkungen|remarque|remarques|nota|notas",
}
NAMES: Mapping[str, str] = {name: what for what, names in _MEANS.items() for name in names.split("|")}
_COUNTS = ("no", "nr", "#")  # a number: of the wire, or of the pin where nothing else is
_UNIT = re.compile(r"(?:\s+in)?[\s(\[_/,]+(mm²|mm2|mm|cm|m|in|inch|inches|ft|feet|awg|a|amps?)[)\]]*$")
_TO_WORD = r"goes to|to|nach|vers|end b|end 2|b|2|dest|destination|other"
_FROM_WORD = r"from|von|de|end a|end 1|a|1|start"
_OTHER_END = re.compile(rf"^(?:{_TO_WORD})\b[\s:._-]*|[\s_.-]*(?:2|b|to)$")
_THIS_END = re.compile(rf"^(?:{_FROM_WORD})\b[\s:._-]*|[\s_.-]*(?:1|a|from)$")


@dataclass(frozen=True)
class SheetLayout:
    """Where the ends and the other columns stand: `row` is the place of the column names (-1: none).

    An end is one column, or connector and pin. `pinout`: the rows are the pins of a connector, each with
    where its wire goes; else they are wires. `others`: our column names, or the person's own, to places.
    `units`: of bare numbers in a column, where its name says them.
    """

    row: int
    start: tuple[int, ...]
    end: tuple[int, ...]
    pinout: bool = False
    others: Mapping[str, int] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)


def plain(cell: str) -> str:
    """A column name without what is written differently every time."""
    return " ".join(cell.replace("\u00a0", " ").replace("_", " ").split()).casefold().rstrip(":.")


def meaning(cell: str) -> tuple[str, str]:
    """What a column of this name holds, and the unit that the name says; ("", "") where it says neither."""
    text = plain(cell)
    if text in NAMES:
        unit = "AWG" if text in ("awg", "gauge", "wire gauge") else ""
        return NAMES[text], unit
    match = _UNIT.search(text)
    what = NAMES.get(text[: match.start()].strip(), "") if match else ""
    if match is None or what not in ("size", "length", "amps"):
        return "", ""
    unit = {"awg": "AWG", "mm2": "mm²", "inch": "in", "inches": "in", "feet": "ft"}.get(match[1], match[1])
    return what, unit if what != "amps" else ""


def header_row(rows: Sequence[Sequence[str]], needed: Sequence[str]) -> int | None:
    """The row that names all needed columns; None where none of the first does."""
    for index, row in enumerate(rows[:DEEPEST_HEADER]):
        names = [cell.strip().casefold() for cell in row]
        if all(names.count(name) == 1 for name in needed):  # a merged cell over two columns names neither
            return index
    return None


def likeliest_names(rows: Sequence[Sequence[str]]) -> int | None:
    """The row that is likeliest to hold column names: the first with most words; None where none has two."""
    best, most = None, 1
    for index, row in enumerate(rows[:DEEPEST_HEADER]):
        names = [" ".join(cell.split()) for cell in row]
        words = [name for name in names if re.search(r"[^\W\d_]", name) and len(name) <= 40]
        if len(words) > most:
            best, most = index, len(words)
    return best


def column_names(rows: Sequence[Sequence[str]], index: int) -> dict[int, str]:
    """What each column can be named by in harness.toml: its heading where it has one of its own."""
    row = [" ".join(cell.split()) for cell in rows[index]]
    seen = [plain(cell) for cell in row]
    width = max(len(each) for each in rows[index : index + DEEPEST_HEADER])
    row += [""] * (width - len(row))
    return {
        place: cell if cell and seen.count(plain(cell)) == 1 else f"column {column_letters(place)}"
        for place, cell in enumerate(row)
    }


def layout_of(rows: Sequence[Sequence[str]]) -> SheetLayout | None:
    """The row of column names and what its columns hold; the row that says most, the first of equals."""
    best: SheetLayout | None = None
    for index, row in enumerate(rows[:DEEPEST_HEADER]):
        if sum(bool(cell.strip()) for cell in row) < 2:
            continue
        layout = _layout(index, row, rows[index - 1] if index else [])
        if layout is not None and (best is None or _known(layout) > _known(best)):
            best = layout
    return best


def _known(layout: SheetLayout) -> int:
    return len(layout.start) + len(layout.end) + sum(name in _MEANS for name in layout.others)


def layout_as_told(
    rows: Sequence[Sequence[str]], columns: Mapping[str, tuple[str, ...]], heading_row: int | None
) -> SheetLayout | None:
    """Where the columns stand that a person named, by their heading or as `column D`; None: not here."""
    candidates = range(min(len(rows), DEEPEST_HEADER)) if heading_row is None else [heading_row - 1]
    for index in candidates:
        row = rows[index] if 0 <= index < len(rows) else []
        places = {key: tuple(_place(row, name) for name in names) for key, names in columns.items()}
        found = {key: tuple(p for p in each if p is not None) for key, each in places.items()}
        whole = all(len(found[key]) == len(columns[key]) for key in ("from", "to"))
        if whole and (heading_row == 0 or any(row[p].strip() for p in found["from"] if p < len(row))):
            named = {key: each[0] for key, each in found.items() if key not in ("from", "to") and each}
            ends = (*found["from"], *found["to"])
            others, units = _others(row if index >= 0 else [], ends, named)
            return SheetLayout(index, found["from"], found["to"], False, others, units)
    return None


def _place(row: Sequence[str], name: str) -> int | None:
    at = [place for place, cell in enumerate(row) if plain(cell) == plain(name)]
    if len(at) == 1:
        return at[0]
    letters = re.fullmatch(r"column ([A-Za-z]{1,3})", name.strip())
    return column_number(letters[1]) if letters else None


def column_number(letters: str) -> int:
    """`D` as 3, as a spreadsheet counts its columns."""
    number = 0
    for letter in letters.upper():
        number = number * 26 + ord(letter) - 64
    return number - 1


def column_letters(place: int) -> str:
    """3 as `D`."""
    letters = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def _sided(text: str) -> tuple[str, str]:
    """The end that a name such as `from pin` or `Conn 2` speaks of, and what it holds there."""
    for pattern, end in ((_OTHER_END, "to"), (_THIS_END, "from")):
        rest = NAMES.get(pattern.sub("", text).strip(" ()"), "")
        if rest in ("connector", "pin") and pattern.search(text):
            return end, rest
    return "", ""


def _over(above: Sequence[str], width: int) -> list[str]:
    """The end that the row above names over each column: a name stands for the blank cells behind it too."""
    sides: list[str] = []
    for place in range(width):
        text = plain(above[place]) if place < len(above) else ""
        side = NAMES.get(text, "")
        sides.append((side if side in ("from", "to") else "") if text else (sides[-1] if sides else ""))
    return sides


def _layout(index: int, row: Sequence[str], above: Sequence[str]) -> SheetLayout | None:
    over = _over(above, len(row))
    names = list(row)
    if any(over):  # two rows of names: `Length` above `mm`
        titles = [above[place].strip() if place < len(above) else "" for place in range(len(row))]
        for place, cell in enumerate(row):
            if not over[place] and titles[place] and not meaning(cell)[0]:
                names[place] = f"{titles[place]} {cell.strip()}".strip()
    found: list[tuple[int, str, str]] = []  # place, what, the end that it says
    for place, cell in enumerate(names):
        what, side = meaning(cell)[0], over[place]
        if not what:
            said, what = _sided(plain(cell))
            side = said or side
        if what in ("from", "to"):
            found.append((place, "end", what))
        elif what in ("connector", "pin"):
            found.append((place, what, side))
    if not any(what == "pin" or side for _, what, side in found):
        return None
    if not any(side == "from" or what == "pin" for _, what, side in found):  # `No`, `Colour`, `Goes to`
        count = next((p for p, cell in enumerate(names) if plain(cell) in _COUNTS), None)
        if count is None:
            return None
        found.insert(0, (count, "pin", ""))
    ends = _ends_of(found)
    if ends is None:
        return None
    start, end = ends
    others, units = _others(names, (*start, *end), {})
    sides = {side for _, _, side in found}
    pinout = "from" not in sides and ("to" in sides or len(end) == 1)
    return SheetLayout(index, start, end, pinout, others, units)


def _ends_of(found: Sequence[tuple[int, str, str]]) -> tuple[tuple[int, ...], tuple[int, ...]] | None:
    """The columns of both ends. A pin belongs to the end named before it; None where one end is not said."""
    ends: dict[str, dict[str, int]] = {"from": {}, "to": {}}
    loose: dict[str, list[int]] = {"connector": [], "pin": []}
    last = ""
    for place, what, side in found:
        if side:
            last = side
            ends[side].setdefault("connector" if what == "end" else what, place)
        elif what == "pin" and last and "pin" not in ends[last] and "connector" in ends[last]:
            ends[last]["pin"] = place
        else:
            loose[what].append(place)
    connectors, pins = loose["connector"], loose["pin"]
    for side in ("from", "to"):
        if not ends[side] and pins:
            if side == "to" and not connectors:  # two pins and no word of where the other end is
                return None
            ends[side] = {"pin": pins.pop(0)} | ({"connector": connectors.pop(0)} if connectors else {})
        elif ends[side] and "connector" not in ends[side] and connectors:
            ends[side]["connector"] = connectors.pop(0)
    if not ends["from"] or not ends["to"]:
        return None
    start, end = (
        tuple(each[what] for what in ("connector", "pin") if what in each) for each in ends.values()
    )
    return start, end


def _others(
    row: Sequence[str], ends: Sequence[int], named: Mapping[str, int]
) -> tuple[dict[str, int], dict[str, str]]:
    """The columns beside the ends: those we know under our names, the person's own under theirs."""
    others: dict[str, int] = dict(named)
    units: dict[str, str] = {}
    for place, cell in enumerate(row):
        if place in ends or not cell.strip():
            continue
        what, unit = meaning(cell)
        if place in named.values():
            continue
        if what in ("from", "to", "connector", "pin") or what in others or not what:
            what = cell.strip() if cell.strip().casefold() not in _MEANS else f"{cell.strip()} again"
            while what.casefold() in {name.casefold() for name in others}:
                what += f" ({column_letters(place)})"
        others[what] = place
    for what, place in others.items():
        if what in _MEANS and place < len(row) and (unit := meaning(row[place])[1]):
            units[what] = unit
    return others, units
