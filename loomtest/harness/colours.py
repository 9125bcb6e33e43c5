"""Wire colours: the letter codes of IEC 60757 and the plain words that people write.

IEC 60757:2021, Table 1, in its order; combined colours join the codes (`RDBU`). A wire list may also
write `RD/BU`, `RD-BU`, `RD+BU` or `red/blue`; all of them are the same two colours.
"""

from __future__ import annotations

import re
from functools import lru_cache

IEC_60757 = {
    "BK": "black",
    "BN": "brown",
    "RD": "red",
    "OG": "orange",
    "YE": "yellow",
    "GN": "green",
    "BU": "blue",
    "VT": "violet",
    "GY": "grey",
    "WH": "white",
    "PK": "pink",
    "GD": "gold",
    "TQ": "turquoise",
    "SR": "silver",
}

# Common practice, not in the standard: other spellings and shortened words without a second meaning.
_WORDS = {word: code for code, word in IEC_60757.items()} | {
    "gray": "GY",
    "slate": "GY",
    "purple": "VT",
    "blk": "BK",
    "brn": "BN",
    "org": "OG",
    "orn": "OG",
    "orng": "OG",
    "yel": "YE",
    "yell": "YE",
    "grn": "GN",
    "blu": "BU",
    "vio": "VT",
    "pur": "VT",
    "ppl": "VT",
    "purp": "VT",
    "gry": "GY",
    "wht": "WH",
    "pnk": "PK",
    "turq": "TQ",
}
# The same colours on lists of other countries (common practice): German, French, Spanish, Italian.
_ABROAD = {
    "BK": "schwarz noir negro nero", "BN": "braun brun marron marrón marrone", "RD": "rot rouge rojo rosso",
    "OG": "naranja arancione arancio", "YE": "gelb jaune amarillo giallo", "GN": "grün gruen vert verde",
    "BU": "blau bleu azul blu", "VT": "violett lila violeta viola", "GY": "grau gris grigio",
    "WH": "weiß weiss blanc blanco bianco", "PK": "rosa rose", "TQ": "türkis turquesa turchese",
}  # fmt: skip
# Slips of the pen, and words with letters left out.
_SLIPS = {
    "BK": "blck blak balck", "BN": "brwn borwn bronw", "OG": "ornage oragne", "YE": "ylw yelow yellwo",
    "GN": "gren geen grene", "VT": "viol pple purpel purlpe voilet", "GY": "gery", "WH": "wite whte whie",
}  # fmt: skip
_WORDS |= {
    word: code for table in (_ABROAD, _SLIPS) for code, words in table.items() for word in words.split()
}
# Colours that wires have and the standard has no letters for; they stay words.
_UNCODED = {"tan", "beige", "cream", "ivory", "lilac", "maroon", "olive", "natural", "clear", "transparent"}
SHADES = {"light", "dark", "lt", "dk", "drk", "pale"}
FILLERS = {"and", "with", "stripe", "striped", "tracer", "trace", "on"}
_BREAK = re.compile(r"[\s/+\-_.,&]+")


def colour_parts(text: str) -> tuple[str, ...]:
    """The colours of a wire, base first, as codes of IEC 60757 or words it has no code for.

    Raises ValueError with what was expected for anything that is not a colour.
    """
    parts, odd = _parts(text)
    if odd or not parts:
        raise ValueError(_expected(odd or text))
    return parts


def is_colour(text: str) -> bool:
    """Whether the text is a colour: `colour_parts` without the search for what may have been meant."""
    parts, odd = _parts(text)
    return bool(parts) and not odd


@lru_cache(maxsize=65_536)
def _parts(text: str) -> tuple[tuple[str, ...], str]:
    """The colours, and the piece that is none ("" where all are)."""
    parts: list[str] = []
    shade = ""
    for piece in _BREAK.split(text.strip()):
        word = piece.casefold()
        if not word or word in FILLERS:
            continue
        if word in SHADES:
            shade = {"lt": "light", "dk": "dark", "drk": "dark", "pale": "light"}.get(word, word) + " "
            continue
        if word not in _WORDS and word[:2] in ("lt", "dk") and word[2:] in _WORDS:  # `dkgrn`
            shade, word = {"lt": "light ", "dk": "dark "}[word[:2]], word[2:]
        if word in _WORDS:
            found = [_WORDS[word]]
        elif word in _UNCODED:
            found = [word]
        else:
            found = [piece[i : i + 2].upper() for i in range(0, len(piece), 2)]
            if len(found) > 4 or any(code not in IEC_60757 for code in found):
                return (), piece
        parts.append(shade + (IEC_60757.get(found[0], found[0]) if shade else found[0]))
        parts.extend(found[1:])
        shade = ""
    return (tuple(parts), "") if not shade else ((), text)


def _expected(text: str) -> str:
    from loomtest.errors import nearest

    meant = [f"{code} for {word}" for code, word in IEC_60757.items() if word.startswith(text.casefold())]
    if len(text) == 1 and meant:  # B alone is black, brown or blue: nobody may guess
        return ", ".join(meant[:-1]) + (" or " if meant[1:] else "") + meant[-1]
    near = nearest(text, [*_WORDS, *IEC_60757, *_UNCODED], 1)
    hint = f"; the nearest is {near[0]}" if near else ""
    return f"letters of IEC 60757 (RD, BKWH, BK/WH) or words (red, black/white){hint}"


def colour_code(text: str) -> str:
    """`RDBU` for whatever spelling of red and blue; words without a code stay words; "" for ""."""
    if not text.strip():
        return ""
    try:
        return "".join(part if part in IEC_60757 else f"({part})" for part in colour_parts(text))
    except ValueError:
        return text.strip().casefold()


def colour_words(text: str) -> str:
    """`red-blue` for whatever spelling of red and blue; the text itself when it is no colour."""
    try:
        return "-".join(IEC_60757.get(part, part) for part in colour_parts(text)) if text.strip() else ""
    except ValueError:
        return text.strip()
